"""Turns of the sung line that come back note for note, at any pitch, wherever they stand.

Sections and phrases are compared first (`returns`); this finds what lies across them, such as a refrain that closes
two different phrases or words sung twice inside one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tutor.analysis.columns import SMALL, Line
from tutor.music.table import NoteTable

LEAST_BARS, LEAST_NOTES, LEAST_STEPS = 2, 5, 2
"""Shortest turn told, and the least number of different intervals in it that are no repeated note (choices of ours)."""


def find_restated(table: NoteTable, line: Line, told: Sequence[tuple[float, float]]) -> list[tuple[int, int, int]]:
    """The longest repeats that lie for half of their notes or more outside the stretches told already.

    Args:
        table: The song.
        line: Its sung line.
        told: Stretches, in quarters, that are known to come back.

    Returns:
        (first note of the first statement, first note of the later one, number of notes), longest first; the two
        never overlap.
    """
    steps, times = np.diff(line.midi), np.round(np.diff(line.onset), 3)
    if len(steps) < LEAST_NOTES - 1:
        return []
    same = (steps[:, None] == steps[None, :]) & (times[:, None] == times[None, :])
    n = len(steps)
    runs: list[tuple[int, int, int]] = []
    below = np.zeros(n + 1, dtype=np.int64)
    lengths = np.zeros((n, n), dtype=np.int64)
    for i in range(n - 1, -1, -1):
        below[:n] = np.where(same[i], below[1:] + 1, 0)
        lengths[i] = below[:n]
    opens = np.triu(lengths >= LEAST_NOTES - 1, LEAST_NOTES)
    opens[1:, 1:] &= ~same[:-1, :-1]  # a longer run does not begin one note earlier
    for i, j in np.argwhere(opens).tolist():
        notes = min(int(lengths[i, j]) + 1, j - i)
        if _worth_telling(table, line, steps[i : i + notes - 1].tolist(), j, notes):
            runs.append((i, j, notes))
    runs.sort(key=lambda r: (-r[2], r[0], r[1]))
    known = np.zeros(len(line), dtype=bool)
    for start, end in told:
        inside = line.inside(start, end)
        known[inside.start : inside.stop] = True
    found = []
    for i, j, notes in runs:
        if 2 * int(known[j : j + notes].sum()) <= notes:
            known[j : j + notes] = True
            found.append((i, j, notes))
    return found


def _worth_telling(table: NoteTable, line: Line, steps: Sequence[int], j: int, notes: int) -> bool:
    long = line.end[j + notes - 1] - line.onset[j]
    bars = LEAST_BARS * table.measures[line.rows[j].measure].bar_quarters
    return notes >= LEAST_NOTES and bool(long >= bars - SMALL) and len(set(steps) - {0}) >= LEAST_STEPS
