"""Sounding order: repeats, voltas, da capo, dal segno, coda and fine unfolded.

Conventions (common practice; the printed score seldom says):

- a repeat without an opening sign goes back to the end of the last repeated passage, or to the beginning;
- an opening sign inside an open repeat nests;
- after a da capo or dal segno, repeats are not taken again and the last ending is played, unless it says 'con
  ripetizione': then all are taken, and a Fine or Coda inside one counts on its last pass;
- a plain D.C. or D.S. stops at a Fine and takes the Coda where the score has one;
- a jump is taken once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from tutor.music.table import MeasureRow, OrderRow

MAX_GROWTH = 40
"""A performance longer than this many times the written score is not believed."""
MAX_BARS = 60_000
"""Most bars a performance may have."""

_JUMPS = frozenset(
    {"da-capo", "da-capo-al-fine", "da-capo-al-coda", "dal-segno", "dal-segno-al-fine", "dal-segno-al-coda"}
)


@dataclass(slots=True)
class _Frame:
    start: int
    passing: int = 1
    signed: bool = False
    """Opened by a sign, not merely the place where the last repeat ended."""


@dataclass(slots=True)
class _Walk:
    """The state of a performance."""

    frames: list[_Frame] = field(default_factory=lambda: [_Frame(0)])
    taken: set[int] = field(default_factory=set)
    returning: str = ""
    """The jump that is being played out; empty before it and after the coda is reached."""
    again: bool = False
    """The jump asks for the repeats once more."""
    warnings: list[str] = field(default_factory=list)

    @property
    def repeating(self) -> bool:
        """Whether repeats are taken."""
        return self.again or not self.returning

    @property
    def top(self) -> _Frame:
        return self.frames[-1]

    def close(self, after: int) -> None:
        """Leave a repeated passage; what follows may be repeated from bar ``after``."""
        if len(self.frames) > 1:
            self.frames.pop()
        if len(self.frames) == 1:
            self.frames[0] = _Frame(after)


def unfold(measures: Sequence[MeasureRow]) -> tuple[tuple[OrderRow, ...], list[str]]:
    """The written bars in the order in which they sound.

    Returns:
        Stretches of the written score, and a line for every sign that could not be followed. `OrderRow.passing`
        counts how often the stretch has sounded, from 1.
    """
    if not measures:
        return (), []
    played, warnings = _perform(measures)
    return _spans(measures, played), warnings


def _perform(measures: Sequence[MeasureRow]) -> tuple[list[int], list[str]]:
    groups = _volta_groups(measures)
    marks = _settle_marks(measures)
    walk = _Walk()
    played: list[int] = []
    limit = min(MAX_BARS, MAX_GROWTH * len(measures))
    at = 0
    while at < len(measures):
        if len(played) > limit:
            walk.warnings.append("the repeats of this score never come to an end: it is read straight through")
            return list(range(len(measures))), walk.warnings
        bar = measures[at]
        if bar.repeat_start and walk.repeating and not (walk.top.signed and walk.top.start == at):
            walk.frames.append(_Frame(at, signed=True))
        if bar.endings and not _sounds(bar, groups[at], walk):
            at += 1
            continue
        played.append(at)
        target = _after(at, measures, groups, marks, walk)
        if target is None:
            break
        at = target
    return played, walk.warnings


def _sounds(bar: MeasureRow, group: tuple[int, ...], walk: _Walk) -> bool:
    """Whether a bar under a volta sounds on this pass."""
    last = max(group)
    if not walk.repeating:
        return last in bar.endings
    return min(walk.top.passing, last) in bar.endings


def _after(
    at: int,
    measures: Sequence[MeasureRow],
    groups: Sequence[tuple[int, ...]],
    marks: Sequence[frozenset[str]],
    walk: _Walk,
) -> int | None:
    """The bar that follows bar ``at``; None at the end."""
    bar, group = measures[at], groups[at]
    once_more = walk.again and _comes_again(at, measures, groups, walk)
    if walk.repeating:
        back = _repeat_back(at, measures, group, walk)
        if back is not None:
            return back
    if walk.returning and not once_more:
        if "fine" in marks[at] and not walk.returning.endswith("coda"):
            return None
        if "to-coda" in marks[at] and not walk.returning.endswith("fine"):
            coda = _find(marks, "coda", at + 1)
            if coda is not None:
                walk.returning, walk.again = "", False
                walk.frames = [_Frame(coda)]
                return coda
    jump = next((m for m in sorted(marks[at]) if m in _JUMPS), None)
    if jump and at not in walk.taken:
        walk.taken.add(at)
        target = _target(jump, at, measures, marks, walk)
        if target is not None:
            walk.returning, walk.again = jump, "with-repeats" in marks[at]
            walk.frames = _entered(target, measures) if walk.again else [_Frame(0)]
            return target
    if not bar.endings or at + 1 >= len(measures) or measures[at + 1].endings:
        return at + 1
    if walk.repeating and walk.top.passing >= max(group):
        walk.close(at + 1)
    return at + 1


def _repeat_back(at: int, measures: Sequence[MeasureRow], group: tuple[int, ...], walk: _Walk) -> int | None:
    """Where a repeat sign at the end of bar ``at`` leads back to, or None when it is done."""
    bar = measures[at]
    implied = bool(group) and _closes_ending(at, measures) and walk.top.passing < max(group)
    if not bar.repeat_end and not implied:
        return None
    total = max(group) if group else bar.repeat_end
    if walk.top.passing < total:
        walk.top.passing += 1
        return walk.top.start
    if not group or at + 1 >= len(measures) or not measures[at + 1].endings:
        walk.close(at + 1)
    return None


def _comes_again(at: int, measures: Sequence[MeasureRow], groups: Sequence[tuple[int, ...]], walk: _Walk) -> bool:
    """Whether bar ``at`` lies in a passage that is to be repeated after this pass."""
    for index in range(at, len(measures)):
        if index > at and measures[index].repeat_start:
            return False
        if measures[index].repeat_end or groups[index]:
            return walk.top.passing < max(measures[index].repeat_end, *groups[index], 1)
    return False


def _entered(target: int, measures: Sequence[MeasureRow]) -> list[_Frame]:
    """The passage that a jump to bar ``target`` enters: from the sign before it, or the end of the last repeat."""
    here = _Frame(0)
    for index in range(target):
        if measures[index].repeat_start:
            here = _Frame(index, signed=True)
        if measures[index].repeat_end:
            here = _Frame(index + 1)
    return [_Frame(0), here] if here.signed else [here]


def _closes_ending(at: int, measures: Sequence[MeasureRow]) -> bool:
    """Whether an ending without a repeat sign is followed by the next ending of its group."""
    here = measures[at].endings
    after = measures[at + 1].endings if at + 1 < len(measures) else ()
    return bool(after) and after != here and min(after) > max(here)


def _volta_groups(measures: Sequence[MeasureRow]) -> list[tuple[int, ...]]:
    """For each bar, all pass numbers of the run of volta brackets in which it lies; empty outside one."""
    groups: list[tuple[int, ...]] = [()] * len(measures)
    at = 0
    while at < len(measures):
        end = at
        numbers: set[int] = set()
        while end < len(measures) and measures[end].endings:
            here = measures[end].endings
            starts_anew = end > at and here != measures[end - 1].endings and min(here) <= min(numbers)
            if starts_anew:
                break
            numbers.update(here)
            end += 1
        for index in range(at, end):
            groups[index] = tuple(sorted(numbers))
        at = max(end, at + 1)
    return groups


def _settle_marks(measures: Sequence[MeasureRow]) -> list[frozenset[str]]:
    """Marks of each bar; the first of two coda signs is where one leaves, the second where one arrives."""
    marks = [frozenset(bar.marks) for bar in measures]
    codas = [i for i, m in enumerate(marks) if "coda" in m]
    if len(codas) >= 2 and not any("to-coda" in m for m in marks):
        first = codas[0]
        marks[first] = (marks[first] - {"coda"}) | {"to-coda"}
    return marks


def _find(marks: Sequence[frozenset[str]], mark: str, start: int) -> int | None:
    return next((i for i in range(start, len(marks)) if mark in marks[i]), None)


def _target(
    jump: str, at: int, measures: Sequence[MeasureRow], marks: Sequence[frozenset[str]], walk: _Walk
) -> int | None:
    """The bar a jump leads to, with a line for a sign that is missing."""
    where = f"bar {measures[at].number}"
    if jump.endswith("fine") and not any("fine" in m for m in marks):
        walk.warnings.append(f"{where}: 'al Fine' without a Fine; played to the end")
    if jump.endswith("coda") and _find(marks, "coda", 0) is None:
        walk.warnings.append(f"{where}: 'al Coda' without a Coda; played to the end")
    if jump.startswith("da-capo"):
        return 0
    segno = next((i for i in range(at, -1, -1) if "segno" in marks[i]), None)
    if segno is None:
        walk.warnings.append(f"{where}: 'dal Segno' without a sign to go back to; not followed")
    return segno


def _spans(measures: Sequence[MeasureRow], played: Sequence[int]) -> tuple[OrderRow, ...]:
    heard = [0] * len(measures)
    rows: list[OrderRow] = []
    last = -2
    for at in played:
        heard[at] += 1
        bar = measures[at]
        if rows and at == last + 1 and rows[-1].passing == heard[at]:
            rows[-1] = OrderRow(rows[-1].start_quarters, bar.end_quarters, heard[at])
        else:
            rows.append(OrderRow(bar.start_quarters, bar.end_quarters, heard[at]))
        last = at
    return tuple(rows)
