"""Each bar as numbers that can be compared: what is sung when, and what sounds below.

A bar is cut into `SLOTS` equal slots, whatever its metre. All comparisons are made for the twelve transpositions at
once, so that a return in another key (or octave) is found as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.columns import SMALL, Below, Floats, Line
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
    start = np.array([m.start_quarters for m in table.measures] + [table.length_quarters])
    n = len(start) - 1
    melody, strikes = np.zeros((n, SLOTS, 12)), np.zeros((n, SLOTS))
    times = _slot_times(start, SLOTS)
    if len(line):
        at = np.searchsorted(line.onset, times + SMALL) - 1
        sounding = (at >= 0) & (line.end[np.maximum(at, 0)] > times + SMALL)
        bar, slot = np.nonzero(sounding)
        melody[bar, slot, line.midi[at[bar, slot]] % 12] = 1.0
        _count(strikes, start, line.onset)
    touch = np.zeros((n, SLOTS))
    _count(touch, start, under.onset)
    harmony, bass = _below(start, under)
    sung = melody.sum(axis=(1, 2)) / SLOTS
    return Grid(start, melody, strikes, harmony, bass, touch, sung)


def _slot_times(start: Floats, slots: int) -> Floats:
    length = np.diff(start)
    times: Floats = start[:-1, None] + length[:, None] * np.arange(slots) / slots
    return times


def _count(target: Floats, start: Floats, onsets: Floats) -> None:
    """Add the onsets to their slots."""
    n, slots = target.shape
    bar = np.clip(np.searchsorted(start, onsets + SMALL) - 1, 0, n - 1)
    length = np.maximum(np.diff(start)[bar], SMALL)
    slot = np.clip(((onsets - start[bar]) / length * slots + SMALL).astype(np.int64), 0, slots - 1)
    np.add.at(target, (bar, slot), 1.0)


def _below(start: Floats, under: Below) -> tuple[Floats, Floats]:
    """Pitch-class time and bass time of each stretch of a bar, each of unit length."""
    n = len(start) - 1
    edges = np.append(_slot_times(start, HALVES).ravel(), start[-1])
    cells = n * HALVES
    chroma, bass = np.zeros((cells, 12)), np.zeros((cells, 12))
    first = np.clip(np.searchsorted(edges, under.onset + SMALL) - 1, 0, cells - 1)
    last = np.clip(np.searchsorted(edges, under.end - SMALL) - 1, 0, cells - 1)
    lowest = np.full(cells, 999, dtype=np.int64)
    todo = np.arange(len(under.onset))
    offset = 0
    while len(todo):
        cell = first[todo] + offset
        share = np.minimum(under.end[todo], edges[cell + 1]) - np.maximum(under.onset[todo], edges[cell])
        np.add.at(chroma, (cell, under.midi[todo] % 12), np.maximum(share, 0.0))
        np.minimum.at(lowest, cell, under.midi[todo])
        todo = todo[last[todo] > cell]
        offset += 1
    heard = lowest < 999
    bass[np.flatnonzero(heard), lowest[heard] % 12] = 1.0
    norm = np.linalg.norm(chroma, axis=1, keepdims=True)
    chroma = chroma / np.maximum(norm, SMALL)
    return chroma.reshape(n, HALVES, 12), bass.reshape(n, HALVES, 12)


def bar_likeness(grid: Grid) -> dict[str, NDArray[np.float64]]:
    """Compare every bar with every other; each value has shape (12, n, n) or (n, n), entries 0 to 1.

    ``melody`` [t, i, j]: share of the slots sung in either bar at which bar j has the pitch class of bar i moved up
    by t semitones; ``rhythm``: agreement of the notes struck; ``harmony`` and ``bass`` [t, i, j]: likeness of what
    sounds below; ``touch``: agreement of the accompaniment's strokes.
    """
    n = len(grid)
    tuned = grid.melody.astype(np.float32)  # counts of slots: exact in single precision
    flat = tuned.reshape(n, -1)
    either = flat.sum(1)[:, None] + flat.sum(1)[None, :]
    active = grid.melody.sum(2)
    union = either - active @ active.T
    out: dict[str, NDArray[np.float64]] = {}
    both_silent = union < 0.5
    melody = _against(tuned) / np.maximum(union, 1.0)
    melody[:, both_silent] = 1.0
    out["melody"] = melody
    out["rhythm"] = _agree(grid.strikes)
    out["touch"] = _agree(grid.touch)
    for name, block in (("harmony", grid.harmony), ("bass", grid.bass)):
        out[name] = _against(block) / HALVES
    return out


_MOVED = (np.arange(12) - np.arange(12)[:, None]) % 12
"""Where each pitch class comes from in each of the twelve transpositions, upwards."""


def _against(block: NDArray[Any]) -> NDArray[Any]:
    """Products of the bars of a block of pitch classes, in its twelve transpositions, with the same bars plain."""
    n = len(block)
    moved = block[:, :, _MOVED].transpose(2, 0, 1, 3)
    product: NDArray[Any] = moved.reshape(12, n, -1) @ block.reshape(n, -1).T
    return product


def _agree(counts: Floats) -> Floats:
    """Twice the shared strokes over all strokes; 1 where both bars have none."""
    marks = np.minimum(counts, 1.0)
    total = marks.sum(1)[:, None] + marks.sum(1)[None, :]
    out: Floats = np.where(total > 0, 2 * (marks @ marks.T) / np.maximum(total, 1.0), 1.0)
    return out
