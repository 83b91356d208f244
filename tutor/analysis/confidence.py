"""How sure a chord is: small models of when the reading is right, fitted on songs they had not seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tutor.analysis.decode import Doubles, Path
from tutor.analysis.listen import Heard
from tutor.analysis.model import Perceptron, stacked
from tutor.analysis.slices import LOF, LOF_ZERO, Floats, Frames, Ints
from tutor.analysis.trees import Trees
from tutor.analysis.vocabulary import BASS, CLASSES, GROUP_OF, GROUPS, MEMBERS, SIZE

MOST = 0.999
"""No chord is ever surer than this."""
_TONES = np.zeros((LOF, 12), dtype=np.float32)
_TONES[np.arange(LOF), ((np.arange(LOF) - LOF_ZERO) * 7) % 12] = 1
_SHARES = [*range(8), 10]
"""Columns of `_each_frame` that are shares."""
_INVERSION: Ints = np.array([inversion for _, inversion in CLASSES], dtype=np.int64)


def runs(*columns: Ints) -> list[tuple[int, int]]:
    """First and last-plus-one frame of each stretch in which no column changes."""
    changed = np.zeros(len(columns[0]), dtype=bool)
    changed[0] = True
    for column in columns:
        changed[1:] |= column[1:] != column[:-1]
    edges = [*np.flatnonzero(changed).tolist(), len(changed)]
    return [(edges[i], edges[i + 1]) for i in range(len(edges) - 1)]


def evidence(frames: Frames, heard: Heard, path: Path, spans: Sequence[tuple[int, int]]) -> Floats:
    """What speaks for and against each chord, shape (spans, features).

    Args:
        frames: The n frames.
        heard: What the models heard.
        path: The reading.
        spans: Stretches of one chord in one key, from `runs`.
    """
    first = np.array([a for a, _ in spans], dtype=np.int64)
    time = (frames.end - frames.start)[:, None]
    length = np.add.reduceat(time, first)
    kind = path.chord % SIZE
    member = MEMBERS[kind][np.arange(frames.count)[:, None], (np.arange(12) - path.chord[:, None] // SIZE) % 12]
    sound = frames.sound @ _TONES
    each = _each_frame(heard, path, sound, member)
    mean = np.add.reduceat(each * time, first) / length
    heard_in = np.add.reduceat(sound * time, first) / length
    missing = ((heard_in < 1e-3) & (member[first] > 0)).sum(axis=1)
    bass = np.add.reduceat(frames.bass * time, first) / length
    under = (path.chord[first] // SIZE + BASS[kind[first]]) % 12
    rows = np.arange(len(first))
    own, others = bass[rows, under], (bass * member[first]).sum(axis=1)
    inner = heard.turn.copy()
    inner[first] = 0
    turn = heard.turn[first]
    share = (length / length.sum())[:, 0]
    place = np.minimum(np.maximum(rows[:, None] + np.array([-1, 1]), 0), len(first) - 1)
    inside, beat = frames.inside[first], frames.beat_quarters[first]
    more = [
        np.minimum.reduceat(each[:, 0], first), np.maximum.reduceat(each[:, 1], first), turn,
        np.maximum.reduceat(inner, first), np.append(turn[1:], 1.0), missing, np.log(length[:, 0]), inside < 1e-4,
        np.mod(inside, beat) < 1e-4, *mean[place, 0].T, *np.tile(share @ mean[:, [0, 1, 7]], (len(first), 1)).T,
        np.full(len(first), np.log(length.mean())), member[first].sum(axis=1) - 3, own, others - own,
        frames.bass[first, under], np.where(member[first] > 0, heard_in, 1).min(axis=1),
    ]  # fmt: skip
    fixed = np.zeros((len(first), GROUPS + 4))
    fixed[rows, GROUP_OF[kind[first]]] = 1
    fixed[rows, GROUPS + _INVERSION[kind[first]]] = 1
    near = _odds(mean[:, _SHARES])
    return np.concatenate([mean, near, np.stack(more, axis=1), fixed], axis=1).astype(np.float32)


def _each_frame(heard: Heard, path: Path, sound: Floats, member: Floats) -> Doubles:
    """How each frame takes to the chord that was read there, shape (n, 11)."""
    rows = np.arange(len(sound))
    mixed = heard.chord[rows, path.chord]
    rest = heard.chord.copy()
    rest[rows, path.chord] = 0
    likely = heard.heads.member
    unmixed = heard.heads.chord.copy()
    own = unmixed[rows, path.chord]
    unmixed[rows, path.chord] = 0
    columns = [
        path.chord_share,
        mixed,
        rest.max(axis=1),
        own,
        heard.heads.bass[rows, (path.chord // SIZE + BASS[path.chord % SIZE]) % 12],
        np.where(member > 0, likely, 1).min(axis=1),
        np.where(member > 0, 0, likely).max(axis=1),
        path.key_share,
        heard.turn,
        (sound * (1 - member)).sum(axis=1) / np.maximum(sound.sum(axis=1), 1e-6),
        unmixed.max(axis=1),
    ]
    return np.stack(columns, axis=1).astype(np.float64)


def _odds(share: Doubles) -> Doubles:
    """Logarithms of odds: near certainty they still tell sure from surer."""
    held = np.clip(share, 0.0, 1.0)
    odds: Doubles = np.log((held + 1e-4) / (1.0001 - held)) / 3
    return odds


def confidence(nets: tuple[Perceptron, ...], trees: Trees, seen: Floats, knots: Doubles) -> Doubles:
    """Probability that root, quality and inversion are right, shape (spans,).

    Args:
        nets: The perceptrons that judge it; they vote.
        trees: The trees that judge it; their word weighs as much as the perceptrons'.
        seen: From `evidence`.
        knots: Shape (2, k): what the models say and how often it was then right, for straightening.
    """
    scores = stacked(nets)(seen)
    votes = 1 / (1 + np.exp(scores[:, :, 0] - scores[:, :, 1]))
    said = votes.mean(axis=0, dtype=np.float64)
    said = (said + 1 / (1 + np.exp(-trees.odds(seen).astype(np.float64)))) / 2
    straight: Doubles = np.minimum(np.interp(said, knots[0], knots[1]), MOST)
    return straight
