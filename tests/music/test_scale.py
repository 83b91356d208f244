"""Keys, degrees and modes."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.music.pitch import PitchClass
from tutor.music.scale import MODES, Key, degree_fifths, degree_named, modes_with

SEMITONES = {
    "lydian": (0, 2, 4, 6, 7, 9, 11),
    "ionian": (0, 2, 4, 5, 7, 9, 11),
    "mixolydian": (0, 2, 4, 5, 7, 9, 10),
    "dorian": (0, 2, 3, 5, 7, 9, 10),
    "aeolian": (0, 2, 3, 5, 7, 8, 10),
    "phrygian": (0, 1, 3, 5, 7, 8, 10),
    "locrian": (0, 1, 3, 5, 6, 8, 10),
}


@pytest.mark.parametrize("mode", MODES)
def test_modes_in_semitones(mode: str) -> None:
    key = Key.parse("C major")
    assert tuple(key.pitch_class(d).chroma for d in MODES[mode]) == SEMITONES[mode]


def test_each_mode_lowers_one_tone_of_the_brighter_one() -> None:
    sums = [sum(SEMITONES[m]) for m in MODES]
    assert sums == [39, 38, 37, 36, 35, 34, 33]
    for bright, dark in pairwise(MODES.values()):
        assert sum(a != b for a, b in zip(bright, dark, strict=True)) == 1


def test_who_has_a_degree() -> None:
    assert modes_with("#4") == ("lydian",)
    assert modes_with("b7") == ("mixolydian", "dorian", "aeolian", "phrygian", "locrian")
    assert modes_with("b2") == ("phrygian", "locrian")
    assert modes_with("#5") == ()


@pytest.mark.parametrize(
    ("name", "fifths", "scale"),
    [
        ("C major", 0, "C D E F G A B"),
        ("Bb minor", -5, "Bb C Db Eb F Gb Ab"),
        ("F# major", 6, "F# G# A# B C# D# E#"),
        ("E minor", 1, "E F# G A B C D"),
    ],
)
def test_keys(name: str, fifths: int, scale: str) -> None:
    key = Key.parse(name)
    assert key.fifths == fifths
    assert " ".join(t.name for t in key.scale) == scale
    assert key.name == name


def test_pitches_stand_above_their_tonic() -> None:
    key = Key.parse("Bb major")
    assert [key.pitch(d, 3).name for d in ("1", "2", "b3", "7")] == ["Bb3", "C4", "Db4", "A4"]


@given(st.integers(-14, 14))
def test_degrees_go_both_ways(fifths: int) -> None:
    assert degree_fifths(degree_named(fifths)) == fifths if abs(fifths) < 12 else True


def test_degree_of_a_tone() -> None:
    key = Key.parse("D major")
    assert key.degree_of(PitchClass.parse("C")) == "b7"
    assert key.degree_of(PitchClass.parse("G#")) == "#4"
    assert key.degree_of(PitchClass.parse("F#")) == "3"


@pytest.mark.parametrize("text", ["C", "H major", "C dorian", ""])
def test_no_key(text: str) -> None:
    with pytest.raises(ValueError, match=r"no key|no pitch class"):
        Key.parse(text)


@pytest.mark.parametrize("text", ["0", "8", "x4", ""])
def test_no_degree(text: str) -> None:
    with pytest.raises(ValueError, match="no degree"):
        degree_fifths(text)
