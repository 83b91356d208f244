"""Whether a song stands in a mode: a glance at the whole of it from its last bass tone.

Frame by frame a song in D Dorian looks like one in C major. What tells them apart lies in the whole: where the bass
comes to rest, whether the tone below the final is a semitone or a whole tone away, how the signature stands to the
final, which tones carry the bass. Where this speaks for a mode, a second model of keys, fitted on songs told in a
mode, joins the first; where it does not, nothing changes.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.model import Perceptron
from tutor.analysis.slices import LOF, LOF_ZERO, NO_NOTE, Floats, Frames

Doubles = NDArray[np.float64]

LEAST = 0.35
"""A share below this counts for nothing, so that songs in major and minor are read as if there were no modes."""
CLEAN = 0.05
"""Share of the sound outside seven neighbouring fifths below which a song keeps to one scale."""
SETTLED = 8
"""Bars for which a last signature must stand to be looked at alone."""
GLANCED = 56
"""How many features `glance` gives."""
_MIXED = ("unigram", "keys")
_TABLES = ("unigram", "bigram", "keys")


def glance(frames: Frames) -> Floats:
    """The song seen from its last bass tone, shape (GLANCED,); zeros for a silent one.

    A song that is lifted to another signature for its end is looked at from there on.
    """
    frames = _last_signature(frames)
    sounding = np.flatnonzero(frames.low < NO_NOTE)
    if not len(sounding):
        return np.zeros(GLANCED, dtype=np.float32)
    time = (frames.end - frames.start).astype(np.float32)
    final, first = (int(frames.low_fifths[sounding[i]]) for i in (-1, 0))
    everything = time @ frames.sound
    ending = frames.bar >= frames.bar[sounding[-1]] - 1
    last = _from(final, time[ending] @ frames.sound[ending])
    ordered = np.sort(frames.fifths)
    middle = ordered[[(len(ordered) - 1) // 2, len(ordered) // 2]]
    sign = int(middle.sum() / 2) - final
    values = [
        *_degrees(_from(final, everything), bool(last[4] >= last[-3]), sign),
        first == final, first - final == 1, first - final == -1,
        *_scale(everything, final),
        *_carried(frames, time, final),
    ]  # fmt: skip
    return np.array(values, dtype=np.float32)


def _last_signature(frames: Frames) -> Frames:
    changes = np.flatnonzero(np.diff(frames.fifths)) + 1
    first = int(changes[-1]) if len(changes) else 0
    if not first or frames.bar[-1] - frames.bar[first] < SETTLED:
        return frames
    return replace(frames, **{f.name: getattr(frames, f.name)[first:] for f in fields(frames)})


def _degrees(sound: Floats, major: bool, sign: int) -> list[float]:
    """Which form of each degree sounds, and how the signature stands to the final."""
    leading, subtonic = float(sound[5]), float(sound[-2])
    third, below, sixth = _lean(sound[4], sound[-3]), _lean(leading, subtonic), _lean(sound[3], sound[-4])
    whole = subtonic > leading
    return [
        below, below * third, leading * 10, subtonic * 10, sixth * (third < 0), sixth * (third >= 0), third, major,
        sign == 0, sign == -1, sign == -2, sign == -3, sign < -3 or sign > 0,
        major and sign == 0 and whole, sign == -1 and whole, not major and sign == -3 and whole,
        not major and sign == -2, *(3 * sound[[0, 1, -1]]).tolist(),
        _lean(sound[6], sound[-1]), 10 * float(sound[6]), _lean(sound[-5], sound[2]), 10 * float(sound[-5]),
        *np.log(sound[[5, -2, 6]] + 0.003).tolist(),
    ]  # fmt: skip


def _scale(everything: Floats, final: int) -> list[float]:
    """Where the seven neighbouring fifths that hold most of the sound begin, and what they leave out."""
    held = np.convolve(everything, np.ones(7), "valid")
    outside = 1 - float(held.max()) / max(float(everything.sum()), 1e-6)
    mode = [int(held.argmax()) - LOF_ZERO - final == first for first in (0, -1, -2, -3, -4, -5)]
    return [5 * outside, *mode, *(m and outside < CLEAN for m in mode)]


def _carried(frames: Frames, time: Floats, final: int) -> list[float]:
    """What the bass and the voice rest on, by semitones above the final."""
    up = (np.arange(12) + final * 7) % 12
    bass, voice = ((x / max(float(x.sum()), 1e-6))[up] for x in (time @ frames.bass, time @ frames.voice))
    sung = np.flatnonzero(frames.voice.sum(axis=1) > 0)
    close = frames.voice[sung[-1]][up] if len(sung) else np.zeros(12, dtype=np.float32)
    close = close / max(float(close.sum()), 1e-6)
    down = (frames.inside < 1e-4) & (frames.low < NO_NOTE)
    steps = (frames.low_fifths[down] - final) * 7 % 12
    home, fifth = (float((steps == s).sum()) / max(len(steps), 1) for s in (0, 7))
    return [
        *(3 * bass[[0, 7, 5, 10, 11]]).tolist(), _lean(bass[7], bass[5]), float(close[0]), float(close[7]),
        *(3 * voice[[0, 7]]).tolist(), home, fifth, home - fifth,
    ]  # fmt: skip


def _from(final: int, sound: Floats) -> Floats:
    """Shares of time by fifths above the final; index -3 is three fifths below it."""
    turned: Floats = sound[(np.arange(LOF) + final + LOF_ZERO) % LOF] / max(float(sound.sum()), 1e-6)
    return turned


def _lean(one: float, other: float) -> float:
    return float((one - other) / (one + other + 0.01))


def modal_share(nets: tuple[Perceptron, ...], frames: Frames) -> float:
    """Probability that the song stands in a mode, 0 where it is small."""
    said = float(nets[0](glance(frames)[None])[0, 0])
    share = 1 / (1 + np.exp(-np.clip(said, -30, 30)))
    return float(share) if share >= LEAST else 0.0


def leaning(tables: dict[str, Doubles], share: float) -> dict[str, Doubles]:
    """The tables of counts for a song that stands in a mode with this probability.

    Args:
        tables: As for `decode.lattice`, and the same with 'modal_' before the name.
        share: From `modal_share`.
    """
    if share <= 0:
        return tables
    out = dict(tables)
    for name in _TABLES:
        plain, modal = tables[name], tables[f"modal_{name}"]
        if name in _MIXED:
            out[name] = np.log((1 - share) * np.exp(plain) + share * np.exp(modal))
        else:
            out[name] = (1 - share) * plain + share * modal
    return out
