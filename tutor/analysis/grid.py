"""Each bar as numbers that can be compared: what is sung when, and what sounds below.

A bar is cut into `SLOTS` equal slots, whatever its metre. All comparisons are made for the twelve transpositions at
once, so that a return in another key (or octave) is found as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.columns import SMALL, Below, Floats, Ints, Line
from tutor.music.table import NoteTable

SLOTS = 24
"""Slots of a bar for the sung line."""
HALVES = 4
"""Stretches of a bar for the harmony."""


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """A song, bar by bar. n is the number of printed bars."""

    start: Floats
    """Starts in quarters, shape (n + 1,); the last is the end of the song."""
    melody: Floats
    """1 where a pitch class is sung, shape (n, SLOTS, 12)."""
    strikes: Floats
    """Sung notes struck, shape (n, SLOTS)."""
    harmony: Floats
    """Sounding time of each pitch class below, unit length, shape (n, HALVES, 12)."""
    bass: Floats
    """Sounding time of the lowest pitch class below, unit length, shape (n, HALVES, 12)."""
    touch: Floats
    """Notes struck below, shape (n, SLOTS)."""
    sung: Floats
    """Share of the bar that is sung, shape (n,)."""

    def __len__(self) -> int:
        return len(self.sung)


def bar_grid(table: NoteTable, line: Line, under: Below) -> Grid:
    """Cut a song into bars."""
    start = np.array([*(m.start_quarters for m in table.measures), table.length_quarters])
    n = len(start) - 1
    melody = np.zeros((n, SLOTS, 12))
    times = _slot_times(start, SLOTS)
    if len(line):
        at = line.onset.searchsorted(times + SMALL) - 1
        sounding = (at >= 0) & (line.end[np.maximum(at, 0)] > times + SMALL)
        bar, slot = np.nonzero(sounding)
        melody[bar, slot, line.midi[at[bar, slot]] % 12] = 1.0
    harmony, bass = _below(start, under)
    sung = melody.reshape(n, -1).sum(axis=1) / SLOTS
    return Grid(start, melody, _count(start, line.onset), harmony, bass, _count(start, under.onset), sung)


def _slot_times(start: Floats, slots: int) -> Floats:
    length = start[1:] - start[:-1]
    times: Floats = start[:-1, None] + length[:, None] * np.arange(slots) / slots
    return times


def _count(start: Floats, onsets: Floats) -> Floats:
    """How many onsets stand in each slot, shape (n, SLOTS)."""
    n = len(start) - 1
    bar = cell_of(start, onsets + SMALL)
    length = np.maximum(start[bar + 1] - start[bar], SMALL)
    slot = ((onsets - start[bar]) / length * SLOTS + SMALL).astype(np.int64)
    places = bar * SLOTS + np.minimum(np.maximum(slot, 0), SLOTS - 1)
    return np.bincount(places, minlength=n * SLOTS).reshape(n, SLOTS).astype(np.float64)


def cell_of(edges: Floats, at: Floats) -> Ints:
    """Index of the stretch between two edges in which each offset lies, of the first or last for any outside."""
    cell: Ints = np.minimum(np.maximum(edges.searchsorted(at) - 1, 0), len(edges) - 2)
    return cell


def _below(start: Floats, under: Below) -> tuple[Floats, Floats]:
    """Pitch-class time and bass time of each stretch of a bar, each of unit length."""
    n = len(start) - 1
    edges = np.full(n * HALVES + 1, start[-1])
    edges[:-1] = _slot_times(start, HALVES).ravel()
    cells = n * HALVES
    bass = np.zeros((cells, 12))
    first = cell_of(edges, under.onset + SMALL)
    count = np.maximum(cell_of(edges, under.end - SMALL) - first, 0) + 1
    note = np.repeat(np.arange(len(count)), count)
    passed = np.arange(len(note)) - np.repeat(np.cumsum(count) - count, count)
    order = np.argsort(passed, kind="stable")
    cell, note = (first[note] + passed)[order], note[order]
    midi = under.midi[note]
    share = np.minimum(under.end[note], edges[cell + 1]) - np.maximum(under.onset[note], edges[cell])
    chroma = np.bincount(cell * 12 + midi % 12, np.maximum(share, 0.0), cells * 12).reshape(cells, 12)
    lowest = np.full(cells, 999, dtype=np.int64)
    np.minimum.at(lowest, cell, midi)
    heard = np.flatnonzero(lowest < 999)
    bass[heard, lowest[heard] % 12] = 1.0
    norm = np.sqrt((chroma * chroma).sum(axis=1, keepdims=True))
    chroma = chroma / np.maximum(norm, SMALL)
    return chroma.reshape(n, HALVES, 12), bass.reshape(n, HALVES, 12)


def bar_likeness(grid: Grid) -> dict[str, NDArray[np.float64]]:
    """Compare every bar with every other; each value has shape (12, n, n) or (n, n), entries 0 to 1.

    ``melody`` [t, i, j]: share of the slots sung in either bar at which bar j has the pitch class of bar i moved up
    by t semitones; ``rhythm``: agreement of the notes struck; ``harmony`` and ``bass`` [t, i, j]: likeness of what
    sounds below; ``touch``: agreement of the accompaniment's strokes.
    """
    moved = (grid.melody[:, 1:] != grid.melody[:, :-1]).any(axis=0).any(axis=1)
    edges = np.array([0, *(np.flatnonzero(moved) + 1).tolist(), SLOTS])
    first = edges[:-1]  # the slots where something changes in some bar
    tuned = grid.melody[:, first].astype(np.float32)  # counts of slots: exact in single precision
    lasting = tuned * (edges[1:] - first).astype(np.float32)[:, None]
    shared = _against(tuned, lasting)
    sung = lasting.reshape(len(grid), -1).sum(axis=1)
    union = (sung[:, None] + sung - shared.sum(axis=0)).astype(np.float64)
    melody = shared / np.maximum(union, 1.0)
    melody[:, union < 0.5] = 1.0  # both silent
    return {
        "melody": melody,
        "rhythm": _agree(grid.strikes),
        "touch": _agree(grid.touch),
        "harmony": _against(grid.harmony, grid.harmony) / HALVES,
        "bass": _against(grid.bass, grid.bass) / HALVES,
    }


_MOVED = (np.arange(12) - np.arange(12)[:, None]) % 12
"""Where each pitch class comes from in each of the twelve transpositions, upwards."""


def _against(block: NDArray[Any], plain: NDArray[Any]) -> NDArray[Any]:
    """Products of the bars of a block of pitch classes, in its twelve transpositions, with bars as they are."""
    n = len(block)
    moved = block[:, :, _MOVED].transpose(2, 0, 1, 3)
    product: NDArray[Any] = moved.reshape(12, n, -1) @ plain.reshape(n, -1).T
    return product


def _agree(counts: Floats) -> Floats:
    """Twice the shared strokes over all strokes; 1 where both bars have none."""
    marks = np.minimum(counts, 1.0)
    struck = marks.sum(axis=1)
    total = struck[:, None] + struck
    out: Floats = (2 * (marks @ marks.T) + (total == 0)) / np.maximum(total, 1.0)
    return out
