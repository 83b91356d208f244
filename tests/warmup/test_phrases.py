"""What the piano plays: chord, count-in, pattern, breath, and the way to the next key."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.warmup.songs import reading_of, table_of
from tutor.music.phrase import Phrase
from tutor.music.pitch import Pitch
from tutor.warmup.exercises import EXERCISES, semitones
from tutor.warmup.facts import move_of, song_facts
from tutor.warmup.lifted import Cut, lifted
from tutor.warmup.piano import repetition, signature

NAMES = st.sampled_from([n for n, e in EXERCISES.items() if e.pattern])


def sounding(phrase: Phrase, at: float) -> set[int]:
    return {
        t.midi % 12
        for t in phrase.tones
        if t.line in ("upper", "lower") and t.onset_quarters <= at < t.end_quarters - 1e-9
    }


@given(name=NAMES, root=st.integers(40, 84), first=st.booleans(), up=st.sampled_from([-1, 1, None]))
def test_every_key_has_its_chord_its_pattern_and_the_way_on(name: str, root: int, first: bool, up: int | None) -> None:
    exercise = EXERCISES[name]
    following = None if up is None else root + up
    phrase = repetition(exercise, root, following, first=first, dynamic="soft")
    assert sounding(phrase, 0.0) == {(root + s) % 12 for s in (0, 4, 7)}
    sung = [t for t in phrase.tones if t.line == "voice"]
    assert [t.midi for t in sung] == [root + semitones(d) for d, _ in exercise.pattern]
    assert sung[0].onset_quarters == (4.0 if first else 2.0)
    assert all(a.end_quarters == pytest.approx(b.onset_quarters) for a, b in pairwise(sung))
    last = phrase.length_quarters - 0.01
    if following is None:
        assert sounding(phrase, last) == {(root + s) % 12 for s in (0, 4, 7)}
    else:
        assert sounding(phrase, last) == {(following + s) % 12 for s in (7, 11, 2, 5)}
    breath = phrase.length_quarters - sung[-1].end_quarters
    assert breath >= 2.0
    assert len([t for t in phrase.tones if t.line == "click"]) == (4 if first else 0)


@given(root=st.integers(36, 96))
def test_patterns_are_spelled_in_their_key(root: int) -> None:
    fifths = signature(root)
    assert -5 <= fifths <= 6
    phrase = repetition(EXERCISES["five-note"], root, None, first=True, dynamic="soft")
    letters = [t.pitch.step for t in phrase.tones if t.line == "voice"]
    start = "CDEFGAB".index(letters[0])
    assert letters == ["CDEFGAB"[(start + d) % 7] for d in (0, 1, 2, 3, 4, 3, 2, 1, 0)]


@given(semis=st.integers(-24, 24), fifths=st.integers(-7, 7))
def test_a_spelled_move_has_the_size_asked_and_keeps_the_signature_small(semis: int, fifths: int) -> None:
    moved = Pitch.parse("C4").moved(*move_of(semis, fifths))
    assert moved.midi == 60 + semis
    assert abs(fifths + move_of(semis, fifths)[0]) <= 6 or (semis % 12 == 0 and abs(fifths) == 7)


WALTZ = table_of([(60, 1, "a"), (62, 1, "b"), (64, 1.5, "c"), (72, 2.5, "high"), (71, 1, ""), (0, 1, ""), (60, 4, "d")])


def cut_of(start: float, end: float, held: float = 8.0) -> Cut:
    return Cut(start, end, "", "half voice", held)


def test_the_lifted_phrase_keeps_rhythm_words_and_accompaniment() -> None:
    facts = song_facts(WALTZ, reading_of(WALTZ))
    phrase = lifted(facts, cut_of(facts.start, facts.end), 0, leads_up=False)
    sung = [t for t in phrase.tones if t.line == "voice"]
    first = sung[0].onset_quarters
    assert [(t.onset_quarters - first, t.duration_quarters, t.syllable) for t in sung] == [
        (0, 1, "a"), (1, 1, "b"), (2, 1.5, "c"), (3.5, 2.5, "high"), (6, 1, ""),
    ]  # fmt: skip
    assert first == 4.0
    assert sounding(phrase, first) == {0, 4, 7}
    down = lifted(facts, cut_of(facts.start, facts.end), 3, leads_up=True)
    assert sounding(down, down.tones[0].onset_quarters + first) == {9, 1, 4}
    assert sounding(down, down.length_quarters - 0.01) == {(10 + s) % 12 for s in (7, 11, 2, 5)}


def test_a_word_of_the_lifted_phrase_keeps_its_hyphen() -> None:
    notes = tuple(replace(n, syllabic="begin") if n.syllable == "high" else n for n in WALTZ.notes)
    facts = song_facts(replace(WALTZ, notes=notes), reading_of(WALTZ))
    phrase = lifted(facts, cut_of(facts.start, facts.end), 0, leads_up=False)
    assert [t.syllable for t in phrase.tones if t.line == "voice" and t.syllable] == ["a", "b", "c", "high-"]


def test_a_held_note_can_be_touched_and_left() -> None:
    facts = song_facts(WALTZ, reading_of(WALTZ))
    short = lifted(facts, cut_of(facts.start, facts.end, held=0.5), 0, leads_up=False)
    assert max(t.duration_quarters * 60 / short.bpm for t in short.tones if t.line == "voice") <= 0.5 + 1e-9


def test_an_upbeat_keeps_its_place_in_the_bar() -> None:
    table = table_of([(0, 3, ""), (60, 1, "the"), (69, 4, "sky"), (67, 2, "is"), (65, 2, "wide")], bpm=120)
    facts = song_facts(table, reading_of(table))
    phrase = lifted(facts, cut_of(facts.start, facts.end), 0, leads_up=False)
    first = next(t for t in phrase.tones if t.line == "voice")
    assert first.onset_quarters % 4 == 3
    assert phrase.length_quarters % 4 == 0
    clicks = [t.onset_quarters for t in phrase.tones if t.line == "click"]
    assert clicks == [float(k) for k in range(int(first.onset_quarters))]


def test_an_upbeat_after_a_split_bar_keeps_its_place_too() -> None:
    whole = table_of([(0, 7, ""), (60, 1, "the"), (69, 4, "sky"), (67, 2, "is"), (65, 2, "wide")], bpm=120)
    one, two, *others = whole.measures
    halves = (replace(two, duration_quarters=3.0), replace(two, start_quarters=7.0, duration_quarters=1.0))
    split = replace(whole, measures=(one, *halves, *others))
    notes = tuple(replace(n, measure=split.bar_index(n.onset_quarters)) for n in whole.notes)
    phrases = []
    for table in (whole, replace(split, notes=notes)):
        facts = song_facts(table, reading_of(table))
        phrases.append(lifted(facts, cut_of(facts.start, facts.end), 0, leads_up=False))
    assert phrases[0] == phrases[1]
    assert phrases[0].first_bar == "1"
