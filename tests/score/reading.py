"""Scores of a few bars, read."""

from __future__ import annotations

from tests.score.makers import score
from tutor.music.table import NoteTable
from tutor.score.read import read_score

REPEAT_END = '<bar-style>light-heavy</bar-style><repeat direction="backward"/>'

REPEAT_START = '<bar-style>heavy-light</bar-style><repeat direction="forward"/>'


def read(*bars: str, name: str = "Voice") -> NoteTable:
    return read_score(score([(name, bars)]).encode(), "song.musicxml")


def direction(inside: str, sound: str = "") -> str:
    return f"<direction><direction-type>{inside}</direction-type>{sound}</direction>"


def rows(table: NoteTable) -> list[tuple[float, float, str]]:
    return [(n.onset_quarters, n.duration_quarters, n.pitch.name) for n in table.notes]
