"""Staves in words: every note is said once, in its bar, by whoever has it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch
from tutor.music.spoken import bars, describe, length, note, signature


@pytest.mark.parametrize(
    ("name", "said"),
    [("C4", "C4"), ("Bb4", "B flat 4"), ("F##5", "F double sharp 5"), ("Ebb3", "E double flat 3"), ("F#", "F sharp")],
)
def test_names_without_signs(name: str, said: str) -> None:
    assert note(name) == said


def test_lengths_and_signatures() -> None:
    assert [length(q) for q in (1.0, 1.5, 0.34, 3.9)] == [
        "quarter note", "dotted quarter note", "triplet eighth note", "whole note",
    ]  # fmt: skip
    assert [signature(f) for f in (0, -1, 3)] == ["no sharps or flats", "one flat", "three sharps"]


def test_one_line_is_not_named_and_two_are() -> None:
    alone = Phrase.parse("E3+G3+C4:4")
    assert describe(alone) == "4/4, no sharps or flats.\nBar 1. beat 1: E3 G3 C4, whole note."
    both = Phrase(alone.tones + Phrase.parse("Eb2:4", line="lower").tones)
    assert "voice E3, G3, C4, whole note; left hand E flat 2, whole note" in describe(both, signs=False)


def test_a_pickup_counts_its_beats_from_the_end_of_the_bar() -> None:
    phrase = Phrase.parse("G4:1 C5:4")
    cut = Phrase(phrase.tones, pickup_quarters=1.0, first_bar="0")
    assert bars(cut) == [("0", 0.0, 1.0), ("1", 1.0, 5.0)]
    assert describe(cut).splitlines()[1:] == ["Bar 0. beat 4: G4, quarter note.", "Bar 1. beat 1: C5, whole note."]


TONES = st.builds(
    Tone, st.integers(0, 40).map(lambda n: n / 2), st.sampled_from([0.25, 0.5, 1.0, 3.0]),
    st.builds(Pitch, st.sampled_from("CDEFGAB"), st.integers(-2, 2), st.integers(2, 6)),
    st.sampled_from(["voice", "upper", "lower"]),
)  # fmt: skip


@given(st.lists(TONES, max_size=12), st.sampled_from([(4, 4), (3, 4), (6, 8)]), st.floats(0, 2))
def test_every_note_is_said_once(tones: list[Tone], metre: tuple[int, int], pickup: float) -> None:
    phrase = Phrase(tuple(tones), numerator=metre[0], denominator=metre[1], pickup_quarters=pickup)
    said = describe(phrase, signs=False)
    words = [w for line in said.splitlines()[1:] for w in line.replace(";", ",").replace(": ", ", ").split(", ")]
    for name in {note(t.pitch.name) for t in tones}:
        told = sum(
            w.removeprefix("voice ").removeprefix("right hand ").removeprefix("left hand ") == name for w in words
        )
        assert told == sum(note(t.pitch.name) == name for t in tones)
