"""Spelled intervals."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.music.interval import Interval, with_article
from tutor.music.pitch import Pitch

PITCHES = st.builds(Pitch, st.sampled_from("CDEFGAB"), st.integers(-1, 1), st.integers(2, 6))


@pytest.mark.parametrize(
    ("low", "high", "name", "semitones", "words"),
    [
        ("C4", "C4", "P1", 0, "unison"),
        ("E4", "F4", "m2", 1, "minor second"),
        ("C4", "D#4", "A2", 3, "augmented second"),
        ("C4", "Eb4", "m3", 3, "minor third"),
        ("C4", "E4", "M3", 4, "major third"),
        ("F4", "B4", "A4", 6, "augmented fourth"),
        ("B3", "F4", "d5", 6, "diminished fifth"),
        ("Bb3", "F4", "P5", 7, "perfect fifth"),
        ("E4", "C5", "m6", 8, "minor sixth"),
        ("C4", "A#4", "A6", 10, "augmented sixth"),
        ("G#3", "F4", "d7", 9, "diminished seventh"),
        ("C4", "B4", "M7", 11, "major seventh"),
        ("C4", "C5", "P8", 12, "octave"),
        ("C4", "Db5", "m9", 13, "minor ninth"),
        ("Cb4", "C#4", "AA1", 2, "doubly augmented unison"),
    ],
)
def test_names_and_sizes(low: str, high: str, name: str, semitones: int, words: str) -> None:
    size = Interval.between(Pitch.parse(low), Pitch.parse(high))
    assert (size.name, size.semitones, size.words) == (name, semitones, words)
    if len(name) < 3:
        assert Interval.parse(name) == size


@given(PITCHES, PITCHES)
def test_agrees_with_midi_and_leads_there(a: Pitch, b: Pitch) -> None:
    size = Interval.between(a, b)
    assert size.semitones == b.midi - a.midi
    assert a.moved(size.fifths, size.diatonic) == b
    assert size.up.name == Interval.between(b, a).up.name


@given(PITCHES, PITCHES)
def test_simple_is_within_an_octave(a: Pitch, b: Pitch) -> None:
    size = Interval.between(a, b)
    assert 0 <= size.simple.diatonic <= 7
    assert (size.simple.semitones - size.up.semitones) % 12 == 0


@pytest.mark.parametrize("text", ["", "X3", "M5", "P3", "m4", "M0", "M16", "5P"])
def test_nonsense_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no interval"):
        Interval.parse(text)


def test_article() -> None:
    assert [with_article(w) for w in ("octave", "minor third", "augmented fourth", "unison")] == [
        "an octave",
        "a minor third",
        "an augmented fourth",
        "a unison",
    ]
