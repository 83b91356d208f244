"""Intervals by name and how a note is reached."""

from __future__ import annotations

import pytest

from tests.analysis.invented import table
from tutor.analysis.climax import approach, find_climax, interval_name
from tutor.analysis.columns import sung_line
from tutor.music.pitch import Pitch
from tutor.music.table import TextRow


@pytest.mark.parametrize(
    ("lower", "upper", "name"),
    [
        ("C4", "C4", "perfect unison"),
        ("C4", "Db4", "minor second"),
        ("F4", "B4", "augmented fourth"),
        ("B3", "F4", "diminished fifth"),
        ("Eb4", "C5", "major sixth"),
        ("E4", "C5", "minor sixth"),
        ("C4", "C5", "octave"),
        ("C5", "C4", "octave"),
        ("C4", "E5", "major tenth"),
        ("C4", "C#5", "augmented octave"),
        ("C4", "G#4", "augmented fifth"),
    ],
)
def test_interval_names(lower: str, upper: str, name: str) -> None:
    expected = "unison" if name == "perfect unison" else name
    assert interval_name(Pitch.parse(lower), Pitch.parse(upper)) == expected


@pytest.mark.parametrize(
    ("voice", "told"),
    [
        ("C4:1 A4:1", "leap of a major sixth up from C4"),
        ("C4:1 C5:1", "leap of an octave up from C4"),
        ("B4:1 C5:1", "step up from B4"),
        ("C5:1 C5:1", "repeated"),
        ("C4:1 r:1 F4:1", "leap of a perfect fourth up from C4 after a rest"),
    ],
)
def test_approach(voice: str, told: str) -> None:
    line = sung_line(table(voice))
    assert approach(line, 1) == told


def test_reasons_name_late_and_loud() -> None:
    texts = [TextRow(0.0, "dynamic", "p"), TextRow(24.0, "dynamic", "ff")]
    song = table("C4:4 D4:4 E4:4 C4:4 D4:4 E4:4 A4:4 C4:4", texts=texts)
    climax = find_climax(song, sung_line(song))
    assert climax is not None
    assert climax.bar == "7"
    assert "late: after 75 % of the song" in climax.why
    assert "at the loudest dynamic mark" in climax.why
    assert "reached by a leap up" in climax.why
    assert climax.why[0] == "highest note of the song"


def test_an_early_short_peak_gives_way_to_a_late_long_one() -> None:
    song = table("A4:1 C4:3 D4:4 E4:4 A4:4 C4:4")
    climax = find_climax(song, sung_line(song))
    assert climax is not None
    assert climax.start == 12.0


def test_a_peak_inside_a_melisma_has_the_syllable_that_leads_to_it() -> None:
    song = table("C4:2=o D4:1=sing F4:1 A4:2 G4:2 r:2 C4:2=now")
    climax = find_climax(song, sung_line(song))
    assert climax is not None
    assert climax.why[-1] == "on the syllable 'sing'"
    rested = table("C4:2=o D4:1=sing r:1 A4:2 G4:2 r:2 C4:2=now")
    climax = find_climax(rested, sung_line(rested))
    assert climax is not None
    assert not any("syllable" in w for w in climax.why)
