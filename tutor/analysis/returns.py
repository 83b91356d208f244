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

from tutor.analysis.columns import SMALL, Below, Line, Spans
from tutor.analysis.findings import Change, ChordSpan, PhraseSpan, Return, Section
from tutor.analysis.laying import Laid, Passage, anchors, lay, passage_of, shared_part, told_part, turns_of
from tutor.analysis.notechanges import Laying, note_changes
from tutor.analysis.restated import find_restated
from tutor.music.pitch import FIFTHS, LETTERS, PitchClass
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
        first, again = (passage_of(line, line.onsets[k], round(line.ends[k + notes - 1], 6)) for k in (i, j))
        compared = compare_passages(table, line, under, chords, first, again)
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
    every = turns_of(line)
    found = []
    for phrase in phrases:
        passage = passage_of(line, phrase.start, phrase.end)
        turns = {turn for turn in every[passage.first : max(passage.last - 1, 0)] if turn[0]}
        length = phrase.end - phrase.start
        covered = any(min(b, phrase.end) - max(a, phrase.start) > length / 2 for a, b in map(_covered, told))
        best: tuple[int, Return] | None = None
        for other, known in () if covered or len(turns) < MIN_TURNS else earlier:
            if len(turns & known) < 0.4 * min(len(turns), len(known)):
                continue
            shorter = min(other.last - other.first, passage.last - passage.first)
            least = max(MIN_PHRASE_NOTES, MIN_PHRASE_SHARED * shorter, best[0] + 1 if best else 0)
            laid = lay(table, line, other, passage, least) if least <= shorter else None
            if laid is None:
                continue
            parts = shared_part(line, other, passage, laid)
            whole = parts == (other, passage)
            compared = compare_passages(table, line, under, chords, *parts, laid if whole else None)
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
    table: NoteTable,
    line: Line,
    under: Below,
    chords: Sequence[ChordSpan],
    first: Passage,
    again: Passage,
    laid: Laid | None = None,
) -> Return | None:
    """Lay ``again`` over ``first`` and list every difference; None where too little agrees to call it a return.

    ``laid`` is given where it is known how they lie.
    """
    least = max(MIN_NOTES, MIN_SHARED * min(first.last - first.first, again.last - again.first))
    laid = laid or lay(table, line, first, again, least)
    if laid is None:
        return None
    pairs = anchors(line, first, again, laid)
    moved = _spelled_interval(line, pairs, laid)
    changes = note_changes(Laying(table, line, laid, moved), first, again, pairs)
    changes += _harmony_changes(table, under, chords, first, again, laid)
    changes.sort(key=lambda c: (c.at, c.what, c.was))
    return Return(
        (first.start, first.end), (again.start, again.end), laid.semitones, tuple(changes), round(laid.shift, 6)
    )


def _spelled_interval(line: Line, pairs: Sequence[tuple[int, int]], laid: Laid) -> tuple[int, int]:
    """(fifths, staff places) of the transposition, as most shared notes spell it."""
    votes: Counter[tuple[int, int]] = Counter()
    for i, j in pairs:
        if line.midis[j] - line.midis[i] == laid.semitones:
            one, two = line.rows[i], line.rows[j]
            fifths = FIFTHS[two.step] - FIFTHS[one.step] + 7 * (two.alter - one.alter)
            places = LETTERS.index(two.step) - LETTERS.index(one.step) + 7 * (two.octave - one.octave)
            votes[fifths, places] += 1
    return max(votes, key=lambda k: (votes[k], -abs(k[0]), k))


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
        middle = (low + high) / 2
        now, was = spans.index(middle), spans.index(middle - laid.shift)
        if now is None or was is None or (was, now) == told or _same(chords[was], chords[now], laid.semitones):
            continue
        if high - low < table.bar_at(low).beat_quarters / 2 - SMALL:
            continue
        if _sounds(under, low, high, 0) == _sounds(under, low - laid.shift, high - laid.shift, laid.semitones):
            continue
        told = (was, now)
        words = (chords[was].symbol, chords[now].symbol)
        if laid.semitones % 12:
            words = (chords[was].figure, chords[now].figure)
        if words[0] == words[1]:  # the melody moved, the harmony kept its place in the key
            continue
        changes.append(Change(low, *table.place_at(low), *words, "harmony"))
    return changes


def _same(was: ChordSpan, now: ChordSpan, semitones: int) -> bool:
    if was.quality != now.quality:
        return False
    if (was.root, was.bass) == (now.root, now.bass):
        return semitones % 12 == 0
    return _moved(was.root, semitones) == _moved(now.root, 0) and _moved(was.bass, semitones) == _moved(now.bass, 0)


def _moved(name: str, semitones: int) -> int:
    return (PitchClass.parse(name).chroma + semitones) % 12


def _sounds(under: Below, start: float, end: float, semitones: int) -> tuple[frozenset[int], int]:
    """Pitch classes that sound in [start, end), and the lowest of them, both moved by ``semitones``."""
    midi = under.midi[under.during(start, end)] + semitones
    return frozenset((midi % 12).tolist()), int(midi.min() % 12) if len(midi) else -1
