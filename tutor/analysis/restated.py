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
_LOOKED_AT = 200
"""Steps in which these intervals are looked for."""


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
    runs = [(notes, i, j) for j, (notes, i) in enumerate(_longest(table, line)) if notes]
    runs.sort(key=lambda r: (-r[0], r[1], r[2]))
    known = np.zeros(len(line), dtype=bool)
    for start, end in told:
        inside = line.inside(start, end)
        known[inside.start : inside.stop] = True
    found = []
    for notes, i, j in runs:
        if 2 * int(known[j : j + notes].sum()) <= notes:
            known[j : j + notes] = True
            found.append((i, j, notes))
    return found


def _longest(table: NoteTable, line: Line) -> list[tuple[int, int]]:
    """For each note, how many notes from it repeat an earlier turn, and the first note of that; (0, 0) for none.

    Only turns that do not go on backwards, and that are long and varied enough to be told.
    """
    n = len(line)
    if n < 2 * LEAST_NOTES:
        return []
    turns = np.column_stack((np.diff(line.midi), np.round(np.diff(line.onset), 3)))
    code = np.unique(turns, axis=0, return_inverse=True)[1].reshape(-1)
    bars = np.array([table.measures[r.measure].bar_quarters for r in line.rows])
    most, whence = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    shared = np.zeros(n, dtype=np.int64)  # steps that the turns from note i and from each later one have in common
    for i in range(n - 2, -1, -1):
        shared[:-1] = (shared[1:] + 1) * (code == code[i])
        at = i + LEAST_NOTES + np.flatnonzero(shared[i + LEAST_NOTES :] >= LEAST_NOTES - 1)
        if not len(at):
            continue
        notes = np.minimum(shared[at] + 1, at - i)
        better = (notes >= most[at]) & (line.end[at + notes - 1] - line.onset[at] >= LEAST_BARS * bars[at] - SMALL)
        if i:
            better &= code[at - 1] != code[i - 1]
        most[at[better]], whence[at[better]] = notes[better], i
    for j in np.flatnonzero(most).tolist():
        varied = np.unique(turns[j : j + min(int(most[j]) - 1, _LOOKED_AT), 0])
        if np.count_nonzero(varied) < LEAST_STEPS:
            most[j] = 0
    return list(zip(most.tolist(), whence.tolist(), strict=True))
