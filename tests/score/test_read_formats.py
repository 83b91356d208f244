"""Scores into tables: ABC, kern, MIDI and music without bars."""

from __future__ import annotations

import pytest

from tests.score import makers
from tests.score.reading import rows
from tutor.music.table import NoteTable
from tutor.score.read import read_score


def test_abc() -> None:
    table = read_score(makers.ABC, "song.abc")
    assert table.format == "abc"
    assert (table.title, table.composer) == ("The Lantern", "Nobody")
    assert [n.pitch.name for n in table.notes][:4] == ["G4", "A4", "B4", "A4"]
    assert table.measures[0].fifths == 1
    assert (table.measures[0].numerator, table.measures[0].denominator) == (3, 4)
    assert any(t.kind == "chord" and t.text == "D7" for t in table.texts)
    assert len(table.order) > 1


def test_music_without_bar_lines_gets_bars() -> None:
    table = read_score(b"X:1\nM:3/4\nL:1/4\nK:F\nC D E F G A\n", "a.abc")
    assert [b.start_quarters for b in table.measures] == [0.0, 3.0]
    assert [n.measure for n in table.notes] == [0, 0, 0, 1, 1, 1]
    chant = read_score(b"**kern\n*M4/4\n2c\n2d\n1e\n*-\n", "a.krn")
    assert [n.onset_quarters for n in chant.notes] == [0.0, 2.0, 4.0]


def _sung(table: NoteTable) -> list[str]:
    return [n.syllable + {"begin": "-", "middle": "-"}.get(n.syllabic, "") for n in table.notes]


@pytest.mark.parametrize(
    ("tune", "numbers"),
    [
        ("C2 D | E2 F | G2 A | G3 |]", ["1", "2", "3", "4"]),
        ("C | E2 F | G2 A | G2 F | E2 |]", ["0", "1", "2", "3", "4"]),
    ],
)
def test_bars_of_abc_are_counted_from_one_unless_there_is_an_up_beat(tune: str, numbers: list[str]) -> None:
    table = read_score(f"X:1\nM:3/4\nL:1/4\nK:F\n{tune}\n".encode(), "a.abc")
    assert [m.number for m in table.measures] == numbers


def test_words_of_abc() -> None:
    assert _sung(read_score(makers.ABC, "a.abc")) == ["One", "small", "light", "a-", "lone", "to-", "day"]
    tune = (
        b"X:1\nM:4/4\nL:1/4\nK:C\nC D E F|G A {B}B c|\nw: lan-tern in_ the *~glow|\nw: so~long we|wait for\n"
        b"c2-c2|[CE]2 z d|\nw: o_ o\\-ho me\n"
    )
    notes = [n for n in read_score(tune, "a.abc").notes if not n.grace]
    assert [n.syllable for n in notes] == ["lan", "tern", "in", "", "the", "", "glow", "", "o", "", "o-ho", "me"]
    assert [n.verses for n in notes][:6] == [("so long",), ("we",), (), (), ("wait",), ("for",)]


def test_words_that_cannot_be_placed_are_told() -> None:
    tune = b"X:1\nM:4/4\nL:1/4\nK:C\nV:1\nC D E F|\nw: a b c d\nV:2\nC, D, E, F,|\n"
    table = read_score(tune, "a.abc")
    assert "the words under the notes could not be placed" in table.warnings


def test_words_of_kern_and_midi() -> None:
    assert _sung(read_score(makers.KERN, "a.krn")) == ["One", "small", "light", "burns"]
    table = read_score(makers.midi([(60, 1), (62, 1), (64, 1)], words=["\\\\lan-", "tern", "/glows"]), "a.mid")
    assert _sung(table)[::2] == ["lan-", "glows"]


def test_of_many_abc_tunes_the_first_is_read() -> None:
    table = read_score(makers.ABC + b"\nX:2\nT:Another\nM:4/4\nK:C\nC D E F|\n" * 30, "book.abc")
    assert table.title == "The Lantern"
    assert "the file holds 31 pieces: the first is read" in table.warnings


def test_kern() -> None:
    table = read_score(makers.KERN, "song.krn")
    assert table.format == "kern"
    assert rows(table) == [(0.0, 1.0, "F4"), (1.0, 1.0, "G4"), (2.0, 2.0, "A4"), (4.0, 4.0, "F4")]
    assert table.measures[0].fifths == -1


def test_midi_is_spelled_in_its_key() -> None:
    minor = [(57, 1), (59, 1), (60, 1), (62, 1), (64, 1), (65, 1), (68, 1), (69, 4), (64, 1), (68, 1), (69, 4)]
    table = read_score(makers.midi(minor, name="Voice"), "song.mid")
    assert {n.pitch.name for n in table.notes} == {"A3", "B3", "C4", "D4", "E4", "F4", "G#4", "A4"}
    assert (table.format, table.parts[0].role) == ("midi", "voice")
    flats = [(65, 1), (67, 1), (69, 1), (70, 1), (72, 1), (74, 1), (76, 1), (77, 2)]
    assert "Bb4" in {n.pitch.name for n in read_score(makers.midi(flats), "song.mid").notes}
    given = read_score(makers.midi([(61, 4)], key="E"), "song.mid")
    assert (given.notes[0].pitch.name, given.measures[0].fifths) == ("C#4", 4)
