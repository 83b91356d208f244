"""The composer's own reading of a bundled song, in place of the engine's: whoever wrote the song knows its chords.

It is read from the song's truth file as a correction would be; the engine's reading of the same songs is measured
against these files in the tests, without their help.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

from tutor.analysis.findings import Corrections, Section
from tutor.lessons import BundledSong
from tutor.music.table import NoteTable

if TYPE_CHECKING:
    from tutor.score.places import Places

NOTE = "Chords, keys and sections are the composer's own reading."
"""Shown with every bundled song that the user has not corrected."""


def composers_reading(song: BundledSong, table: NoteTable) -> Corrections:
    """The composer's keys, chords and sections of a bundled song; nothing where no truth file lies beside it.

    Raises:
        SidecarError: the truth file does not fit the song.
    """
    from tutor.score.places import Places
    from tutor.score.romantext import parse_romantext
    from tutor.score.sidecar import harmony_spans

    if song.truth is None or not song.truth.is_file():
        return Corrections()
    raw = tomllib.loads(song.truth.read_text(encoding="utf-8"))
    chords, keys = harmony_spans(parse_romantext(raw["harmony"], song.truth.name), table, song.truth.name)
    places = Places(table, song.truth.name)
    sections: list[Section] = []
    at = 0.0
    for text in raw["form"]["sections"]:
        label, first, last = text.split()
        start, end = places.offset(first, 1.0), places.end(last)
        if start > at:
            sections.append(_section("b" if sections else "i", at, start, places))
        sections.append(_section(label, start, end, places))
        at = end
    if at < table.length_quarters:
        sections.append(_section("o", at, table.length_quarters, places))
    return Corrections(keys=keys, chords=chords, sections=tuple(sections))


def under(theirs: Corrections, mine: Corrections, table: NoteTable) -> Corrections:
    """The composer's reading with the user's corrections laid over it."""
    from tutor.analysis.reading import overlay
    from tutor.score.places import Places
    from tutor.studio.correcting import beside

    kept = list(theirs.sections)
    for section in mine.sections:
        kept = beside(kept, section, Places(table, ""))
    return Corrections(
        keys=overlay(theirs.keys, mine.keys),
        chords=overlay(theirs.chords, mine.chords),
        sections=tuple(sorted((*kept, *mine.sections), key=lambda s: s.start)),
        voice_part=mine.voice_part,
    )


def _section(label: str, start: float, end: float, places: Places) -> Section:
    """A section as meant; the piano alone is 'i' before, 'b' between and 'o' after what is sung."""
    return Section(label, 0, start, end, places.bars(start, end), 1.0, corrected=True)
