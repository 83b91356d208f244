"""What comes back, and exactly what is different when it does.

A later statement is laid over the first one at the time shift and transposition on which most notes agree; notes that
then start together are compared one by one, notes left over between them are paired in order, and what still stands
alone was added or left out. Harmony is compared only where the notes of the accompaniment differ as well, so that two
readings of the same notes are never called a change.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from tutor.analysis.columns import SMALL, Below, Line, Spans
from tutor.analysis.findings import Change, ChangeKind, ChordSpan, PhraseSpan, Return, Section
from tutor.analysis.laying import Laid, Passage, anchors, lay, passage_of, shared_part, told_part, turns_of
from tutor.analysis.restated import find_restated
from tutor.music.pitch import FIFTHS, LETTERS, Pitch, PitchClass
from tutor.music.table import NoteTable

MIN_SHARED = 0.3
"""Least share of first-statement notes that come back at the same place for a passage to be called a return."""

MIN_NOTES = 3
"""Least number of such notes."""
MIN_PHRASE_SHARED, MIN_PHRASE_NOTES, MIN_TURNS = 0.6, 4, 2
"""The same for single phrases, and the least number of different intervals that make a phrase worth finding again."""


def find_returns(
    table: NoteTable,
    line: Line,
    under: Below,
    chords: Sequence[ChordSpan],
    sections: Sequence[Section],
    phrases: Sequence[PhraseSpan] = (),
) -> tuple[Return, ...]:
    """Compare each sung section with the first one of its letter, and other phrases with the first one like them.

    What then still comes back note for note, across phrases or inside them, is told too.
    """
    first_of: dict[str, Passage] = {}
    found = []
    for section in sections:
        passage = passage_of(line, section.start, section.end)
        if passage.last <= passage.first:
            continue
        first = first_of.setdefault(section.label, passage)
        if first is passage:
            continue
        compared = compare_passages(table, line, under, chords, *told_part(table, line, first, passage))
        if compared is not None:
            found.append(compared)
    found += _phrase_returns(table, line, under, chords, phrases, found)
    for i, j, notes in find_restated(table, line, [_covered(r) for r in found]):
        places = (passage_of(line, float(line.onset[k]), round(float(line.end[k + notes - 1]), 6)) for k in (i, j))
        compared = compare_passages(table, line, under, chords, *places)
        found += [compared] if compared is not None else []
    return tuple(sorted(found, key=lambda r: (r.again, r.of)))


def _phrase_returns(
    table: NoteTable,
    line: Line,
    under: Below,
    chords: Sequence[ChordSpan],
    phrases: Sequence[PhraseSpan],
    told: Sequence[Return],
) -> list[Return]:
    """Phrases outside the returns already told that restate an earlier phrase."""
    earlier: list[tuple[Passage, set[tuple[int, float]]]] = []
    found = []
    for phrase in phrases:
        passage = passage_of(line, phrase.start, phrase.end)
        turns, length = turns_of(line, passage), phrase.end - phrase.start
        covered = any(min(b, phrase.end) - max(a, phrase.start) > length / 2 for a, b in map(_covered, told))
        best: tuple[int, Return] | None = None
        for other, known in () if covered or len(turns) < MIN_TURNS else earlier:
            if len(turns & known) < 0.4 * min(len(turns), len(known)):
                continue
            shorter = min(other.last - other.first, passage.last - passage.first)
            least = max(MIN_PHRASE_NOTES, MIN_PHRASE_SHARED * shorter, best[0] + 1 if best else 0)
            laid = lay(table, line, other, passage) if least <= shorter else None
            if laid is None or laid.shared < least:
                continue
            compared = compare_passages(table, line, under, chords, *shared_part(line, other, passage, laid))
            if compared is not None:
                best = (laid.shared, compared)
        if best is not None:
            found.append(best[1])
        if len(turns) >= MIN_TURNS:
            earlier.append((passage, turns))
    return found


def _covered(found: Return) -> tuple[float, float]:
    """The stretch of the later statement that the first one has too."""
    return max(found.again[0], found.of[0] + found.apart), min(found.again[1], found.of[1] + found.apart)


def compare_passages(
    table: NoteTable, line: Line, under: Below, chords: Sequence[ChordSpan], first: Passage, again: Passage
) -> Return | None:
    """Lay ``again`` over ``first`` and list every difference; None where too little agrees to call it a return."""
    laid = lay(table, line, first, again)
    if laid is None or laid.shared < max(
        MIN_NOTES, MIN_SHARED * min(first.last - first.first, again.last - again.first)
    ):
        return None
    moved = _spelled_interval(line, first, again, laid)
    changes = _note_changes(table, line, first, again, laid, moved)
    changes += _harmony_changes(table, under, chords, first, again, laid)
    changes.sort(key=lambda c: (c.at, c.what, c.was))
    return Return(
        (first.start, first.end), (again.start, again.end), laid.semitones, tuple(changes), round(laid.shift, 6)
    )


def _spelled_interval(line: Line, first: Passage, again: Passage, laid: Laid) -> tuple[int, int]:
    """(fifths, staff places) of the transposition, as most shared notes spell it."""
    votes: Counter[tuple[int, int]] = Counter()
    for i, j in anchors(line, first, again, laid):
        if line.midi[j] - line.midi[i] == laid.semitones:
            one, two = line.rows[i], line.rows[j]
            fifths = FIFTHS[two.step] - FIFTHS[one.step] + 7 * (two.alter - one.alter)
            places = LETTERS.index(two.step) - LETTERS.index(one.step) + 7 * (two.octave - one.octave)
            votes[fifths, places] += 1
    return max(votes, key=lambda k: (votes[k], -abs(k[0]), k))


def _note_changes(
    table: NoteTable, line: Line, first: Passage, again: Passage, laid: Laid, moved: tuple[int, int]
) -> list[Change]:
    pairs, gone, new = _match(line, first, again, laid, table.bar_at(again.start).bar_quarters)
    changes = []
    for i, j in pairs:
        same = _together(line, i, j, laid)
        split = _split_or_joined(table, line, i, j, gone, new) if same else []
        changes += split or _pair_changes(table, line, i, j, laid, moved)
    opening, last = min(pairs), max(pairs)
    early = [i for i in gone if i < opening[0] and line.onset[i] + laid.shift < again.start - SMALL]
    ahead = [j for j in new if j < opening[1] and line.onset[j] - laid.shift < first.start - SMALL]
    cut, extra = [i for i in gone if i > last[0]], [j for j in new if j > last[1]]
    inside = [i for i in gone if i not in cut and i not in early], [j for j in new if j not in extra and j not in ahead]
    changes += _alone(table, line, *inside, laid, moved)
    for rows in (early, cut):
        if rows:
            names = " ".join(_expected(line, i, moved).name for i in rows)
            at = max(round(float(line.onset[rows[0]]) + laid.shift, 6), again.start)
            changes.append(_change(table, at, names, "", "cut short"))
    for rows in (ahead, extra):
        if rows:
            names = " ".join(line.rows[j].pitch.name for j in rows)
            changes.append(_change(table, line.rows[rows[0]].onset_quarters, "", names, "extended"))
    return changes


def _alone(
    table: NoteTable, line: Line, gone: list[int], new: list[int], laid: Laid, moved: tuple[int, int]
) -> list[Change]:
    """Notes amid the phrase that only one statement has, each with what the other has there: a rest or a held note."""
    changes = []
    for i in gone:
        at = round(float(line.onset[i]) + laid.shift, 6)
        held = _held_over(line, at)
        now = "rest" if held is None else f"{line.rows[held].pitch.name} held"
        changes.append(_change(table, at, _expected(line, i, moved).name, now, "rhythm"))
    for j in new:
        held = _held_over(line, float(line.onset[j]) - laid.shift)
        was = "rest" if held is None else f"{_expected(line, held, moved).name} held"
        changes.append(_change(table, line.rows[j].onset_quarters, was, line.rows[j].pitch.name, "rhythm"))
    return changes


def _held_over(line: Line, at: float) -> int | None:
    """The note that sounds at an offset, None for a rest."""
    k = int(np.searchsorted(line.onset, at + SMALL)) - 1
    return k if k >= 0 and line.end[k] > at + SMALL else None


def _match(
    line: Line, first: Passage, again: Passage, laid: Laid, bar: float
) -> tuple[list[tuple[int, int]], list[int], list[int]]:
    """Pairs of notes, notes gone, notes new. Notes that start together pair first, then those between, in order.

    A note put off by a bar or more is no longer the same note.
    """
    pairs = anchors(line, first, again, laid)
    gone, new = [], []
    edges = [(first.first - 1, again.first - 1), *pairs, (first.last, again.last)]
    for k, ((i0, j0), (i1, j1)) in enumerate(pairwise(edges)):
        if i1 == i0 + 1 and j1 == j0 + 1:
            continue
        left, right = list(range(i0 + 1, i1)), list(range(j0 + 1, j1))
        at_the_end = k == len(edges) - 2
        matched = _in_order(line, left, right, laid.semitones, alike_only=at_the_end or len(left) != len(right))
        matched = [(i, j) for i, j in matched if abs(line.onset[i] + laid.shift - line.onset[j]) < bar - SMALL]
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


def _together(line: Line, i: int, j: int, laid: Laid) -> bool:
    """True where two notes agree in place and pitch."""
    place = line.onset[i] + laid.shift - line.onset[j]
    return bool(abs(place) < 1e-3 and line.midi[j] - line.midi[i] == laid.semitones)


def _split_or_joined(table: NoteTable, line: Line, i: int, j: int, gone: list[int], new: list[int]) -> list[Change]:
    """One change for a note that comes back as several of its pitch in the same time, or several as one.

    The notes so explained are taken out of ``gone`` or ``new``.
    """
    one, several = (i, j) if new and j + 1 in new else (j, i)
    spare = new if several == j else gone
    last = several
    while (
        last + 1 in spare
        and line.midi[last + 1] == line.midi[several]
        and line.onset[last + 1] - line.end[last] < SMALL
        and line.end[last] - line.onset[several] < line.held[one] - SMALL
    ):
        last += 1
    if last == several or abs(line.end[last] - line.onset[several] - line.held[one]) > 1e-3:
        return []
    for k in range(several + 1, last + 1):
        spare.remove(k)
    name, at = line.rows[j].pitch.name, line.rows[j].onset_quarters
    whole = f"{name} for {_length(float(line.held[one]))}"
    parts = f"{name} {' + '.join(f'{round(float(line.held[k]), 3):g}' for k in range(several, last + 1))} quarters"
    was, now = (whole, parts) if several == j else (parts, whole)
    return [_change(table, at, was, now, "rhythm")]


def _pair_changes(table: NoteTable, line: Line, i: int, j: int, laid: Laid, moved: tuple[int, int]) -> list[Change]:
    """What differs between two notes that correspond."""
    at = line.rows[j].onset_quarters
    off = int(line.midi[j] - line.midi[i]) - laid.semitones
    place = round(float(line.onset[i]) + laid.shift, 6)
    moved_on = abs(place - at) > 1e-3
    if not off and not moved_on and abs(line.end[i] - line.onset[i] - (line.end[j] - line.onset[j])) <= 1e-3:
        return []
    expected, now = _expected(line, i, moved), line.rows[j].pitch
    changes = []
    if off:
        what: ChangeKind = "octave" if off % 12 == 0 else "pitch"
        changes.append(_change(table, at, expected.name, now.name, what))
    if moved_on:
        was, here = f"{expected.name} on beat {table.beat_at(place):g}", f"{now.name} on beat {table.beat_at(at):g}"
        changes.append(_change(table, at, was, here, "rhythm"))
    elif abs(line.held[i] - line.held[j]) > 1e-3:
        was, here = _length(float(line.held[i])), _length(float(line.held[j]))
        changes.append(_change(table, at, f"{expected.name} for {was}", f"{now.name} for {here}", "rhythm"))
    return changes


def _length(quarters: float) -> str:
    text = f"{round(quarters, 3):g}"
    return f"{text} quarter" if text == "1" else f"{text} quarters"


def _expected(line: Line, i: int, moved: tuple[int, int]) -> Pitch:
    """The note of the first statement as it would come back unchanged."""
    return line.rows[i].pitch.moved(*moved)


def _change(table: NoteTable, at: float, was: str, now: str, what: ChangeKind) -> Change:
    return Change(at, *table.place_at(at), was, now, what)


def _harmony_changes(
    table: NoteTable, under: Below, chords: Sequence[ChordSpan], first: Passage, again: Passage, laid: Laid
) -> list[Change]:
    """Chords of the later statement that differ from those of the first, where the accompaniment differs too."""
    spans = Spans(chords)
    changes: list[Change] = []
    start = max(again.start, first.start + laid.shift)
    end = min(again.end, first.end + laid.shift)
    marks = {start, end}
    marks |= {x for chord in chords for x in (chord.start, chord.start + laid.shift) if start < x < end}
    points = sorted(round(m, 6) for m in marks)
    told: tuple[int, int] | None = None
    for low, high in pairwise(points):
        if high - low < table.bar_at(low).beat_quarters / 2 - SMALL:
            continue
        middle = (low + high) / 2
        now, was = spans.index(middle), spans.index(middle - laid.shift)
        if now is None or was is None or (was, now) == told or _same(chords[was], chords[now], laid.semitones):
            continue
        if _sounds(under, low, high, 0) == _sounds(under, low - laid.shift, high - laid.shift, laid.semitones):
            continue
        told = (was, now)
        words = (chords[was].symbol, chords[now].symbol)
        if laid.semitones % 12:
            words = (chords[was].figure, chords[now].figure)
        if words[0] == words[1]:  # the melody moved, the harmony kept its place in the key
            continue
        changes.append(_change(table, low, *words, "harmony"))
    return changes


def _same(was: ChordSpan, now: ChordSpan, semitones: int) -> bool:
    def moved(name: str, by: int) -> int:
        return (PitchClass.parse(name).chroma + by) % 12

    return (
        was.quality == now.quality
        and moved(was.root, semitones) == moved(now.root, 0)
        and moved(was.bass, semitones) == moved(now.bass, 0)
    )


def _sounds(under: Below, start: float, end: float, semitones: int) -> tuple[frozenset[int], int]:
    """Pitch classes that sound in [start, end), and the lowest of them, both moved by ``semitones``."""
    midi = under.midi[under.during(start, end)] + semitones
    return frozenset((midi % 12).tolist()), int(midi.min() % 12) if len(midi) else -1
