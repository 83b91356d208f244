"""Turns of the sung line that come back note for note, at any pitch, wherever they stand.

Sections and phrases are compared first (`returns`); this finds what lies across them, such as a refrain that closes
two different phrases or words sung twice inside one.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence

import numpy as np

from tutor.analysis.columns import SMALL, Line
from tutor.analysis.laying import turns_of
from tutor.music.table import NoteTable

LEAST_BARS, LEAST_NOTES, LEAST_STEPS = 2, 5, 2
"""Shortest turn told, and the least number of different intervals in it that are no repeated note (choices of ours)."""
_LOOKED_AT = 200
"""Steps in which these intervals are looked for."""
_STRIDE = 64
"""Steps compared at once where turns are long."""


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
    onsets, ends, code = line.onsets, line.ends, turns_of(line)
    longest = [(0, 0)] * n
    for i, j in _openings(code):
        notes = _shared(code, i, j)
        if notes > longest[j][0]:
            bar = table.measures[line.rows[j].measure].bar_quarters
            if ends[j + notes - 1] - onsets[j] >= LEAST_BARS * bar - SMALL:
                longest[j] = (notes, i)
    for j, (notes, _) in enumerate(longest):
        if notes and len({step for step, _ in code[j : j + min(notes - 1, _LOOKED_AT)]} - {0}) < LEAST_STEPS:
            longest[j] = (0, 0)
    return longest


def _shared(code: Sequence[Hashable], i: int, j: int) -> int:
    """How many notes two turns with the same opening share before the earlier one reaches the later."""
    notes, most = LEAST_NOTES, min(j - i, len(code) - j + 1)
    while (
        notes + _STRIDE <= most
        and code[i + notes - 1 : i + notes - 1 + _STRIDE] == code[j + notes - 1 : j + notes - 1 + _STRIDE]
    ):
        notes += _STRIDE
    while notes < most and code[i + notes - 1] == code[j + notes - 1]:
        notes += 1
    return notes


def _openings(code: Sequence[Hashable]) -> Iterator[tuple[int, int]]:
    """Pairs of notes, the earlier first, from which the least turn is the same but not from the notes before them."""
    places: dict[Hashable, list[int]] = {}
    for j in range(len(code) - LEAST_NOTES + 2):
        places.setdefault(tuple(code[j : j + LEAST_NOTES - 1]), []).append(j)
    for alike in places.values():
        before: dict[Hashable, list[int]] = {}
        for j in alike if len(alike) > 1 else ():
            led = code[j - 1] if j else None
            for i in sorted([i for other, those in before.items() if other != led for i in those]):
                if i + LEAST_NOTES <= j:
                    yield i, j
            before.setdefault(led, []).append(j)
