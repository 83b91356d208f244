"""The user's corrections from short words: '12.3=V65/V', '9-16=F minor', '17-24=B'."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from tutor.analysis.findings import ChordSpan, Corrections, KeySpan, Section
from tutor.errors import SidecarError, plain
from tutor.music.chordsymbol import symbol_for
from tutor.music.pitch import PitchClass
from tutor.music.roman import parse_roman
from tutor.music.table import NoteTable
from tutor.practice.drill import Song
from tutor.practice.material import bar_words

if TYPE_CHECKING:
    from tutor.score.places import Places

_NEAR = 0.01
"""Quarters within which a beat, rounded as it is shown, means the chord that begins there."""


def with_chord(mine: Corrections, song: Song, text: str) -> Corrections:
    """Say which chord stands at a place: 'BAR=FIGURE' or 'BAR.BEAT=FIGURE', with ' in KEY' for another key.

    The chord lasts as long as the one the engine reads there, from the place named. Without a key, the numeral is
    read in the user's own key there, else in the engine's.

    Raises:
        SidecarError: there is no such place, or the figure is no Roman numeral.
    """
    from tutor.score.places import Places
    from tutor.score.romantext import read_beat

    place, figure = _halves(text, "12.3=V65/V")
    figure, _, key = figure.partition(" in ")
    bar, _, beat = place.partition(".")
    try:
        number = read_beat(beat or "1")
    except ValueError:
        raise SidecarError(f"{plain(beat)!r} is no beat", where=text, remedy="Write it like 12.3=V65/V") from None
    places = Places(song.table, song.title)
    start = places.offset(bar.strip(), number)
    if number > 1 and start >= places.end(bar.strip()) - 1e-6:
        raise SidecarError(f"bar {plain(bar)} has no beat {number:g}", where=text, remedy="Write it like 12.3=V65/V")
    start = next((c.start for c in song.reading.chords if abs(c.start - start) < _NEAR), start)
    found = next((c for c in song.reading.chords if c.start <= start + 1e-6 < c.end), None)
    if found is None:
        raise SidecarError(
            "nothing sounds there", where=f"bar {plain(bar)}", remedy="Name a place where a chord stands"
        )
    said = next((k.name for k in mine.keys if k.start <= start + 1e-6 < k.end), found.key)
    return _with(mine, _chord(found, song, start, figure.strip(), key.strip() or said))


def with_chord_at(mine: Corrections, song: Song, chord: ChordSpan, text: str) -> Corrections:
    """Say what a chord of the reading really is: 'FIGURE', or 'FIGURE in KEY' for another key.

    Raises:
        SidecarError: the figure is no Roman numeral, or the key no key.
    """
    figure, _, key = text.partition(" in ")
    return _with(mine, _chord(chord, song, chord.start, figure.strip(), key.strip() or chord.key))


def _with(mine: Corrections, made: ChordSpan) -> Corrections:
    from tutor.analysis.reading import overlay

    return replace(mine, chords=overlay(mine.chords, (made,)))


def with_key(mine: Corrections, song: Song, text: str) -> Corrections:
    """Say which key some bars are in: '9-16=F minor'.

    Raises:
        SidecarError: there are no such bars, or that is no key.
    """
    from tutor.analysis.reading import overlay

    bars, name = _halves(text, "9-16=F minor")
    start, end = _bars(song, bars)
    tonic, mode = _key(name, text)
    made = KeySpan(start, end, tonic.name, "minor" if mode == "minor" else "major", 1.0, corrected=True)
    return replace(mine, keys=overlay(mine.keys, (made,)))


def with_section(mine: Corrections, song: Song, text: str) -> Corrections:
    """Say which section some bars are: '17-24=B', "25-32=A'".

    Raises:
        SidecarError: there are no such bars, or that is no section.
    """
    from tutor.score.places import Places

    bars, name = _halves(text, "17-24=B")
    label = name.rstrip("'")
    if not label.isalpha() or len(label) > 2:
        raise SidecarError("a section is called by a letter", where=text, remedy="Write it like 17-24=B")
    start, end = _bars(song, bars)
    places = Places(song.table, song.title)
    made = Section(label, len(name) - len(label), start, end, places.bars(start, end), 1.0, corrected=True)
    return replace(mine, sections=tuple(sorted((*beside(mine.sections, made, places), made), key=lambda s: s.start)))


def beside(sections: Iterable[Section], made: Section, places: Places) -> list[Section]:
    """Sections with what stands under another one cut away."""
    kept = []
    for old in sections:
        for start, end in ((old.start, min(old.end, made.start)), (max(old.start, made.end), old.end)):
            if end - start > 1e-6:
                kept.append(replace(old, start=start, end=end, bars=places.bars(start, end)))
    return kept


def part_named(table: NoteTable, part: str, where: str) -> str:
    """Id of the part that is meant by an id or a name.

    Raises:
        SidecarError: there is no such part.
    """
    found = [p.id for p in table.parts if part.casefold() in (p.id.casefold(), p.name.casefold())]
    if not found:
        names = ", ".join(p.name or p.id for p in table.parts)
        raise SidecarError(f"there is no part {plain(part)!r}", where=where, remedy=f"Parts: {names}")
    return found[0]


def with_analysis(mine: Corrections, song: Song, path: Path) -> Corrections:
    """Take an analysis in RomanText as the reading of the harmony.

    Raises:
        SidecarError: the file cannot be read, or does not fit the song.
    """
    from tutor.score.sidecar import import_romantext

    read = import_romantext(path, song.table)
    return replace(mine, chords=read.chords, keys=read.keys)


def told(mine: Corrections, table: NoteTable) -> Iterator[str]:
    """What is corrected in a song, a line each."""
    if not mine:
        yield "Nothing is corrected: the engine's reading stands."
    for k in mine.keys:
        yield f"key     {bar_words(table, k.start, k.end).replace('–', ' to ')}: {k.name}"
    for c in mine.chords:
        yield f"chord   bar {c.bar}, beat {c.beat:g}: {c.figure} in {c.key} ({c.symbol})"
    for s in mine.sections:
        yield f"section {bar_words(table, s.start, s.end).replace('–', ' to ')}: {s.name}"
    if mine.voice_part:
        yield f"sung    {mine.voice_part}"


def _chord(found: ChordSpan, song: Song, start: float, figure: str, key: str) -> ChordSpan:
    tonic, mode = _key(key, figure)
    try:
        read = parse_roman(figure, tonic, mode)
    except ValueError:
        raise SidecarError(
            f"{plain(figure)!r} is no Roman numeral", where=f"bar {found.bar}", remedy="Write it like V65/V or bVI"
        ) from None
    return replace(
        found, start=start, bar=song.table.bar_at(start).number, beat=song.table.beat_at(start), root=read.root.name,
        quality=read.quality, bass=read.bass.name, inversion=read.inversion, figure=read.figure,
        key=f"{tonic.name} {mode}", symbol=symbol_for(read.root, read.quality, read.bass), confidence=1.0,
        tones=tuple(t.name for t in read.tones), nonchord=(), corrected=True,
    )  # fmt: skip


def _bars(song: Song, text: str) -> tuple[float, float]:
    from tutor.score.places import Places

    first, _, last = text.partition("-")
    places = Places(song.table, song.title)
    start = places.offset(first.strip(), 1.0)
    end = places.end((last or first).strip())
    if end <= start:
        raise SidecarError("the last bar comes before the first", where=text, remedy="Write it like 9-16")
    return start, end


def _key(name: str, where: str) -> tuple[PitchClass, str]:
    tonic, _, mode = name.strip().partition(" ")
    try:
        if mode not in ("major", "minor"):
            raise ValueError
        return PitchClass.parse(tonic), mode
    except ValueError:
        raise SidecarError(f"{plain(name)!r} is no key", where=plain(where), remedy="Write it like F minor") from None


def _halves(text: str, example: str) -> tuple[str, str]:
    left, sign, right = text.partition("=")
    if not sign or not left.strip() or not right.strip():
        raise SidecarError("this is no correction", where=plain(text), remedy=f"Write it like {example}")
    return left.strip(), right.strip()
