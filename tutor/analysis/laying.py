"""One passage of the sung line laid over another: at which shift in time and which transposition they agree best."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from math import ceil

import numpy as np

from tutor.analysis.columns import SMALL, Floats, Line
from tutor.music.table import NoteTable

_ASIDE = 2
"""Bars by which a statement may lie beside the place where its section begins or ends."""

_TICKS = 1e4
"""Parts of a quarter to which the shift in time is rounded."""
_APART = 512
"""More semitones than there are intervals, up and down."""


@dataclass(frozen=True, slots=True)
class Passage:
    """A stretch of the sung line: notes ``first`` to ``last`` (not included)."""

    start: float
    end: float
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Laid:
    """How one passage lies over another."""

    shift: float
    """Quarters from the first statement to the later one."""
    semitones: int
    shared: int
    """Notes that agree in place and pitch."""


def passage_of(line: Line, start: float, end: float) -> Passage:
    """The sung notes that start in [start, end)."""
    inside = line.inside(start, end)
    return Passage(start, end, inside.start, inside.stop)


def lay(table: NoteTable, line: Line, first: Passage, again: Passage, least: float = 1) -> Laid | None:
    """The shift and transposition on which most notes agree, if at least ``least`` do.

    Ties go to no transposition and the plain shift. Where one statement is longer, the other may lie anywhere in it;
    two bars either way are allowed besides.
    """
    a, b = slice(first.first, first.last), slice(again.first, again.last)
    ticks = np.rint((line.onset[b] - line.onset[a, None]) * _TICKS)
    places = ticks * _APART + (line.midi[b] - line.midi[a, None])
    if not _often(places.ravel(), ceil(least)):
        return None
    shifts, plain = ticks / _TICKS, again.start - first.start
    bar = table.bar_at(first.start).bar_quarters
    ends = again.end - first.end
    near = (shifts >= min(plain, ends) - _ASIDE * bar - SMALL) & (shifts <= max(plain, ends) + _ASIDE * bar + SMALL)
    votes = Counter(places[near].tolist())
    shared = max(votes.values(), default=0)
    if shared < least:
        return None
    likely = [divmod(vote + _APART // 2, _APART) for vote, count in votes.items() if count == shared]
    moves = [(tick / _TICKS, int(above) - _APART // 2) for tick, above in likely]
    shift, semitones = max(moves, key=lambda v: (v[1] == 0, -abs(v[0] - plain), -abs(v[1]), v))
    return Laid(shift, semitones, shared)


def _often(values: Floats, times: int) -> bool:
    """Whether a value stands among others at least as often."""
    ordered = np.sort(values)
    return bool((ordered[times - 1 :] == ordered[: max(len(ordered) - times + 1, 0)]).any())


def told_part(table: NoteTable, line: Line, first: Passage, again: Passage) -> tuple[Passage, Passage]:
    """Two sections whole, or from where both have begun if one begins bars before the other."""
    laid = lay(table, line, first, again)
    if laid is None or abs(laid.shift - again.start + first.start) <= _ASIDE * table.bar_at(first.start).bar_quarters:
        return first, again
    return shared_part(line, first, again, laid)


def shared_part(line: Line, first: Passage, again: Passage, laid: Laid) -> tuple[Passage, Passage]:
    """Two phrases from where both have begun: a phrase may come back from its middle, or after notes of its own."""
    start = max(first.start, again.start - laid.shift)
    return passage_of(line, start, first.end), passage_of(line, start + laid.shift, again.end)


def anchors(line: Line, first: Passage, again: Passage, laid: Laid) -> list[tuple[int, int]]:
    """Pairs of notes that start together."""
    onsets = line.onsets[again.first : again.last]
    later = {round(at, 4): j for j, at in enumerate(onsets, again.first)}
    earlier = enumerate(line.onsets[first.first : first.last], first.first)
    found = ((i, later.get(round(at + laid.shift, 4))) for i, at in earlier)
    return [(i, j) for i, j in found if j is not None]


def turns_of(line: Line) -> list[tuple[int, float]]:
    """From each note to the next the interval in semitones and the time it takes."""
    return list(zip(np.diff(line.midi).tolist(), np.round(np.diff(line.onset), 3).tolist(), strict=True))
