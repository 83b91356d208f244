"""Clashes between the sung line and the chord, and how they resolve."""

from __future__ import annotations

import pytest

from tests.analysis.invented import chord, key, sounding, table
from tutor.analysis.columns import below, sung_line
from tutor.analysis.findings import ChordSpan, PhraseSpan, Rub
from tutor.analysis.rubs import find_hanging, find_rubs, interval_label


def rubs(voice: str, chords: list[ChordSpan], under: str = "") -> tuple[Rub, ...]:
    song = table(voice, under or sounding(chords))
    return find_rubs(song, sung_line(song), below(song), chords)


def test_the_fourth_over_a_major_chord_rubs_against_its_third_and_falls() -> None:
    (rub,) = rubs("F4:2 E4:2", [chord(0, 4, "C")])
    assert (rub.voice, rub.against, rub.interval, rub.chord) == ("F4", "E", "m9", "C")
    assert (rub.resolves.by, rub.resolves.at) == ("voice", 2.0)


def test_the_leading_tone_over_the_tonic_rubs_as_a_major_seventh() -> None:
    (rub,) = rubs("B4:2 C5:2", [chord(0, 4, "C")], "C4+E4+G4:4")
    assert (rub.against, rub.interval) == ("C", "M7")
    assert rub.resolves.by == "voice"


def test_the_root_sung_over_a_major_seventh_chord_is_a_rub_though_it_belongs() -> None:
    (rub,) = rubs("C5:4", [chord(0, 4, "C", "major-seventh")], "C3+E3+G3+B4:4")
    assert (rub.voice, rub.against, rub.interval) == ("C5", "B", "m2")
    assert rub.resolves.by == "none"


def test_a_tritone_counts_only_for_a_foreign_note() -> None:
    assert rubs("B4:4", [chord(0, 4, "G", "dominant-seventh")]) == ()
    (rub,) = rubs("F#4:4", [chord(0, 4, "C", "power")], "C3+G3:4")
    assert rub.interval in ("TT", "M7")
    (rub,) = rubs("F#4:4", [chord(0, 4, "C", "power")], "C3:4")
    assert rub.interval == "TT"


def test_a_suspension_is_named_by_its_figures() -> None:
    chords = [chord(0, 4, "F"), chord(4, 8, "C")]
    found = rubs("F4:5 E4:3", chords)
    assert [(r.start, r.interval, r.against) for r in found] == [(4.0, "4-3", "E")]
    assert (found[0].resolves.by, found[0].resolves.at) == ("voice", 5.0)
    assert (found[0].bar, found[0].beat) == ("2", 1.0)


def test_the_accompaniment_resolves_under_a_held_note() -> None:
    chords = [chord(0, 2, "E", "minor"), chord(2, 4, "F")]
    (rub,) = rubs("F4:4", chords)
    assert (rub.voice, rub.against) == ("F4", "E")
    assert (rub.resolves.by, rub.resolves.at) == ("accompaniment", 2.0)


def test_a_clashing_note_that_outlasts_its_chord_resolves_when_it_goes() -> None:
    chords = [chord(0, 2, "B"), chord(2, 4, "E", "minor")]
    (rub,) = rubs("G4:4", chords, "B2+D#3+F#4:3 E3+B3+E4:1")
    assert (rub.against, rub.interval) == ("F#", "m2")
    assert (rub.resolves.by, rub.resolves.at) == ("accompaniment", 3.0)


def test_a_note_that_leaps_away_does_not_resolve() -> None:
    (rub,) = rubs("F4:2 C5:2", [chord(0, 4, "C")])
    assert rub.resolves.by == "none"
    assert rub.resolves.at is None


def test_an_anticipation_is_resolved_by_the_chord_that_comes_under_it() -> None:
    (rub,) = rubs(
        "D4:1 B3:0.5 C4:0.5 C4:2", [chord(0, 2, "G", "dominant-seventh"), chord(2, 4, "C")], "G2+B2+F3:2 C3+G3:2"
    )
    assert (rub.voice, rub.start, rub.interval) == ("C4", 1.5, "m9")
    assert (rub.resolves.by, rub.resolves.at) == ("accompaniment", 2.0)


def test_a_passing_note_is_followed_on_its_way_to_the_chord() -> None:
    first, second = rubs("G#4:1 A4:1 A#4:1 B4:1", [chord(0, 4, "E")], "E3+G#3+B3:4")
    assert [(r.voice, r.resolves.by, r.resolves.at) for r in (first, second)] == [
        ("A4", "voice", 3.0), ("A#4", "voice", 3.0),
    ]  # fmt: skip
    turned = rubs("G#4:1 A4:1 A#4:1 G4:1", [chord(0, 4, "E")], "E3+G#3+B3:4")
    assert turned[0].resolves.by == "none"


def test_a_suspension_counts_from_a_bass_that_sounds() -> None:
    chords = [chord(0, 4, "F"), chord(4, 8, "C")]
    assert [r.interval for r in rubs("F4:5 E4:3", chords, "F2+A2+C3:4 C2+G2:4")] == ["4-3"]
    assert "4-3" not in [r.interval for r in rubs("F4:5 E4:3", chords, "F2+A2+C3:4 G2+E3:4")]


def test_members_and_short_passing_notes_do_not_rub() -> None:
    assert rubs("C4:1 E4:0.75 F4:0.25 G4:2", [chord(0, 4, "C")]) == ()


@pytest.mark.parametrize(
    ("semitones", "label"),
    [
        (1, "m2"),
        (-1, "m2"),
        (13, "m9"),
        (25, "m9"),
        (11, "M7"),
        (23, "M14"),
        (6, "TT"),
        (18, "TT"),
        (4, None),
        (12, None),
    ],
)
def test_labels(semitones: int, label: str | None) -> None:
    assert interval_label(semitones) == label


def test_a_tonic_sung_over_the_dominant_hangs_and_over_the_tonic_does_not() -> None:
    song = table("D4:4 C4:4 D4:4 C4:4")
    phrases = [PhraseSpan(0, 0.0, 8.0, ("1", "2"), ""), PhraseSpan(1, 8.0, 16.0, ("3", "4"), "")]
    chords = [chord(0, 8, "G", figure="V"), chord(8, 16, "C")]
    found = find_hanging(song, sung_line(song), phrases, chords, [key(0, 16)])
    assert [(h.phrase, h.pitch, h.degree, h.chord, h.figure) for h in found] == [(0, "C4", "1", "G", "V")]
