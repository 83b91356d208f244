"""Figures read in a key, against the table of mixture and applied chords in C major; cadences by name."""

from __future__ import annotations

import itertools
import random

import pytest

from tutor.music.cadence import CADENCES, cadence_of
from tutor.music.progression import figures, follows, harmony
from tutor.music.scale import Key

C = Key.parse("C major")


@pytest.mark.parametrize(
    ("figure", "notes"),
    [
        ("i", "C Eb G"),
        ("iio", "D F Ab"),
        ("iiø7", "D F Ab C"),
        ("bIII", "Eb G Bb"),
        ("iv", "F Ab C"),
        ("v", "G Bb D"),
        ("bVI", "Ab C Eb"),
        ("bVII", "Bb D F"),
        ("viio7", "B D F Ab"),
        ("bII6", "Db F Ab"),
        ("V7/ii", "A C# E G"),
        ("V7/iii", "B D# F# A"),
        ("V7/IV", "C E G Bb"),
        ("V7/V", "D F# A C"),
        ("V7/vi", "E G# B D"),
        ("viio7/V", "F# A C Eb"),
        ("ii7/IV", "G Bb D F"),
        ("I7", "C E G B"),
        ("IV7", "F A C E"),
        ("vi7", "A C E G"),
    ],
)
def test_in_c_major(figure: str, notes: str) -> None:
    assert " ".join(t.name for t in harmony(figure, C).chord.tones) == notes


@pytest.mark.parametrize(
    ("figure", "notes"),
    [
        ("i", "A C E"),
        ("V7", "E G# B D"),
        ("v", "E G B"),
        ("VI", "F A C"),
        ("III", "C E G"),
        ("VII", "G B D"),
        ("viio7", "G# B D F"),
        ("iiø65", "B D F A"),
        ("bII6", "Bb D F"),
        ("VI7", "F A C E"),
    ],
)
def test_in_a_minor(figure: str, notes: str) -> None:
    assert " ".join(t.name for t in harmony(figure, Key.parse("A minor")).chord.tones) == notes


@pytest.mark.parametrize(
    ("figure", "bass", "leading", "target"),
    [
        ("V65", "B", "B", "C"),
        ("V42", "F", "B", "C"),
        ("I64", "G", None, None),
        ("V65/V", "F#", "F#", "G"),
        ("viio6", "D", "B", "C"),
        ("bVII", "Bb", None, None),
    ],
)
def test_bass_and_leading_tone(figure: str, bass: str, leading: str | None, target: str | None) -> None:
    found = harmony(figure, C)
    assert found.chord.bass.name == bass
    assert (found.leading.name if found.leading else None) == leading
    assert (found.target.name if found.target else None) == target


def test_altered_tones() -> None:
    assert [t.name for t in harmony("iv", C).altered] == ["Ab"]
    assert harmony("V7", Key.parse("A minor")).altered == ()
    assert harmony("ii7", C).altered == ()


@pytest.mark.parametrize("text", ["", "X", "IX", "V/"])
def test_no_figure(text: str) -> None:
    with pytest.raises(ValueError, match="no Roman numeral"):
        harmony(text, C)


@pytest.mark.parametrize(
    ("before", "last", "kind"),
    [
        ("V7", "I", "authentic"),
        ("V", "i", "authentic"),
        ("IV", "I", "plagal"),
        ("iv", "i", "plagal"),
        ("ii6", "V", "half"),
        ("V7", "vi", "deceptive"),
        ("V", "VI", "deceptive"),
        ("V", "V", None),
        ("ii", "I", None),
        ("I", "IV", None),
    ],
)
def test_cadences(before: str, last: str, kind: str | None) -> None:
    assert cadence_of(before, last) == kind


def test_both_names_of_a_cadence_are_shown() -> None:
    assert "British: perfect" in CADENCES["authentic"].words
    assert "British: imperfect" in CADENCES["half"].words
    assert "British: interrupted" in CADENCES["deceptive"].words


def test_every_move_of_a_rich_progression_is_idiomatic() -> None:
    for seed in range(200):
        rng = random.Random(seed)
        mode = rng.choice(("major", "minor"))
        names = figures(rng, mode, rng.randint(5, 8), rich=True)
        close = {"major": ("I64", "V", "V7", "I"), "minor": ("i64", "V", "V7", "i")}[mode]
        for a, b in itertools.pairwise(names):
            assert follows(a, b, mode) or b in close, (names, a, b)
