"""What comes back, and exactly what is different."""

from __future__ import annotations

import random
from collections.abc import Hashable, Sequence
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.analysis.invented import chord, sounding, table
from tutor.analysis import restated
from tutor.analysis.columns import below, sung_line
from tutor.analysis.findings import ChangedNote, ChordSpan, PhraseSpan, Return, Section
from tutor.analysis.returns import find_returns
from tutor.music.pitch import Pitch
from tutor.music.table import NoteTable

TUNE = "C4:1 D4:1 E4:1 G4:1 A4:2 G4:2 F4:1 E4:1 D4:1 B3:1 C4:3 r:1"


def compared(first: str, again: str, *, under: str = "", chords: list[ChordSpan] | None = None) -> Return:
    song = table(f"{first} {again}", under)
    half = sum(float(w.split(":")[1].split("=")[0]) for w in first.split())
    sections = [
        Section("A", 0, 0.0, half, ("1", "4"), 1.0),
        Section("A", 1, half, song.length_quarters, ("5", "8"), 1.0),
    ]
    found = find_returns(song, sung_line(song), below(song), chords or [], sections)
    assert len(found) == 1
    return found[0]


def told(found: Return) -> list[tuple[float, str, str, str]]:
    return [(c.at, c.what, c.was, c.now) for c in found.changes]


def test_an_exact_return_has_no_changes() -> None:
    found = compared(TUNE, TUNE)
    assert (found.of, found.again, found.transposed, found.changes) == ((0.0, 16.0), (16.0, 32.0), 0, ())


def test_one_note_higher_at_the_end() -> None:
    found = compared(TUNE, TUNE.replace("C4:3", "E4:3"))
    assert told(found) == [(28.0, "pitch", "C4", "E4")]
    assert (found.changes[0].bar, found.changes[0].beat) == ("8", 1.0)


def test_an_octave_leap() -> None:
    assert told(compared(TUNE, TUNE.replace("C4:3", "C5:3"))) == [(28.0, "octave", "C4", "C5")]


def test_a_phrase_cut_short_and_one_that_later_completes() -> None:
    short = TUNE.replace("F4:1 E4:1 D4:1 B3:1 C4:3 r:1", "r:8")
    assert told(compared(TUNE, short)) == [(24.0, "cut short", "F4 E4 D4 B3 C4", "")]
    assert told(compared(short, TUNE)) == [(24.0, "extended", "", "F4 E4 D4 B3 C4")]


def test_notes_sung_while_the_last_note_was_held_make_the_phrase_no_longer() -> None:
    sigh = TUNE.replace("C4:3 r:1", "C4:1 E4:1 D4:1 r:1")
    assert told(compared(TUNE, sigh)) == [
        (28.0, "rhythm", "C4 for 3 quarters", "C4 for 1 quarter"),
        (29.0, "rhythm", "C4 held", "E4 D4"),
    ]
    assert told(compared(sigh, TUNE)) == [
        (28.0, "rhythm", "C4 for 1 quarter", "C4 for 3 quarters"),
        (29.0, "rhythm", "E4 D4", "C4 held"),
    ]
    assert told(compared(TUNE, TUNE.replace("C4:3 r:1", "C4:2 E4:1 D4:1"))) == [
        (28.0, "rhythm", "C4 for 3 quarters", "C4 for 2 quarters"),
        (30.0, "extended", "", "E4 D4"),
    ]


def test_a_last_note_struck_on_without_a_syllable_is_held_and_not_added() -> None:
    def ending(notes: str) -> list[tuple[float, str, str, str]]:
        song = table(f"{TUNE.replace('C4:3 r:1', 'C4:3=home r:1')} {TUNE.replace('C4:3 r:1', notes)}")
        (found,) = of_sections(song, 0.0, 16.0, 32.0)
        return told(found)

    assert ending("C4:3=home C4:1") == [(28.0, "rhythm", "C4 for 3 quarters", "C4 3 + 1 quarters")]
    assert ending("C4:3=home C4:1=now") == [(31.0, "extended", "", "C4")]
    assert ending("C4:3=home E4:1") == [(31.0, "extended", "", "E4")]


def test_a_note_held_longer_and_a_note_put_off() -> None:
    assert told(compared(TUNE, TUNE.replace("A4:2 G4:2", "A4:3 G4:1"))) == [
        (20.0, "rhythm", "A4 for 2 quarters", "A4 for 3 quarters"),
        (23.0, "rhythm", "G4 on beat 3", "G4 on beat 4"),
    ]


def test_a_note_split_in_two() -> None:
    split = TUNE.replace("A4:2 G4:2", "A4:1 A4:0.5 A4:0.5 G4:2")
    assert told(compared(TUNE, split)) == [(20.0, "rhythm", "A4 for 2 quarters", "A4 1 + 0.5 + 0.5 quarters")]
    assert told(compared(split, TUNE)) == [(20.0, "rhythm", "A4 1 + 0.5 + 0.5 quarters", "A4 for 2 quarters")]


SUNG = "C4:1=one D4:1=lamp E4:1=is G4:1=lit A4:2=low G4:2=tide F4:1=now E4:1=we D4:1=row B3:1=the C4:3=boat r:1"


def followed(first: str, again: str) -> list[tuple[float, str, bool]]:
    return [(c.at, c.what, c.follows_words) for c in compared(first, again).changes]


def test_a_note_split_or_joined_with_a_syllable_for_every_note_follows_the_words() -> None:
    split = SUNG.replace("A4:2=low", "A4:1=ev- A4:0.5=er- A4:0.5=y")
    assert followed(SUNG, split) == [(20.0, "rhythm", True)]
    assert followed(split, SUNG) == [(20.0, "rhythm", True)]


def test_a_note_split_on_one_syllable_is_a_change_of_the_tune() -> None:
    melisma = SUNG.replace("A4:2=low", "A4:1=low A4:1")
    assert followed(SUNG, melisma) == [(20.0, "rhythm", False)]
    assert followed(melisma, SUNG) == [(20.0, "rhythm", False)]
    split = "A4:1=ev- A4:0.5=er- A4:0.5=y"
    unsung = SUNG.replace("A4:2=low", "A4:2")
    assert followed(unsung, unsung.replace("A4:2", split)) == [(20.0, "rhythm", False)], "the first has no syllable"


def test_another_pitch_or_another_time_is_no_fitting_of_words() -> None:
    assert not any(follows for *_, follows in followed(SUNG, SUNG.replace("A4:2=low", "A4:1=ev- B4:1=en")))
    longer = followed(SUNG, SUNG.replace("A4:2=low G4:2=tide", "A4:2=ev- A4:1=en G4:1=tide"))
    assert longer
    assert not any(follows for *_, follows in longer)


def test_a_changed_rhythm_beside_a_split_note_stays_one() -> None:
    again = SUNG.replace("A4:2=low", "A4:1=slow A4:1=ly").replace("F4:1=now E4:1=we", "F4:1.5=now E4:0.5=we")
    assert followed(SUNG, again) == [(20.0, "rhythm", True), (24.0, "rhythm", False), (25.5, "rhythm", False)]


def test_a_change_carries_the_notes_of_both_sides() -> None:
    (split,) = compared(TUNE, TUNE.replace("A4:2 G4:2", "A4:1 A4:0.5 A4:0.5 G4:2")).changes
    assert split.before == (ChangedNote("A4", 20.0, "6", 1.0, 2.0),)
    assert [(n.at, n.beat, n.quarters) for n in split.after] == [(20.0, 1.0, 1.0), (21.0, 2.0, 0.5), (21.5, 2.5, 0.5)]
    (held,) = compared(TUNE.replace("A4:2 G4:2", "A4:1 B4:1 G4:2"), TUNE).changes[1:]
    assert held.before == (ChangedNote("B4", 21.0, "6", 2.0, 1.0),)
    assert held.after == (ChangedNote("A4", 20.0, "6", 1.0, 2.0, struck=False),)


def test_a_note_put_off_over_the_bar_line_is_told_with_its_bars() -> None:
    first = TUNE.replace("F4:1 E4:1", "r:1 E4:1")
    found = compared(first, first.replace("G4:2 r:1", "r:2 G4:1"))
    assert told(found) == [(24.0, "rhythm", "G4 on beat 3 of bar 6", "G4 on beat 1 of bar 7")]


def test_a_note_struck_where_one_was_held_is_no_note_in_a_rest() -> None:
    turned = TUNE.replace("A4:2 G4:2", "A4:1 B4:1 G4:2")
    assert told(compared(TUNE, turned)) == [
        (20.0, "rhythm", "A4 for 2 quarters", "A4 for 1 quarter"),
        (21.0, "rhythm", "A4 held", "B4"),
    ]
    assert told(compared(turned, TUNE)) == [
        (20.0, "rhythm", "A4 for 1 quarter", "A4 for 2 quarters"),
        (21.0, "rhythm", "B4", "A4 held"),
    ]


def test_another_note_of_another_length_is_told_by_its_own_name() -> None:
    found = compared(TUNE, TUNE.replace("C4:3 r:1", "E4:2 r:2"))
    assert told(found) == [
        (28.0, "pitch", "C4", "E4"),
        (28.0, "rhythm", "C4 for 3 quarters", "E4 for 2 quarters"),
    ]


def test_a_phrase_that_comes_back_from_its_middle_is_compared_from_there() -> None:
    song = table(f"{TUNE} F#4:4 G#4:4 A#4:2 B4:2 F#4:4 {TUNE.replace('C4:1 D4:1 E4:1 G4:1', 'r:4')}")
    spans = [(0.0, 15.0), (16.0, 32.0), (36.0, 47.0)]
    phrases = [PhraseSpan(k, a, b, ("1", "1"), "") for k, (a, b) in enumerate(spans)]
    (found,) = find_returns(song, sung_line(song), below(song), [], [], phrases)
    assert (found.of, found.again, found.changes) == ((4.0, 15.0), (36.0, 47.0), ())


def test_a_phrase_that_comes_back_outside_any_section_is_found() -> None:
    song = table(f"{TUNE} F#4:4 G#4:4 A#4:2 B4:2 F#4:4 {TUNE.replace('C4:3', 'G4:3')}")
    spans = [(0.0, 15.0), (16.0, 32.0), (32.0, 47.0)]
    phrases = [PhraseSpan(k, a, b, ("1", "1"), "") for k, (a, b) in enumerate(spans)]
    (found,) = find_returns(song, sung_line(song), below(song), [], [], phrases)
    assert (found.of, found.again, told(found)) == ((0.0, 15.0), (32.0, 47.0), [(44.0, "pitch", "C4", "G4")])


REST_OF_IT = "F#4:4 G#4:4 A#4:2 B4:2 F#4:4"


def of_sections(song: NoteTable, *bounds: float, phrases: Sequence[PhraseSpan] = ()) -> tuple[Return, ...]:
    sections = [Section("A", k, a, b, ("1", "1"), 1.0) for k, (a, b) in enumerate(pairwise(bounds))]
    return find_returns(song, sung_line(song), below(song), [], sections, phrases)


def test_a_note_bars_later_is_not_the_same_note_put_off() -> None:
    song = table("C4:1 D4:1 E4:1 G4:1 A4:2 E4:2 D4:3 F4:1 C4:1 D4:1 E4:1 G4:1 A4:2 E4:2 D4:4 G4:4 G4:3 F4:1 G4:4")
    (found,) = of_sections(song, 0.0, 12.0, 36.0)
    assert told(found) == [
        (20.0, "rhythm", "D4 for 3 quarters", "D4 for 4 quarters"),
        (23.0, "pitch", "F4", "G4 G4 F4 G4"),
    ]


def test_two_endings_are_one_change_and_neither_cut_short_nor_extended() -> None:
    assert told(compared(TUNE, TUNE.replace("D4:1 B3:1 C4:3 r:1", "r:1.5 G4:2 A4:1.5 r:1")))[-1:] == [
        (26.0, "pitch", "D4 B3 C4", "G4 A4")
    ]
    first = TUNE.replace("F4:1 E4:1 D4:1 B3:1 C4:3 r:1", "D4:1 C4:1 r:6")
    assert told(compared(first, first.replace("D4:1 C4:1 r:6", "r:4 D4:1 C4:1 r:2"))) == [
        (24.0, "rhythm", "D4 C4 from beat 1 of bar 7", "D4 C4 from beat 1 of bar 8")
    ]


def test_a_section_that_brings_back_the_end_of_a_longer_one_is_compared_with_that_end() -> None:
    song = table(f"C#5:16 {REST_OF_IT} {TUNE} {TUNE.replace('C4:3', 'E4:3')}")
    (found,) = of_sections(song, 0.0, 48.0, 64.0)
    assert (found.of, found.again, told(found)) == ((32.0, 48.0), (48.0, 64.0), [(60.0, "pitch", "C4", "E4")])


def test_what_a_section_has_beyond_its_first_statement_is_compared_by_phrase() -> None:
    song = table(f"{TUNE} {REST_OF_IT} {TUNE} {REST_OF_IT}")
    phrases = [PhraseSpan(k, a, a + 15.5, ("1", "1"), "") for k, a in enumerate((0.0, 16.0, 32.0, 48.0))]
    found = of_sections(song, 16.0, 32.0, 64.0, phrases=phrases)
    assert [(r.of, r.again, r.changes) for r in found] == [
        ((0.0, 15.5), (32.0, 47.5), ()),
        ((16.0, 32.0), (48.0, 64.0), ()),
    ]


def test_a_refrain_that_closes_two_different_phrases_is_found() -> None:
    one = "F#4 F4 D4 F#4 G#4 F4 E4 C#4 F4 F#4 D4 E4 B3 C#4 Bb3 D4"
    two = "D4 F4 F4 C#4 D4 G4 F#4 G#4 E4 D4 F4 B3 Bb3 E4 C#4 C4"
    song = table(" ".join(f"{' '.join(f'{n}:0.5' for n in words.split())} {TUNE}" for words in (one, two)))
    phrases = [PhraseSpan(0, 0.0, 23.0, ("1", "1"), ""), PhraseSpan(1, 24.0, 47.0, ("1", "1"), "")]
    (found,) = find_returns(song, sung_line(song), below(song), [], [], phrases)
    assert (found.of, found.again, found.transposed, found.changes) == ((8.0, 23.0), (32.0, 47.0), 0, ())


def test_words_sung_twice_inside_one_phrase_are_found_with_the_last_note_held_longer() -> None:
    song = table("C4:2 E4:1 E4:1 D4:2 F4:2 C4:2 E4:1 E4:1 D4:2 F4:6")
    (found,) = find_returns(song, sung_line(song), below(song), [], [])
    assert (found.of, found.again) == ((0.0, 8.0), (8.0, 20.0))
    assert told(found) == [(14.0, "rhythm", "F4 for 2 quarters", "F4 for 6 quarters")]


def test_a_section_that_opens_with_an_introduction_is_laid_by_its_notes() -> None:
    song = table(f"r:6 {TUNE} r:2 {TUNE.replace('A4:2', 'B4:2')}")
    (found,) = of_sections(song, 0.0, 24.0, 40.0)
    assert (found.of, found.again, found.apart) == ((0.0, 24.0), (24.0, 40.0), 18.0)
    assert told(found) == [(28.0, "pitch", "A4", "B4")]


def test_a_return_a_third_higher_spells_what_was_expected() -> None:
    up = " ".join(
        w if w[0] == "r" else f"{Pitch.parse(w.split(':')[0]).moved(-3, 2).name}:{w.split(':')[1]}"
        for w in TUNE.split()
    )
    found = compared(TUNE, up.replace("Eb4:3", "G4:3"))
    assert found.transposed == 3
    assert told(found) == [(28.0, "pitch", "Eb4", "G4")]


def test_a_reharmonized_cadence_and_only_that() -> None:
    first = [chord(0, 12, "C"), chord(12, 16, "G", "dominant-seventh", figure="V7")]
    again = [chord(16, 28, "C"), chord(28, 32, "Db", figure="bII")]
    both = first + again
    found = compared(TUNE, TUNE, under=sounding(both), chords=both)
    assert told(found) == [(28.0, "harmony", "G7", "Db")]


def test_two_readings_of_the_same_notes_are_no_change() -> None:
    block = [chord(0, 16, "C"), chord(16, 32, "C")]
    misread = [block[0], chord(16, 32, "A", "minor-seventh", 1)]
    assert told(compared(TUNE, TUNE, under=sounding(block), chords=misread)) == []


def test_nothing_alike_is_no_return() -> None:
    song = table("C4:4 E4:4 G4:4 C5:4 F#4:1 G#4:1 F#4:2 A#4:3 D5:1 B3:1 B3:1 B3:6")
    sections = [Section("A", 0, 0, 16, ("1", "4"), 1), Section("A", 1, 16, 32, ("5", "8"), 1)]
    assert find_returns(song, sung_line(song), below(song), [], sections) == ()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(55, 76), st.sampled_from([0.5, 1.0, 2.0])), min_size=6, max_size=24),
    st.data(),
)
def test_exactly_the_notes_that_were_changed_are_found(line: list[tuple[int, float]], data: st.DataObject) -> None:
    count = data.draw(st.integers(0, len(line) // 3))
    places = data.draw(st.lists(st.integers(0, len(line) - 1), unique=True, min_size=count, max_size=count))
    by = {k: data.draw(st.sampled_from([-5, -2, -1, 1, 2, 3, 12])) for k in places}
    shift = data.draw(st.sampled_from([0, 0, 2, -3, 12]))
    length = sum(d for _, d in line)
    pad = -length % 4.0
    first = " ".join(f"{Pitch.from_midi(m)}:{d}" for m, d in line) + (f" r:{pad}" if pad else "")
    again = " ".join(f"{Pitch.from_midi(m + shift + by.get(k, 0))}:{d}" for k, (m, d) in enumerate(line))
    found = compared(first, again)
    if found.transposed != shift:  # another transposition explains the tune as well: it must not be a worse one
        assert len(found.changes) <= len(by)
        return
    starts = [sum(d for _, d in line[:k]) + length + pad for k in range(len(line))]
    assert sorted(c.at for c in found.changes) == sorted(round(starts[k], 6) for k in by)
    for change in found.changes:
        assert change.what == ("octave" if by[starts.index(change.at)] == 12 else "pitch")


def test_a_line_of_random_notes_is_not_followed_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    steps = random.Random(1)
    song = table(" ".join(f"{steps.choice('CDE')}4:0.25" for _ in range(1200)))
    followed: list[int] = []
    shared = restated._shared

    def counted(code: Sequence[Hashable], i: int, j: int, notes: int) -> int:
        followed.append(j)
        return shared(code, i, j, notes)

    monkeypatch.setattr(restated, "_shared", counted)
    restated.find_restated(song, sung_line(song), ())
    every = len(followed)
    followed.clear()
    monkeypatch.setattr(restated, "_MOST_PAIRS", 100)
    restated.find_restated(song, sung_line(song), ())
    assert len(followed) == 100 < every
