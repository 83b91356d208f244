"""What differs between the notes of two statements that are laid over each other.

Notes that start together are compared one by one, notes left over between them are paired in order, and what still
stands alone was added or left out.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from tutor.analysis.columns import SMALL, Line
from tutor.analysis.findings import Change, ChangedNote, ChangeKind
from tutor.analysis.laying import Laid, Passage
from tutor.music.table import NoteTable


@dataclass(frozen=True, slots=True, eq=False)
class Laying:
    """Two statements of one sung line, note over note."""

    table: NoteTable
    line: Line
    laid: Laid
    moved: tuple[int, int]
    """(fifths, staff places) by which the later statement is transposed."""

    def expected_at(self, i: int) -> float:
        """Where a note of the first statement would stand in the later one."""
        return round(self.line.onsets[i] + self.laid.shift, 6)

    def before(self, i: int, *, struck: bool = True) -> ChangedNote:
        """A note of the first statement, as it would come back unchanged."""
        return self._note(self.line.rows[i].pitch.moved(*self.moved).name, self.expected_at(i), i, struck)

    def after(self, j: int, *, struck: bool = True) -> ChangedNote:
        """A note of the later statement."""
        return self._note(self.line.rows[j].pitch.name, self.line.rows[j].onset_quarters, j, struck)

    def _note(self, name: str, at: float, k: int, struck: bool) -> ChangedNote:
        return ChangedNote(name, at, *self.table.place_at(at), round(self.line.lengths[k], 6), struck)

    def change(
        self, at: float, what: ChangeKind, sides: tuple[tuple[ChangedNote, ...], tuple[ChangedNote, ...]]
    ) -> Change:
        """A change at an offset of the later statement, its two sides in words beside their notes."""
        before, after = sides
        bar, beat = self.table.place_at(at)
        was, now = ("" if what in ("cut short", "extended") and not s else _words(s, *sides, what) for s in sides)
        return Change(at, bar, beat, was, now, what, before, after)


def note_changes(over: Laying, first: Passage, again: Passage, together: Sequence[tuple[int, int]]) -> list[Change]:
    """Every difference between the sung notes of two statements; ``together`` are the notes that start together."""
    line, shift = over.line, over.laid.shift
    bar = over.table.bar_at(again.start).bar_quarters
    pairs, gone, new = _match(line, first, again, over.laid, bar, together)
    opening, last = min(pairs), max(pairs)
    changes = []
    for i, j in pairs:
        split = _split_or_joined(over, i, j, gone, new) if (gone or new) and _together(over, i, j) else []
        changes += split or _pair_changes(over, i, j, _held_on(line, j, new) if (i, j) == last else [])
    early = [i for i in gone if i < opening[0] and line.onsets[i] + shift < again.start - SMALL]
    ahead = [j for j in new if j < opening[1] and line.onsets[j] - shift < first.start - SMALL]
    cut, extra = [i for i in gone if i > last[0]], [j for j in new if j > last[1]]
    inside = [i for i in gone if i not in cut and i not in early], [j for j in new if j not in extra and j not in ahead]
    changes += _alone(over, *inside)
    ending = _other_ending(over, cut, extra) if cut and extra else _over_the_last(over, last, cut, extra)
    if ending is not None:
        changes.append(ending)
        cut, extra = [], []
    for rows in (early, cut):
        if rows:
            at = max(over.expected_at(rows[0]), again.start)
            changes.append(over.change(at, "cut short", (tuple(over.before(i) for i in rows), ())))
    for rows in (ahead, extra):
        if rows:
            at = line.rows[rows[0]].onset_quarters
            changes.append(over.change(at, "extended", ((), tuple(over.after(j) for j in rows))))
    return changes


def _other_ending(over: Laying, cut: list[int], extra: list[int]) -> Change:
    """The change where both statements go on after the last note they share, each in its own way or time."""
    before, after = tuple(over.before(i) for i in cut), tuple(over.after(j) for j in extra)
    same = [n.pitch for n in before] == [n.pitch for n in after]
    return over.change(min(before[0].at, after[0].at), "rhythm" if same else "pitch", (before, after))


def _over_the_last(over: Laying, last: tuple[int, int], cut: list[int], extra: list[int]) -> Change | None:
    """The change where notes stand at the end of one statement while the other still holds its last note.

    The two end together: nothing is cut short or extended.
    """
    line, shift, (i, j) = over.line, over.laid.shift, last
    if extra and not cut and line.onsets[extra[-1]] < line.ends[i] + shift - SMALL:
        sides = (over.before(i, struck=False),), tuple(over.after(k) for k in extra)
        return over.change(line.rows[extra[0]].onset_quarters, "rhythm", sides)
    if cut and not extra and line.onsets[cut[-1]] + shift < line.ends[j] - SMALL:
        return over.change(
            over.expected_at(cut[0]), "rhythm", (tuple(over.before(k) for k in cut), (over.after(j, struck=False),))
        )
    return None


def _held_on(line: Line, j: int, new: list[int]) -> list[int]:
    """Notes that only hold the last one on: its pitch again, at once, with no syllable where it has one.

    They are taken out of ``new``. Such are ties that the score leaves out.
    """
    held: list[int] = []
    while (
        (k := j + len(held) + 1) in new
        and line.midis[k] == line.midis[j]
        and line.onsets[k] - line.ends[k - 1] < SMALL
        and line.rows[j].syllable
        and not line.rows[k].syllable
    ):
        held.append(k)
        new.remove(k)
    return held


def _words(
    notes: tuple[ChangedNote, ...], before: tuple[ChangedNote, ...], after: tuple[ChangedNote, ...], what: ChangeKind
) -> str:
    """One side of a change: its notes, or for a change of rhythm what is different about them."""
    if not notes:
        return "rest"
    names = " ".join(n.pitch for n in notes)
    if what != "rhythm" or not (before and after):
        return names
    if not (before[0].struck and after[0].struck):
        return names if notes[0].struck else f"{names} held"
    if len(before) == len(after) > 1:
        return f"{names} from beat {notes[0].beat:g} of bar {notes[0].bar}"
    if len(notes) > 1:
        return f"{notes[0].pitch} {' + '.join(f'{round(n.quarters, 3):g}' for n in notes)} quarters"
    if len(before) == len(after) and abs(before[0].at - after[0].at) > 1e-3:
        place = f"{names} on beat {notes[0].beat:g}"
        return place if before[0].bar == after[0].bar else f"{place} of bar {notes[0].bar}"
    return f"{names} for {_length(notes[0].quarters)}"


def _length(quarters: float) -> str:
    text = f"{round(quarters, 3):g}"
    return f"{text} quarter" if text == "1" else f"{text} quarters"


def _alone(over: Laying, gone: list[int], new: list[int]) -> list[Change]:
    """Notes amid the phrase that only one statement has, each with what the other has there: a rest or a held note."""
    changes = []
    for i in gone:
        at = over.expected_at(i)
        held = _held_over(over.line, at)
        now = () if held is None else (over.after(held, struck=False),)
        changes.append(over.change(at, "rhythm", ((over.before(i),), now)))
    for j in new:
        held = _held_over(over.line, over.line.onsets[j] - over.laid.shift)
        was = () if held is None else (over.before(held, struck=False),)
        changes.append(over.change(over.line.rows[j].onset_quarters, "rhythm", (was, (over.after(j),))))
    return changes


def _held_over(line: Line, at: float) -> int | None:
    """The note that sounds at an offset, None for a rest."""
    k = bisect_left(line.onsets, at + SMALL) - 1
    return k if k >= 0 and line.ends[k] > at + SMALL else None


def _match(
    line: Line, first: Passage, again: Passage, laid: Laid, bar: float, together: Sequence[tuple[int, int]]
) -> tuple[list[tuple[int, int]], list[int], list[int]]:
    """Pairs of notes, notes gone, notes new. Notes that start together pair first, then those between, in order.

    A note put off by a bar or more is no longer the same note.
    """
    pairs = list(together)
    gone, new = [], []
    edges = [(first.first - 1, again.first - 1), *pairs, (first.last, again.last)]
    for k, ((i0, j0), (i1, j1)) in enumerate(pairwise(edges)):
        if i1 == i0 + 1 and j1 == j0 + 1:
            continue
        left, right = list(range(i0 + 1, i1)), list(range(j0 + 1, j1))
        at_the_end = k == len(edges) - 2
        matched = _in_order(line, left, right, laid.semitones, alike_only=at_the_end or len(left) != len(right))
        matched = [(i, j) for i, j in matched if abs(line.onsets[i] + laid.shift - line.onsets[j]) < bar - SMALL]
        pairs += matched
        gone += [i for i in left if i not in {p[0] for p in matched}]
        new += [j for j in right if j not in {p[1] for p in matched}]
    return sorted(pairs), gone, new


def _in_order(
    line: Line, left: list[int], right: list[int], semitones: int, *, alike_only: bool
) -> list[tuple[int, int]]:
    """Pair leftover notes in order: all of them, or (longest common run of pitches) only those of the same pitch."""
    if not left or not right:
        return []
    if not alike_only:
        return list(zip(left, right, strict=True))
    best = np.zeros((len(left) + 1, len(right) + 1), dtype=np.int64)
    same = line.midi[left][:, None] + semitones == line.midi[right][None, :]
    for i in range(len(left) - 1, -1, -1):
        for j in range(len(right) - 1, -1, -1):
            best[i, j] = max(best[i + 1, j], best[i, j + 1], best[i + 1, j + 1] + 1 if same[i, j] else 0)
    found, i, j = [], 0, 0
    while i < len(left) and j < len(right):
        if same[i, j] and best[i, j] == best[i + 1, j + 1] + 1:
            found.append((left[i], right[j]))
            i, j = i + 1, j + 1
        elif best[i + 1, j] >= best[i, j + 1]:
            i += 1
        else:
            j += 1
    return found


def _together(over: Laying, i: int, j: int) -> bool:
    """True where two notes agree in place and pitch."""
    line, laid = over.line, over.laid
    place = line.onsets[i] + laid.shift - line.onsets[j]
    return abs(place) < 1e-3 and line.midis[j] - line.midis[i] == laid.semitones


def _split_or_joined(over: Laying, i: int, j: int, gone: list[int], new: list[int]) -> list[Change]:
    """One change for a note that comes back as several of its pitch in the same time, or several as one.

    Where every one of them bears a syllable, the words alone ask for it. The notes so explained are taken out of
    ``gone`` or ``new``.
    """
    line = over.line
    one, several = (i, j) if new and j + 1 in new else (j, i)
    spare = new if several == j else gone
    last = several
    while (
        last + 1 in spare
        and line.midis[last + 1] == line.midis[several]
        and line.onsets[last + 1] - line.ends[last] < SMALL
        and line.ends[last] - line.onsets[several] < line.lengths[one] - SMALL
    ):
        last += 1
    if last == several or abs(line.ends[last] - line.onsets[several] - line.lengths[one]) > 1e-3:
        return []
    for k in range(several + 1, last + 1):
        spare.remove(k)
    run = range(several, last + 1)
    was = tuple(over.before(k) for k in run) if several == i else (over.before(i),)
    now = tuple(over.after(k) for k in run) if several == j else (over.after(j),)
    follows = all(line.rows[k].syllable for k in (one, *run))
    return [replace(over.change(line.rows[j].onset_quarters, "rhythm", (was, now)), follows_words=follows)]


def _pair_changes(over: Laying, i: int, j: int, held_on: list[int]) -> list[Change]:
    """What differs between two notes that correspond, the later of which others may hold on."""
    line, at = over.line, over.line.rows[j].onset_quarters
    off = line.midis[j] - line.midis[i] - over.laid.semitones
    moved_on = abs(over.expected_at(i) - at) > 1e-3
    longer = bool(held_on) or abs(line.lengths[i] - line.lengths[j]) > 1e-3
    if not (off or moved_on or longer):
        return []
    sides: tuple[tuple[ChangedNote, ...], tuple[ChangedNote, ...]] = (over.before(i),), (over.after(j),)
    changes = []
    if off:
        changes.append(over.change(at, "octave" if off % 12 == 0 else "pitch", sides))
    if moved_on or longer:
        sides = sides[0], (*sides[1], *(over.after(k) for k in held_on))
        changes.append(over.change(at, "rhythm", sides))
    return changes
