"""Fixed cases of mixture and applied chords in C major, each with the wrong answer it has to avoid."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib.resources import files

import pytest

from tests.analysis.progressions import table_of
from tutor.analysis.borrowed import CLASSES, find_borrowed, fitted_weights, modes_of
from tutor.analysis.borrowedfeatures import COLUMNS
from tutor.analysis.findings import BorrowedTone
from tutor.analysis.harmony import read_harmony

_FRAME = [
    "C3 E4 G4 C5", "G2 D4 F4 B4", "C3 E4 G4 C5", "A2 E4 A4 C5", "D3 F4 A4 D5", "G2 D4 F4 B4", "C3 E4 G4 C5",
    "C3 E4 G4 C5",
]  # fmt: skip
"""Eight bars that settle C major; they stand before each case, and again after it where the case does not end."""


def _read(bars: list[str], *, close: bool = True, melody: dict[int, str] | None = None) -> list[BorrowedTone]:
    whole = [*_FRAME, *bars, *(_FRAME[1:] if close else [])]
    first = len(_FRAME)
    table = table_of(whole, melody={first + i: text for i, text in (melody or {}).items()} if melody else None)
    keys, chords = read_harmony(table)
    assert {k.name for k in keys} == {"C major"}
    return [t for t in find_borrowed(table, keys, chords) if 4 * first <= t.start < 4 * (first + len(bars))]


def _kinds(tones: list[BorrowedTone], pitch: str) -> set[str]:
    return {t.kind for t in tones if t.pitch.rstrip("0123456789") == pitch}


@pytest.mark.parametrize(
    ("bars", "pitch", "kind"),
    [
        (["C3 E4 G4 Bb4", "F3 C4 F4 A4"], "Bb", "applied"),
        (["Bb2 D4 F4 Bb4", "F3 C4 F4 A4", "C3 E4 G4 C5"], "Bb", "modal"),
        (["D3 A3 C4 F#4", "G3 B3 D4 G4"], "F#", "applied"),
        (["F#3 A3 C4 Eb4", "G3 B3 D4 G4"], "F#", "applied"),
        (["F3 C4 F4 A4", "F3 C4 F4 Ab4", "C3 C4 E4 G4"], "Ab", "modal"),
        (["E3 B3 D4 G#4", "A3 C4 E4 A4"], "G#", "applied"),
        (["D3 Ab3 C4 F4", "G2 B3 D4 F4", "C3 C4 E4 G4"], "Ab", "modal"),
        (["A2 G3 C#4 E4", "D3 F3 A3 D4"], "C#", "applied"),
        (["F3 F4 Ab4 Db5", "G2 D4 F4 B4", "C3 C4 E4 C5"], "Db", "modal"),
        (["G3 Bb3 D4 F4", "C3 Bb3 E4 G4", "F3 A3 C4 F4"], "Bb", "applied"),
    ],
    ids=["V7/IV", "bVII", "V7/V", "viio7/V", "iv", "V7/vi", "iio7", "V7/ii", "bII6", "ii7/IV V7/IV"],
)
def test_a_chord_lends_or_leads(bars: list[str], pitch: str, kind: str) -> None:
    assert _kinds(_read(bars), pitch) == {kind}


def test_a_seventh_on_the_tonic_that_goes_nowhere_is_mixolydian() -> None:
    tones = _read(["C3 E4 G4 Bb4", "C3 E4 G4 Bb4"], close=False)
    assert _kinds(tones, "Bb") == {"modal"}
    assert {t.modes[0] for t in tones if t.degree == "b7"} == {"mixolydian"}


def test_the_major_second_degree_over_the_tonic_is_lydian() -> None:
    tones = _read(["C3 D4 F#4 A4", "C3 E4 G4 C5", "C3 D4 F#4 A4", "C3 E4 G4 C5"])
    assert _kinds(tones, "F#") == {"modal"}
    assert {t.modes for t in tones if t.degree == "#4"} == {("lydian",)}


def test_a_tone_between_its_neighbours_is_chromatic() -> None:
    tones = _read(["G2 D4 G4 B4", "C3 E4 G4 C5"], melody={0: "B4:1 Bb4:1 A4:1 G4:1"})
    assert _kinds(tones, "Bb") == {"chromatic"}


def test_the_raised_fourth_is_two_things_in_two_bars() -> None:
    tones = _read(["D3 A3 C4 F#4", "G3 B3 D4 G4", "C3 E3 G3 C4", "C3 D4 F#4 A4", "C3 E4 G4 C5"])
    by_bar = {t.bar: t.kind for t in tones if t.degree == "#4"}
    assert by_bar == {"9": "applied", "12": "modal"}


def test_a_shift_of_mode_names_the_tone_it_turns_on() -> None:
    tones = _read(["F3 C4 F4 A4", "F3 C4 F4 Ab4", "C3 C4 E4 G4", "F3 C4 F4 Ab4", "C3 C4 E4 G4"])
    lent = [t for t in tones if t.kind == "modal"]
    assert {t.bar for t in lent} == {"10", "12"}
    assert {t.pivot for t in lent} == {"C"}


@pytest.mark.parametrize(
    ("degree", "around", "modes"),
    [
        ("#4", (), ("lydian",)),
        ("b7", (), ("mixolydian", "dorian", "aeolian", "phrygian", "locrian")),
        ("6", (), ("lydian", "ionian", "mixolydian", "dorian")),
        ("b6", ("7",), ("harmonic minor", "aeolian", "phrygian", "locrian")),
        ("b2", (), ("phrygian", "locrian")),
        ("b5", (), ("locrian",)),
        ("b3", ("6", "7"), ("melodic minor", "dorian", "harmonic minor", "aeolian", "phrygian", "locrian")),
        ("b3", ("7", "b7"), ("dorian", "aeolian", "phrygian", "locrian")),
    ],
)
def test_modes_come_brightest_first(degree: str, around: tuple[str, ...], modes: tuple[str, ...]) -> None:
    assert modes_of(degree, frozenset(around)) == modes


def test_nothing_is_borrowed_in_a_plain_cadence() -> None:
    assert _read(["F3 C4 F4 A4", "G2 D4 F4 B4", "C3 E4 G4 C5"]) == []


def test_the_kind_in_the_key_is_never_less_sure_than_key_and_kind_together() -> None:
    tones = _read(["D3 A3 C4 F#4", "G3 B3 D4 G4", "F3 C4 F4 Ab4", "C3 C4 E4 G4"])
    assert tones
    assert all(0.0 < t.confidence <= t.in_key < 1.0 for t in tones)
    assert max(t.in_key for t in tones if t.kind == "applied") >= 0.9


def test_a_chord_and_key_named_by_a_person_are_taken_at_their_word() -> None:
    table = table_of([*_FRAME, "C3 Bb3 E4 G4", "F3 A3 C4 F4", *_FRAME])
    keys, chords = read_harmony(table)
    named = find_borrowed(
        table, [replace(k, corrected=True) for k in keys], [replace(c, corrected=True) for c in chords]
    )
    assert [(t.kind, t.degree) for t in named] == [("applied", "b7")]
    assert named[0].confidence == named[0].in_key >= 0.9


def test_the_weights_in_the_package_are_small_and_say_where_they_are_from() -> None:
    raw = json.loads(files("tutor.analysis").joinpath("borrowed_weights.json").read_text(encoding="utf-8"))
    assert len(raw["columns"]) == len(set(raw["columns"])) == len(raw["weights"])
    assert tuple(raw["classes"]) == CLASSES
    assert set(raw["columns"]) == set(COLUMNS)
    assert "CC0" in raw["fitted_on"]
    assert fitted_weights().columns.shape == (len(COLUMNS), len(CLASSES))
