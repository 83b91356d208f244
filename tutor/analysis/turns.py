"""Where the harmony turns: what the model of changes sees at the start of each frame."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tutor.analysis.features import Windows, summed
from tutor.analysis.slices import NO_NOTE, Floats, Ints
from tutor.analysis.vocabulary import GROUP_OF, GROUPS, SIZE


def turn_features(windows: Windows, chord: Floats, bass: Floats, member: Floats) -> Floats:
    """How far what is heard before each frame differs from what is heard after it.

    Args:
        windows: Windows over the n frames.
        chord: Mixed shares of the chords, shape (n, 12 * SIZE).
        bass: Shares of the basses, shape (n, 12).
        member: Probability of each chroma to belong to the chord, shape (n, 12).

    Returns:
        Shape (n, features). Likeness of two shares is the sum of the roots of their products (Bhattacharyya).
    """
    f = windows.frames
    n = len(chord)
    kinds = np.zeros((SIZE, GROUPS), dtype=np.float32)
    kinds[np.arange(SIZE), GROUP_OF] = 1.0
    heard = (chord.reshape(n, 12, SIZE) @ kinds).reshape(n, 12 * GROUPS)
    roots = heard.reshape(n, 12, GROUPS).sum(axis=2)
    bar = np.round(f.bar_quarters / (f.end - f.start)).astype(np.int64)
    columns: list[Floats] = [windows.metre]
    sound = windows.folded / np.maximum(windows.folded.sum(axis=1, keepdims=True), np.float32(1e-6))
    alike = _likenesses(windows, (heard, roots, bass, sound))
    columns += [_around(alike[:, :, :3], bar), alike[:, :2, 3]]
    columns.append(np.abs(member - _shift(member, -1)).sum(axis=1)[:, None])
    columns.append(_low_changes(windows))
    best = chord.max(axis=1)[:, None]
    columns += [best, _shift(best, -1)]
    return np.concatenate(columns, axis=1, dtype=np.float32)


_SEEN = (("frame", 1), ("beat", 1), ("half", 1), ("frame", 2), ("frame", 4))
"""Windows that are held against each other before and after the start of a frame: so many of these units."""


def _likenesses(windows: Windows, shares: Sequence[Floats]) -> Floats:
    """Likeness of each kind of shares before and after, in the windows of `_SEEN`: shape (n, windows, kinds)."""
    sums = summed(np.concatenate(shares, axis=1) * windows.length[:, None])
    kinds = np.cumsum([0, *(one.shape[1] for one in shares[:-1])])
    found = []
    for unit, count in _SEEN:
        own, edges = windows.groups[unit]
        first = np.arange(-count, len(edges) - 1)  # windows that begin before the song hold what they have of it
        a, b = edges.take(first, mode="clip"), edges.take(first + count, mode="clip")
        time = np.maximum(windows.clock[b] - windows.clock[a], 1e-6)
        roots = ((sums.take(b, axis=0) - sums.take(a, axis=0)) / time[:, None]).astype(np.float32)
        np.sqrt(np.maximum(roots, 0, out=roots), out=roots)
        found.append(np.add.reduceat(roots[:-count] * roots[count:], kinds, axis=1)[own])
    return np.stack(found, axis=1)


def _around(alike: Floats, bar: Ints) -> Floats:
    """The likenesses of each kind, with those of the frame near by and a bar away, shape (n, kinds * columns)."""
    n = len(alike)
    near = alike[:, 0]
    at = np.arange(n)
    around = [_shift(near, d) for d in (-1, 1, -2, 2)]
    bars = [near.take(at + sign * bar, axis=0, mode="clip") for sign in (-1, 1)]
    every = np.concatenate([alike, np.stack([*around, *bars], axis=1)], axis=1)
    return every.transpose(0, 2, 1).reshape(n, -1)


def _shift(values: Floats, by: int) -> Floats:
    return values.take(np.arange(len(values)) + by, axis=0, mode="clip")


def _low_changes(windows: Windows) -> Floats:
    f = windows.frames
    silent = f.low >= NO_NOTE
    tone = np.where(silent, -1, (f.low_fifths * 7) % 12)
    earlier = np.maximum(np.arange(f.count) - 1, 0)
    before = tone[earlier]
    leap = np.clip(f.low - f.low[earlier], -12, 12) / 12
    group, edges = windows.groups["run"]
    starts = np.arange(f.count) == edges[group]
    return np.stack([tone != before, f.attack.sum(axis=1) == 0, silent, leap, starts], axis=1).astype(np.float32)
