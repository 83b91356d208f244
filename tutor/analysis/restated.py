"""Turns of the sung line that come back note for note, at any pitch, wherever they stand.

Sections and phrases are compared first (`returns`); this finds what lies across them, such as a refrain that closes
two different phrases or words sung twice inside one.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

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
    steps, times = np.diff(line.midi), np.round(np.diff(line.onset), 3)
    code = _numbered(list(zip(steps.tolist(), times.tolist(), strict=True)))
    openings = zip(*(code[k : n - LEAST_NOTES + 1 + k] for k in range(LEAST_NOTES - 1)), strict=True)
    opening = _numbered(list(openings))
    code_at, opening_at = np.array(code), np.array(opening)
    last = {number: k for k, number in enumerate(opening)}
    bars = np.array([table.measures[r.measure].bar_quarters for r in line.rows])
    most, whence = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    shared = np.zeros(n + 1, dtype=np.int64)  # steps that the turns from note i and from later ones have in common
    begun = np.zeros(0, dtype=np.int64)
    for i in range(len(opening) - 1, -1, -1):
        if last[opening[i]] < i + LEAST_NOTES:
            shared[begun] = 0
            continue
        at = i + LEAST_NOTES + np.flatnonzero(opening_at[i + LEAST_NOTES :] == opening[i])
        lengths = np.maximum(shared[at + 1] + 1, LEAST_NOTES - 1)
        shared[begun] = 0
        shared[at], begun = lengths, at
        notes = np.minimum(lengths + 1, at - i)
        better = (notes >= most[at]) & (line.end[at + notes - 1] - line.onset[at] >= LEAST_BARS * bars[at] - SMALL)
        if i:
            better &= code_at[at - 1] != code[i - 1]
        most[at[better]], whence[at[better]] = notes[better], i
    for j in np.flatnonzero(most).tolist():
        varied = set(steps[j : j + min(int(most[j]) - 1, _LOOKED_AT)].tolist())
        if len(varied - {0}) < LEAST_STEPS:
            most[j] = 0
    return list(zip(most.tolist(), whence.tolist(), strict=True))


def _numbered(things: Sequence[Hashable]) -> list[int]:
    """A number for each thing, the same for equal ones."""
    known: dict[Hashable, int] = {}
    return [known.setdefault(thing, len(known)) for thing in things]
