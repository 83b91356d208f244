"""Which line is sung."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from tests.score import makers
from tests.score.makers import attributes, bar, note, score
from tutor.errors import ScoreError
from tutor.music.table import NoteTable
from tutor.score.read import read_score
from tutor.score.vocal import require_voice


def _part(name: str, pitch: str, *, lyric: str = "", chord: str = "") -> tuple[str, Sequence[str]]:
    one = note(pitch, 2, lyric=lyric) + (note(chord, 2, chord=True) if chord else "")
    return name, [bar(1, attributes(), one, one), bar(2, one, one)]


def _read(*parts: tuple[str, Sequence[str]], voice_part: str | None = None) -> NoteTable:
    return read_score(score(parts).encode(), "song.musicxml", voice_part=voice_part)


def _roles(table: NoteTable) -> list[str]:
    return [part.role for part in table.parts]


def test_text_comes_before_names() -> None:
    table = _read(_part("Voice", "C5"), _part("Flute", "E5", lyric="la"), _part("Piano", "C3", chord="E3"))
    assert _roles(table) == ["other", "voice", "accompaniment"]


@pytest.mark.parametrize(
    "name", ["Voice", "Singstimme", "Gesang", "Chant", "Canto", "Tenor", "Mezzo-Soprano", "MELODY", "Vocals", "Bariton"]
)
def test_names_of_voices(name: str) -> None:
    table = _read(_part("Violin", "C6"), _part(name, "C4"), _part("Piano", "C3", chord="E3"))
    assert table.voice_part == 1
    assert table.warnings == ()


@pytest.mark.parametrize("name", ["Tenor Saxophone", "Alto Flute", "Bass Guitar", "Voice Organ Pad"])
def test_names_that_only_sound_like_voices(name: str) -> None:
    table = _read(_part(name, "C6", chord="E6"), _part("Piano", "C3", chord="E3"))
    assert table.voice_part is None


def test_the_soprano_of_a_quartet() -> None:
    table = _read(
        _part("Soprano", "C5", lyric="la"),
        _part("Alto", "A4", lyric="la"),
        _part("Tenor", "F4", lyric="la"),
        _part("Bass", "F3", lyric="la"),
    )
    assert _roles(table) == ["voice", "other", "other", "other"]


def test_the_canto_of_a_madrigal() -> None:
    table = _read(
        _part("Canto", "C5", lyric="la"), _part("Quinto", "D5", lyric="la"), _part("Alto", "A4"), _part("Basso", "F3")
    )
    assert table.voice_part == 0


def test_text_under_the_bass_of_a_quartet_does_not_make_it_the_melody() -> None:
    table = _read(_part("Soprano", "C5"), _part("Alto", "A4"), _part("Tenor", "F4"), _part("Bass", "F3", lyric="la"))
    assert table.voice_part == 0


def test_the_upper_of_two_singers() -> None:
    table = _read(_part("Anna", "E4", lyric="la"), _part("Bert", "C5", lyric="la"), _part("Piano", "C3", chord="E3"))
    assert _roles(table) == ["other", "voice", "accompaniment"]


def test_a_single_line_on_top_is_taken_with_a_word() -> None:
    table = _read(_part("", "C5"), _part("", "C3", chord="E3"))
    assert _roles(table) == ["voice", "accompaniment"]
    assert "the top line is read as the sung line" in table.warnings[0]
    lone = _read(_part("Flute", "C5"))
    assert lone.voice_part == 0
    assert "'Flute' is read as the sung line" in lone.warnings[0]


def test_solo_piano_has_no_line_to_sing() -> None:
    staves = attributes().replace("</time>", "</time><staves>2</staves>")
    piano = bar(
        1,
        staves,
        note("C5", 4, staff=1),
        "<backup><duration>16</duration></backup>",
        note("C3", 4, staff=2, voice=5),
    )
    table = read_score(score([("Piano", [piano])]).encode(), "solo.musicxml")
    assert _roles(table) == ["accompaniment", "accompaniment"]
    with pytest.raises(ScoreError) as caught:
        require_voice(table, "solo.musicxml")
    assert caught.value.line.startswith("solo.musicxml: no line in this score can be sung.")


def test_the_user_decides() -> None:
    parts = (_part("Voice", "C5", lyric="la"), _part("Oboe", "E5"), _part("Piano", "C3", chord="E3"))
    table = _read(*parts, voice_part="P2")
    assert require_voice(table) == 1
    assert _roles(table) == ["other", "voice", "accompaniment"]
    with pytest.raises(ScoreError, match="Choose one of: P1, P2, P3"):
        _read(*parts, voice_part="P9")


def test_midi_by_program_and_name() -> None:
    table = read_score(makers.midi([(60, 1), (64, 1)], name="MELODY"), "song.mid")
    assert table.voice_part == 0
