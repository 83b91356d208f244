"""Turns of the sung line that come back note for note, at any pitch, wherever they stand.

Sections and phrases are compared first (`returns`); this finds what lies across them, such as a refrain that closes
two different phrases or words sung twice inside one.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from itertools import islice

import numpy as np

from tutor.analysis.columns import SMALL, Line
from tutor.analysis.laying import turns_of
from tutor.music.table import NoteTable

LEAST_BARS, LEAST_NOTES = 2, 5
"""Shortest turn told. At least two different intervals in it are no repeated note (choices of ours)."""
_LOOKED_AT = 200
"""Steps in which these intervals are looked for."""
_MOST_PAIRS = 20_000
"""Pairs of openings that are followed; the songs looked at have 89 at most, random notes without end have millions."""
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
    for i, j, least in islice(_openings(code), _MOST_PAIRS):
        notes = _shared(code, i, j, least)
        if notes > longest[j][0]:
            bar = table.measures[line.rows[j].measure].bar_quarters
            if ends[j + notes - 1] - onsets[j] >= LEAST_BARS * bar - SMALL:
                longest[j] = (notes, i)
    return longest


def _openings(code: Sequence[tuple[int, float]]) -> Iterator[tuple[int, int, int]]:
    """Pairs of notes, the earlier first, from which a turn of as many notes is the same, but not from one note before.

    No shorter turn would be told.
    """
    places: dict[tuple[tuple[int, float], ...], list[int]] = {}
    for j, steps in enumerate(_telling(code)):
        if steps:
            places.setdefault(tuple(code[j : j + steps]), []).append(j)
    for turn, alike in places.items():
        least = len(turn) + 1
        before: dict[Hashable, list[int]] = {}
        for j in alike if len(alike) > 1 else ():
            led = code[j - 1] if j else None
            for i in sorted([i for other, those in before.items() if other != led for i in those]):
                if i + least <= j:
                    yield i, j, least
            before.setdefault(led, []).append(j)


def _telling(code: Sequence[tuple[int, float]]) -> list[int]:
    """How many steps from each note make a turn long and varied enough; 0 where they never do."""
    out = [0] * len(code)
    moved = varied = len(code) + _LOOKED_AT  # where the line moves next, and where by another interval
    for j in range(len(code) - 1, -1, -1):
        if code[j][0]:
            if moved < len(code) and code[j][0] != code[moved][0]:
                varied = moved
            moved = j
        steps = max(LEAST_NOTES - 1, varied - j + 1)
        if varied - j < _LOOKED_AT and j + steps <= len(code):
            out[j] = steps
    return out


def _shared(code: Sequence[Hashable], i: int, j: int, notes: int) -> int:
    """How many notes two turns share, at least as many as are known, before the earlier one reaches the later."""
    most = min(j - i, len(code) - j + 1)
    while (
        notes + _STRIDE <= most
        and code[i + notes - 1 : i + notes - 1 + _STRIDE] == code[j + notes - 1 : j + notes - 1 + _STRIDE]
    ):
        notes += _STRIDE
    while notes < most and code[i + notes - 1] == code[j + notes - 1]:
        notes += 1
    return notes
