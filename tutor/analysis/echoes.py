"""Where a song repeats itself: bars against bars, sung bars against bars without voice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.columns import SMALL, Floats, Ints, Line
from tutor.analysis.findings import PhraseSpan
from tutor.analysis.grid import SLOTS, Grid, bar_likeness, cell_of
from tutor.analysis.signs import Signs, printed_signs
from tutor.music.table import NoteTable

LONGEST = 24
"""Longest section looked for, in bars."""
_WINDOW = 4
_SUNG = 0.3
_MOVED = 0.08
"""What a transposition must gain to be preferred to none."""

Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Echoes:
    """Likeness of every bar to every other at the best transposition of its neighbourhood; arrays (n, n), 0 to 1."""

    melody: Floats
    rhythm: Floats
    harmony: Floats
    bass: Floats
    touch: Floats
    transposed: Ints
    """Semitones up from the first bar to the second, 0 to 11."""
    sung: Flags
    """Bars that belong to a sung stretch, shape (n,)."""
    gap: Floats
    """Pause of the voice before the note nearest each bar line, in bars from 0 to 2: from note to note, shape (n,)."""
    rest: Floats
    """The silent part of that pause, shape (n,)."""
    signs: Signs
    """What is printed at the bar lines."""
    lines: Ints
    """Phrases that start at each bar line, pick-ups included, shape (n,)."""
    words: tuple[frozenset[tuple[str, str]], ...]
    """Pairs of neighbouring syllables whose second starts in the bar, lower case."""
    laid: dict[tuple[int, int, int], float] = field(default_factory=dict)
    """What `alike` has measured."""

    @cached_property
    def strands(self) -> Floats:
        """Melody, rhythm, harmony and bass, shape (4, n, n)."""
        return np.stack([self.melody, self.rhythm, self.harmony, self.bass])

    @cached_property
    def voiced(self) -> Floats:
        """These four in one, for bars that are sung."""
        out: Floats = 0.5 * self.melody + 0.15 * self.rhythm + 0.25 * self.harmony + 0.1 * self.bass
        return out

    @cached_property
    def whole(self) -> Floats:
        """All likenesses in one: by the sung line where both bars are sung, else by the accompaniment."""
        sung = self.voiced
        played = 0.55 * self.harmony + 0.25 * self.bass + 0.2 * self.touch
        both = ~self.sung[:, None] & ~self.sung[None, :]
        mixed = self.sung[:, None] ^ self.sung[None, :]
        out: Floats = np.where(both, played, np.where(mixed, 0.3 * sung, sung))
        return out

    @cached_property
    def sung_before(self) -> list[int]:
        """How many bars before each bar line are sung, n + 1 numbers."""
        return [0, *np.cumsum(self.sung).tolist()]

    def alike(self, one: int, two: int, bars: int) -> float:
        """Mean likeness of as many bars from one bar and from another."""
        place = (one, two, bars)
        if place not in self.laid:
            first = min(one, two)
            self.laid[place] = float(self.whole.diagonal(two - one)[first : first + bars].sum()) / bars
        return self.laid[place]


def find_echoes(table: NoteTable, grid: Grid, line: Line, phrases: Sequence[PhraseSpan]) -> Echoes:
    """Compare the bars of a song."""
    like = bar_likeness(grid)
    n = len(grid)
    near = neighbourhood(0.5 * like["melody"] + 0.15 * like["rhythm"] + 0.25 * like["harmony"] + 0.1 * like["bass"])
    near[1:] -= _MOVED
    best = np.argmax(np.rint(near * 1e9), axis=0)
    j = np.arange(n)
    i = j[:, None]
    gap, rest = _pauses(grid, line)
    return Echoes(
        melody=like["melody"][best, i, j],
        rhythm=like["rhythm"],
        harmony=like["harmony"][best, i, j],
        bass=like["bass"][best, i, j],
        touch=like["touch"],
        transposed=best,
        sung=_sung_stretches(grid),
        gap=gap,
        rest=rest,
        signs=printed_signs(table, line, grid.start),
        lines=_lines(grid, phrases),
        words=_words(grid, line),
    )


def _lines(grid: Grid, phrases: Sequence[PhraseSpan]) -> Ints:
    middle = (grid.start[:-1] + grid.start[1:]) / 2
    bars = np.searchsorted(middle, np.array([p.start for p in phrases]) + SMALL)
    return np.bincount(np.minimum(bars, len(grid) - 1), minlength=len(grid)).astype(np.int64)


def _words(grid: Grid, line: Line) -> tuple[frozenset[tuple[str, str]], ...]:
    found: list[set[tuple[str, str]]] = [set() for _ in range(len(grid))]
    bars = cell_of(grid.start, line.onset + SMALL)
    before = ""
    for bar, row in zip(bars.tolist(), line.rows, strict=True):
        if row.syllable:
            here = row.syllable.lower().strip(".,;:!?'\"()")
            found[bar].add((before, here))
            before = here
    return tuple(frozenset(w) for w in found)


def ahead(values: Floats, bars: int) -> Floats:
    """Mean of ``values`` [..., i + k, j + k] for k below ``bars``; fewer terms at the edge."""
    n = values.shape[-1]
    place = np.arange(n)
    mean = values.copy()
    for k in range(1, min(bars, n)):
        mean[..., : n - k, : n - k] += values[..., k:, k:]
    mean /= np.minimum(n - np.maximum(place[:, None], place), bars)
    return mean


def neighbourhood(values: Floats) -> Floats:
    """The best window of `_WINDOW` bars along the diagonal that holds each pair of bars."""
    window = ahead(values, _WINDOW)
    best = window.copy()
    n = values.shape[-1]
    for k in range(1, min(_WINDOW, n)):
        best[..., k:, k:] = np.maximum(best[..., k:, k:], window[..., : n - k, : n - k])
    return best


def _sung_stretches(grid: Grid) -> Flags:
    """Bars with voice; a pick-up alone does not count, and a single silent bar between sung ones does."""
    sung = grid.sung >= _SUNG
    first = np.argmax(grid.melody.any(axis=2), axis=1)
    sung &= (first < SLOTS // 2) | (np.append(0.0, grid.sung[:-1]) >= 0.05)
    out = sung.copy()
    out[1:-1] |= sung[:-2] & sung[2:]
    return out


def _pauses(grid: Grid, line: Line) -> tuple[Floats, Floats]:
    """The longest pause before a note within half a bar of each bar line: note to note, and its silent part."""
    n = len(grid)
    gap, rest = np.zeros(n), np.zeros(n)
    length = np.maximum(grid.start[1:] - grid.start[:-1], SMALL)
    if not len(line):
        return gap, rest
    middle = (grid.start[:-1] + grid.start[1:]) / 2
    bar = np.minimum(middle.searchsorted(line.onset + SMALL), n - 1)  # the nearest bar line
    pause = np.full((2, len(line)), 2.0 * length[bar[0]])
    pause[:, 1:] = line.onset[1:] - line.onset[:-1], line.onset[1:] - line.end[:-1]
    spacing, silent = np.minimum(pause / length[bar], 2.0)
    np.maximum.at(gap, bar, spacing)
    np.maximum.at(rest, bar, silent)  # never below zero, where it begins
    return gap, rest
