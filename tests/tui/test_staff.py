"""Where every note, sign and stem of a staff lands."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tutor.music.phrase import Line, Phrase, Tone
from tutor.music.pitch import Pitch
from tutor.tui.widgets.staff_draw import Style, System, draw_staff
from tutor.tui.widgets.staff_layout import lay_out, signature_alter, written
from tutor.tui.widgets.staff_words import describe, signature


def one(text: str, *, style: Style | None = None, line: Line = "voice", fifths: int = 0, width: int = 80) -> System:
    systems = draw_staff(Phrase.parse(text, line=line, fifths=fifths), width, style)
    assert len(systems) == 1
    return systems[0]


def cell(system: System, row: int, at: float, offset: int = 0) -> str:
    """The character at a row counted from the top staff line and a column counted from the head column."""
    col = dict(system.columns)[at] + offset
    return system.rows[system.staff_row + row][col][0]


@pytest.mark.parametrize(
    ("name", "row"), [("F5", 0), ("D5", 1), ("B4", 2), ("G4", 3), ("E4", 4), ("C4", 5), ("A5", -1), ("A3", 6)]
)
def test_a_note_on_a_line_fills_the_row_of_its_line(name: str, row: int) -> None:
    system = one(f"{name}:1 G4:1 G4:1")
    assert cell(system, row, 0) + cell(system, row, 0, 1) == "██"
    assert cell(system, row - 1, 0) not in "█▄"


@pytest.mark.parametrize(("name", "row"), [("G5", 0), ("E5", 1), ("C5", 2), ("A4", 3), ("F4", 4), ("D4", 5)])
def test_a_note_in_a_space_straddles_two_rows(name: str, row: int) -> None:
    system = one(f"{name}:1")
    assert cell(system, row - 1, 0) + cell(system, row - 1, 0, 1) == "▄▄"
    assert cell(system, row, 0) + cell(system, row, 0, 1) == "▀▀"


@pytest.mark.parametrize(("name", "row"), [("A3", 0), ("F3", 1), ("D3", 2), ("B2", 3), ("G2", 4), ("E2", 5)])
def test_a_low_melody_stands_in_the_bass_clef(name: str, row: int) -> None:
    system = one(f"{name}:1 D3:1 D3:1")
    assert lay_out(Phrase.parse(f"{name}:1 D3:1 D3:1")).blocks == ("bass",)
    assert cell(system, row, 0) == "█"


def test_ledger_lines_reach_to_the_note_and_no_further() -> None:
    system = one("C6:1")
    assert cell(system, -1, 0, 2) == "─"
    assert cell(system, -2, 0, 2) == "─"
    assert cell(system, -3, 0, 2) == " "
    middle_c = one("C4:1")
    assert cell(middle_c, 5, 0, -1) == "─"
    assert cell(middle_c, 5, 0, 2) in "─▏"


def test_the_great_staff_has_one_place_for_middle_c() -> None:
    phrase = Phrase(
        Phrase.parse("C4:1 E4:1", line="upper").tones + Phrase.parse("C4:1 A3:1", line="lower").tones, fifths=0
    )
    system = draw_staff(phrase, 80)[0]
    assert cell(system, 5, 0) == "█"
    assert cell(system, 4, 1) == "█"
    assert cell(system, 6, 1) == "█"


def test_seconds_stand_on_two_sides_of_the_stem() -> None:
    up = one("F4+G4:1", line="upper")
    assert cell(up, 3, 0) in "▄▀─▏"
    assert cell(up, 4, 0) == "▀"
    assert cell(up, 3, 0, 2) == "▏"
    assert cell(up, 3, 0, 3) + cell(up, 3, 0, 4) == "██"
    down = one("D5+E5:1", line="upper")
    assert cell(down, 1, 0, -3) + cell(down, 1, 0, -2) == "██"
    assert cell(down, 0, 0) == "▄"


def test_heads_a_third_apart_are_parted() -> None:
    lines = one("G4+B4:1", line="upper")
    assert cell(lines, 2, 0) == "█"
    assert cell(lines, 3, 0) == "▇"
    spaces = one("F4+A4:1", line="upper")
    col = dict(spaces.columns)[0]
    assert spaces.rows[spaces.staff_row + 3][col] == ("─", "upper parted")


def test_hollow_heads_a_third_apart_pinch() -> None:
    system = one("A4+C5:2", line="upper")
    assert [cell(system, row, 0) for row in (1, 2, 3)] == ["╭", ")", "╰"]


def test_stems_point_to_the_middle_line() -> None:
    low, high = one("E4:1"), one("F5:1")
    assert [cell(low, row, 0, 2) for row in (1, 2, 3)] == ["▏", "▏", "▏"]
    assert [cell(high, row, 0, -1) for row in (1, 2, 3)] == ["▕", "▕", "▕"]
    assert "▏" not in one("G4:4").text


def test_eighths_of_one_beat_share_a_beam() -> None:
    system = one("E4:.5 F4:.5 E4:.5 F4:.5")
    assert system.text.count("▏▔") == 2
    lone = one("E4:.5 r:.5 E4:1")
    assert lone.text.count("▔") == 1


def test_accidentals_stand_only_where_they_are_needed() -> None:
    system = one("F#4:1 F#4:1 F4:1 F#5:1", fifths=1)
    assert [system.text.count(s) for s in ("♯", "♮")] == [1, 1], "one sharp in the signature, one natural at beat 3"
    bars = one("F#4:4 F#4:4")
    assert bars.text.count("♯") == 2, "a bar line ends it"
    tied = one("F#4:6")
    assert tied.text.count("♯") == 1, "a tied note does not repeat it"
    assert "‿" in tied.text


def test_accidentals_close_together_take_columns_of_their_own() -> None:
    system = one("F#4+G#4+A#4:2", line="upper")
    columns = {c for row in system.rows for c, (char, role) in enumerate(row) if role == "accidental"}
    assert len(columns) >= 2


@pytest.mark.parametrize(
    ("fifths", "step", "alter"),
    [
        (1, "F", 1), (2, "C", 1), (1, "C", 0), (-1, "B", -1), (-2, "E", -1), (-2, "A", 0), (7, "B", 1), (-7, "F", -1),
        (0, "F", 0),
    ],
)  # fmt: skip
def test_the_signature_alters_its_letters(fifths: int, step: str, alter: int) -> None:
    assert signature_alter(step, fifths) == alter


def test_key_signature_signs_stand_in_order() -> None:
    system = one("C5:4", fifths=-3)
    signs = [
        (c, r - system.staff_row) for r, row in enumerate(system.rows) for c, (s, role) in enumerate(row) if s == "♭"
    ]
    assert sorted(signs) == [(6, 2), (7, 0), (8, 2)], "B on its line, E and A in their spaces"


def test_syllables_and_figures_stand_under_their_notes() -> None:
    phrase = replace(Phrase.parse("C5:2 D5:2"), figures=((0.0, "I"), (2.0, "V65")))
    phrase = replace(
        phrase, tones=tuple(replace(t, syllable=s) for t, s in zip(phrase.tones, ("la", "light"), strict=True))
    )
    system = draw_staff(phrase, 80)[0]
    lines = system.text.splitlines()
    cols = dict(system.columns)
    assert lines[-2].index("la") == cols[0.0]
    assert lines[-2].index("light") == cols[2.0] - 1
    assert lines[-1].index("V65") == cols[2.0] - 1


def test_marked_notes_are_told_by_shape_and_word() -> None:
    phrase = Phrase.parse("C5:1 B4:1", line="upper").marked("rub", [71])
    system = draw_staff(phrase, 80)[0]
    assert cell(system, 2, 1.0, -1) + cell(system, 2, 1.0) + cell(system, 2, 1.0, 2) == "▐█▌"
    assert "▲ rub" in system.text
    wrong = draw_staff(Phrase.parse("B4:1").marked("wrong", [71]), 80)[0]
    assert "><" in wrong.text
    assert "not this" in wrong.text


def test_bar_numbers_and_bar_lines() -> None:
    phrase = replace(Phrase.parse("C5:1 " * 9), first_bar="7", pickup_quarters=1.0)
    system = draw_staff(phrase, 80)[0]
    assert [w for w in system.text.splitlines()[0].split()] == ["7", "8", "9"]
    assert system.text.splitlines()[system.staff_row].count("│") == 3
    assert system.text.splitlines()[system.staff_row].endswith("│")


def test_a_unison_of_two_lines_is_one_head() -> None:
    tones = Phrase.parse("B3:1").tones + Phrase.parse("B3+D4:1", line="upper").tones
    system = draw_staff(Phrase(tones), 80)[0]
    rows = [cell(system, row, 0) for row in (4, 5, 6)]
    assert rows == ["▄", "─", "▀"]


def test_large_heads_are_three_rows_tall() -> None:
    system = one("G4:1", style=Style(large=True))
    assert [cell(system, row, 0) for row in (5, 6, 7)] == ["▄", "█", "▀"]
    third = one("G4+B4:1", style=Style(large=True), line="upper")
    col = dict(third.columns)[0]
    assert third.rows[third.staff_row + 5][col] == ("─", "upper parted")


def test_long_music_wraps_at_bar_lines() -> None:
    phrase = Phrase.parse("C5:1 D5:1 E5:1 F5:1 " * 6)
    systems = draw_staff(phrase, 60)
    assert len(systems) > 1
    assert [s.start for s in systems[1:]] == [s.end for s in systems[:-1]]
    assert all(s.start % 4 == 0 for s in systems)
    assert all(len(row) <= 60 for s in systems for row in s.rows)


def test_the_pointer_follows_the_sound() -> None:
    phrase = Phrase.parse("C5:1 D5:1")
    system = draw_staff(phrase, 80, Style(now=1.2))[0]
    assert system.text.splitlines()[0].index("▼") == dict(system.columns)[1.0]


def test_the_voice_can_have_its_own_staff() -> None:
    tones = (
        Phrase.parse("C5:4").tones + Phrase.parse("E4:4", line="upper").tones + Phrase.parse("C3:4", line="lower").tones
    )
    phrase = Phrase(tuple(replace(t, syllable="ah") if t.line == "voice" else t for t in tones))
    together = draw_staff(phrase, 80)[0]
    apart = draw_staff(phrase, 80, Style(voice_apart=True))[0]
    assert len(apart.rows) > len(together.rows)
    assert "▌▐" in apart.text


def test_the_ascii_staff_holds_nothing_else() -> None:
    phrase = replace(Phrase.parse("F#4+A4:1 Bb4:2 C5:.5 D5:.25 E5:.25 r:1 G4:3", line="upper"), figures=((0.0, "♭VI"),))
    for system in draw_staff(phrase.marked("bass", [66]), 80, Style(ascii=True)):
        assert system.text.isascii()
        assert system.text


def test_compact_grand_staff_fits_beside_a_question() -> None:
    phrase = Phrase(
        Phrase.parse("E4+G4+C5:4", line="upper").tones + Phrase.parse("C3:4", line="lower").tones,
        figures=((0.0, "I"),),
    )
    assert len(draw_staff(phrase, 80, Style(stem=2))[0].rows) <= 15


def test_note_values_are_written_to_the_nearest() -> None:
    assert written(1.0).name == "quarter note"
    assert written(0.9).name == "quarter note"
    assert written(1 / 3).triplet


def test_describe_tells_everything_in_words() -> None:
    tones = Phrase.parse("G4:1 r:1 Bb4:2").tones + Phrase.parse("C3+Eb3:4", line="lower").tones
    phrase = Phrase(tones, fifths=-3, figures=((0.0, "i"),), first_bar="9").marked("bass", [48])
    text = describe(phrase)
    assert text.splitlines()[0] == "4/4, three flats."
    assert "Bar 9. beat 1: voice G4, quarter note; left hand C3 (marked: bass) E♭3, whole note; figure i." in text
    assert "beat 3: voice B♭4, half note" in text
    assert signature(0) == "no sharps or flats"
    assert signature(1) == "one sharp"


PITCHES = st.builds(Pitch, st.sampled_from("CDEFGAB"), st.integers(-2, 2), st.integers(1, 6))
TONES = st.builds(
    Tone,
    st.sampled_from([0.0, 0.5, 1.0, 1.3333, 2.0, 2.75, 4.0, 7.5, 11.0]),
    st.sampled_from([0.0, 0.1, 0.25, 0.3333, 0.5, 0.9, 1.0, 2.5, 4.0, 7.0]),
    PITCHES,
    st.sampled_from(["voice", "upper", "lower"]),
    mark=st.sampled_from(["", "", "bass", "wrong", "odd"]),
    syllable=st.sampled_from(["", "la", "through"]),
)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(TONES, max_size=14), st.integers(-7, 7), st.integers(40, 140), st.booleans(), st.booleans(), st.booleans(),
    st.sampled_from([(4, 4), (3, 4), (6, 8), (2, 2)]),
)  # fmt: skip
def test_any_phrase_can_be_drawn(
    tones: list[Tone], fifths: int, width: int, large: bool, ascii_only: bool, apart: bool, metre: tuple[int, int]
) -> None:
    phrase = Phrase(tuple(tones), fifths=fifths, numerator=metre[0], denominator=metre[1])
    for system in draw_staff(phrase, width, Style(large=large, ascii=ascii_only, voice_apart=apart)):
        assert not ascii_only or system.text.isascii()
    drawn = {round(at, 3) for s in draw_staff(phrase, width) for at, _ in s.columns}
    assert {round(t.onset_quarters, 3) for t in tones} <= drawn
    assert describe(phrase)
