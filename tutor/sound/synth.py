"""Phrases to samples, pure.

Any window of a phrase can be rendered by itself and fits its neighbours to the sample, so playing can start with
the first second while the rest is still being made.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from tutor.music.phrase import Line, Phrase, Tone
from tutor.sound.piano import Piano
from tutor.sound.ports import RATE, Clip, Samples
from tutor.sound.tones import Click, Singer

CEILING = 0.7
"""No sample passes this (3 dB under full scale): the level is limited for the sake of the ears."""
TAIL_S = 0.4
"""What is rendered after the last note, so that it can ring out."""

_STEP = 64
_REACH = 24
_MARGIN = _STEP * (2 * _REACH + 2)


class Timbre(Protocol):
    """Something that turns a note into sound."""

    name: str
    """Shown in Setup."""

    def note(self, midi: int, held_s: float, velocity: float, rate: int = RATE) -> Samples:
        """One note, beginning and ending at zero; it may ring on after ``held_s``."""


PIANO: Timbre = Piano()
SINGER: Timbre = Singer()
CLICK: Timbre = Click()


@dataclass(frozen=True, slots=True)
class Sounds:
    """Which timbre plays which line."""

    piano: Timbre = PIANO
    """Both hands of the pianist."""
    voice: Timbre = SINGER
    """The sung line."""
    click: Timbre = CLICK
    """The metronome."""

    def of(self, line: Line) -> Timbre:
        """The timbre of a line."""
        if line == "voice":
            return self.voice
        return self.click if line == "click" else self.piano


SOUNDS = Sounds()
"""Piano for the hands, a sustained tone for the voice."""
ALL_PIANO = Sounds(voice=PIANO)
"""The voice's line on the piano too."""


def render(
    phrase: Phrase,
    *,
    rate: int = RATE,
    timbre: Sounds = SOUNDS,
    mute: Collection[Line] = (),
    gain: float = 1.0,
) -> Clip:
    """Turn a whole phrase into sound.

    Args:
        phrase: what to play, at its own tempo.
        rate: samples a second.
        timbre: which timbre plays which line.
        mute: lines left out; the length does not change.
        gain: loudness, 0 to 1.

    Returns:
        Mono sound within ±`CEILING`, from the phrase's beginning to `TAIL_S` after its last note.
    """
    count = length(phrase, rate)
    samples = render_span(phrase, 0, count, rate=rate, timbre=timbre, mute=mute, gain=gain)
    return Clip(samples, rate)


def length(phrase: Phrase, rate: int = RATE) -> int:
    """How many samples `render` gives for a phrase."""
    return round((phrase.length_s + TAIL_S) * rate) if phrase.tones else 0


def render_span(
    phrase: Phrase,
    start: int,
    stop: int,
    *,
    rate: int = RATE,
    timbre: Sounds = SOUNDS,
    mute: Collection[Line] = (),
    gain: float = 1.0,
) -> Samples:
    """Samples ``start`` to ``stop`` of what `render` gives: equal to the sample, wherever the cuts lie."""
    begin = (start - _MARGIN) // _STEP * _STEP
    end = -((-stop - _MARGIN) // _STEP) * _STEP
    mix = np.zeros(end - begin, dtype=np.float32)
    for tone in phrase.tones:
        if tone.line not in mute:
            _add(mix, tone, phrase.bpm, begin, rate, timbre)
    if gain != 1.0:
        mix *= np.float32(min(max(gain, 0.0), 1.0))
    limited = limit(mix)
    return limited[start - begin : stop - begin]


def _add(mix: Samples, tone: Tone, bpm: float, begin: int, rate: int, timbre: Sounds) -> None:
    """Mix one note into a window that begins at sample ``begin`` of the phrase."""
    at = round(tone.onset_quarters * 60.0 / bpm * rate) - begin
    held_s = tone.duration_quarters * 60.0 / bpm
    if at >= len(mix) or at + (held_s + 1.0) * rate < 0:
        return
    note = timbre.of(tone.line).note(tone.midi, held_s, tone.velocity, rate)
    first, last = max(at, 0), min(at + len(note), len(mix))
    if first < last:
        mix[first:last] += note[first - at : last - at]


def limit(samples: Samples, ceiling: float = CEILING) -> Samples:
    """Turn loud moments down, smoothly and ahead of time, so that no sample passes the ceiling.

    The gain of a moment depends only on some 30 ms to either side, so windows that overlap by that much agree.
    """
    if not len(samples) or float(np.max(np.abs(samples))) <= ceiling:
        return samples
    steps = -(-len(samples) // _STEP)
    peaks = np.max(np.abs(np.pad(samples, (0, steps * _STEP - len(samples)))).reshape(steps, _STEP), axis=1)
    wanted = ceiling / np.maximum(np.pad(peaks, _REACH + 1, mode="edge"), ceiling)
    windows = np.lib.stride_tricks.sliding_window_view(wanted, 2 * _REACH + 1)
    lowest = np.pad(windows.min(axis=1), _REACH - 1, mode="edge")
    bell = np.hanning(2 * _REACH + 1)[1:-1]
    gains = np.convolve(lowest, bell / bell.sum(), mode="valid")
    curve = np.interp(np.arange(len(samples)) / _STEP - 0.5, np.arange(len(gains)) - 1.0, gains)
    return np.clip(samples * curve, -ceiling, ceiling).astype(np.float32)
