"""What a theory teacher would object to, each caught once: keys, accidentals, answers that could not be otherwise."""

from __future__ import annotations

import contextlib
import random
import re
from dataclasses import replace

import pytest

from drills._figured import written
from drills._statements import ANOTHER_TO, SHAPE_TO, compared, same_shape
from tests.practice.songs import lanterns
from tutor.music.phrase import Phrase
from tutor.music.progression import harmony
from tutor.music.quality import QUALITIES, Quality
from tutor.music.scale import Key
from tutor.practice.catalogue import drills
from tutor.practice.drill import Answer, Drill, Item, Material, NoMaterial, Song

SEEDS = 30
SONG = Material(songs=(lanterns(),))


def drill(name: str) -> Drill:
    return next(d for d in drills() if d.name == name)


def items(name: str, skill: str, material: Material = SONG) -> list[Item]:
    return [drill(name).item(skill, material, random.Random(n), level=(n % 11) / 10) for n in range(SEEDS)]


def sentences(name: str, item: Item) -> list[str]:
    """Everything an item says, whatever is answered."""
    here = drill(name)
    question = here.question(item)
    answers = [Answer(), here.right(item), *(Answer(choice=c.label) for c in question.choices), Answer(notes=(60,))]
    marks = [here.mark(item, a) for a in answers]
    return [question.prompt, question.hint, *(c.text for c in question.choices),
            *(w for m in marks for w in (m.right, m.explanation, *(e.caption for e in m.evidence)))]  # fmt: skip


@pytest.mark.parametrize(("figure", "key", "figures"), [
    ("V", "C minor", "♮"), ("V7", "C minor", "7/♮3"), ("viio6", "C minor", "♮6"), ("V43", "C minor", "♮6/4/3"),
    ("V42", "E minor", "♯4/2"), ("V6", "C minor", "6"), ("ii65", "C major", "6/5"), ("I64", "C major", "6/4"),
])  # fmt: skip
def test_figures_carry_the_accidentals_that_the_signature_does_not_give(figure: str, key: str, figures: str) -> None:
    home = Key.parse(key)
    assert written(harmony(figure, home).chord, home) == figures


def test_a_chord_whose_plain_figures_are_asked_needs_no_accidental() -> None:
    for item in items("inversions", "figures-write", Material()):
        phrase: Phrase = drill("inversions").question(item).seen[0].phrase
        shifted = {t.pitch.pitch_class.fifths - phrase.fifths for t in phrase.tones}
        assert shifted <= {p.fifths for p in Key.parse("C major").scale}, item.payload["why"]


def test_a_sung_seventh_is_never_said_to_rest() -> None:
    for item in items("rub-or-rest", "belongs", Material()):
        assert "is the seventh of" not in item.payload["why"]


def test_song_questions_with_one_possible_answer_are_not_asked() -> None:
    song = lanterns()
    roots = tuple(c for c in song.reading.chords if c.inversion == 0)
    alike = Song(song.id, song.title, song.table, replace(song.reading, chords=roots))
    with pytest.raises(NoMaterial):
        drill("inversions").item("song", Material(songs=(alike,)), random.Random(1))


def test_plans_of_a_song_stand_beside_plans_of_as_many_sections() -> None:
    for item in items("form", "song-name"):
        labels = {c.label for c in drill("form").question(item).choices}
        assert len({len(x) for x in labels}) == 1
        assert len(labels) > 1


def test_the_source_of_two_phrases_does_not_tell_how_far_apart_they_lie() -> None:
    for item in items("form", "song-relation"):
        assert drill("form").question(item).source == "“Paper Lanterns”"


def test_a_phrase_that_comes_back_is_the_only_one_that_does_and_may_be_any_of_those_heard() -> None:
    asked = items("form", "song-return")
    assert {i.payload["right"] for i in asked} >= {"first", "second"}
    for item in asked:
        question = drill("form").question(item)
        assert len(question.heard) == len(question.choices), "the phrase, and one choice for each later one but none"
        assert not any(t.syllable for e in question.heard for t in e.phrase.tones), "words would tell"
        assert question.source == "“Paper Lanterns”"


def test_a_phrase_on_other_degrees_is_not_called_another_melody() -> None:
    a = [(0.0, 1.0, 60), (1.0, 1.0, 64), (2.0, 1.0, 62), (3.0, 1.0, 67), (4.0, 2.0, 65)]
    b = [(0.0, 1.0, 65), (1.0, 1.0, 72), (2.0, 1.0, 69), (3.0, 1.0, 71), (4.0, 2.0, 67)]
    assert compared(a, b, ANOTHER_TO) == "new", "hardly a note agrees, and yet it moves alike"
    assert same_shape(a, b) == 1.0 > SHAPE_TO
    assert same_shape(a, [(0.0, 2.0, 60), (2.0, 2.0, 65), (4.0, 2.0, 67)]) == 0.0


@pytest.mark.parametrize("quality", QUALITIES)
def test_a_song_may_hold_any_chord_that_a_reading_can_name(quality: Quality) -> None:
    """Augmented sixths have no thirds to count from: what cannot be asked of a chord is not asked."""
    song = lanterns()
    chords = tuple(replace(c, quality=quality) if n % 2 else c for n, c in enumerate(song.reading.chords))
    material = Material(songs=(replace(song, reading=replace(song.reading, chords=chords)),))
    for here in drills():
        for skill in sorted(here.from_songs):  # type: ignore[attr-defined]
            with contextlib.suppress(NoMaterial):
                item = here.item(skill, material, random.Random(1))
                assert here.mark(item, here.right(item)).correct


CLUMSY = re.compile(
    r"\b[01] of 1\b(?! in bar)|\b1 (notes|places|bars|chords)\b|\bbeat \d+\.\d|  |\.\.|"
    r"\b([a-z]{3,}) \2\b|\ba [aeio][a-z]"
)
"""Numbers that do not agree, doubled words and signs, the wrong article."""


@pytest.mark.parametrize("here", drills(), ids=lambda d: d.name)
def test_no_sentence_is_clumsy(here: Drill) -> None:
    for skill in here.skills:
        for n in range(3):
            item = here.item(skill, SONG, random.Random(n), level=n / 2)
            for text in sentences(here.name, item):
                found = CLUMSY.search(text)
                assert not found, f"{skill}: {found and found[0]!r} in {text!r}"


def test_clumsy_sentences_are_seen() -> None:
    for text in ("0 of 1 notes are right.", "beat 2.3333", "It is the the third.", "a octave higher", "Right.. so"):
        assert CLUMSY.search(text)
