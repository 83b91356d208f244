"""Scores and findings written out: a song in another key, figures under a score, an analysis in RomanText.

MusicXML is changed in place, so that layout, text and marks stay as they were; other formats become MusicXML first.
"""

from __future__ import annotations

import re
import warnings as python_warnings
from collections.abc import Iterable
from xml.etree import ElementTree

from tutor.analysis.findings import ChordSpan
from tutor.errors import ScoreError, plain
from tutor.music.interval import Interval
from tutor.music.pitch import Pitch, PitchClass
from tutor.music.table import NoteTable
from tutor.score.read import checked, parsed
from tutor.score.xmlscan import decoded

_DOCTYPE = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC '
    '"-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n'
)
MAX_FIFTHS = 7
"""Most sharps or flats in a signature."""


def interval_for(semitones: int, fifths: int) -> Interval:
    """The spelled interval by which to move a song so that its signature stays as short as may be.

    Args:
        semitones: How far to move, in semitones; negative is down.
        fifths: The song's signature: sharps positive, flats negative.
    """
    octaves, chroma = divmod(semitones, 12)
    moves = [m for m in range(-12, 13) if (m * 7) % 12 == chroma]
    move = min(moves, key=lambda m: (abs(fifths + m), abs(m)))
    letters = PitchClass(move).step
    diatonic = "CDEFGAB".index(letters)
    if Interval(move, diatonic).semitones != chroma:  # B sharp is a letter below its octave, C flat one above
        diatonic += 7 if Interval(move, diatonic).semitones < chroma else -7
    return Interval(move, diatonic + 7 * octaves)


def transposed_musicxml(data: bytes, name: str, interval: Interval) -> bytes:
    """The score moved by a spelled interval, as MusicXML.

    Args:
        data: Bytes of a score file of any kind that can be read.
        name: The file's name, for messages.
        interval: How far, spelled; see `interval_for`.

    Raises:
        ScoreError: the bytes are no score, or a signature would need more than seven sharps or flats.
    """
    root = _tree(data, name)
    for pitch in root.iter("pitch"):
        _move(pitch, "step", "alter", interval, octave="octave")
    for harmony in root.iter("harmony"):
        for prefix in ("root", "bass"):
            for place in harmony.iter(prefix):
                _move(place, f"{prefix}-step", f"{prefix}-alter", interval)
    for fifths in root.iter("fifths"):
        value = _integer(fifths) + interval.fifths
        if abs(value) > MAX_FIFTHS:
            raise ScoreError(
                f"that key would need {abs(value)} {'sharps' if value > 0 else 'flats'}",
                where=plain(name),
                remedy="Choose the key a semitone beside it",
            )
        fifths.text = str(value)
    for note in root.iter("note"):
        for sign in note.findall("accidental"):  # the reading program sets them anew
            note.remove(sign)
    return _bytes(root)


def annotated_musicxml(data: bytes, name: str, table: NoteTable, chords: Iterable[ChordSpan]) -> bytes:
    """The score with Roman numerals and chord symbols under its lowest staff, as MusicXML.

    Args:
        data: Bytes of a score file of any kind that can be read.
        name: The file's name, for messages.
        table: The same score as a table.
        chords: The chords to write.

    Raises:
        ScoreError: the bytes are no score.
    """
    root = _tree(data, name)
    parts = root.findall("part")
    bars = parts[-1].findall("measure") if parts else []
    per_quarter, divisions = [], 1.0
    for bar in bars:
        given = bar.find("attributes/divisions")
        divisions = float(_integer(given)) if given is not None else divisions
        per_quarter.append(divisions)
    staves = max((_integer(s) for s in parts[-1].iter("staves")), default=1) if parts else 1
    key = ""
    for chord in chords:
        place = table.measures.index(table.bar_at(chord.start))
        if place < len(bars):
            offset = round((chord.start - table.measures[place].start_quarters) * per_quarter[place])
            text = chord.figure if chord.key == key else f"{chord.key}: {chord.figure}"
            key = chord.key
            _insert(bars[place], f"{text}  ({chord.symbol})", offset, staves)
    return _bytes(root)


def _tree(data: bytes, name: str) -> ElementTree.Element:
    """The score as a MusicXML tree, safe to read."""
    fmt, content, _ = checked(data, name)
    try:
        if fmt not in ("musicxml", "mxl"):
            content = _exported(content, fmt)
        return ElementTree.fromstring(re.sub(r"^\s*<\?xml[^>]*\?>", "", decoded(content), count=1))
    except ScoreError:
        raise
    except Exception:  # the exporter raises anything at all on a damaged file
        raise ScoreError("this score cannot be written", where=plain(name), remedy="Export it as MusicXML") from None


def _exported(content: bytes, fmt: str) -> bytes:
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    with python_warnings.catch_warnings():
        python_warnings.simplefilter("ignore")
        document: bytes = GeneralObjectExporter(parsed(content, fmt)).parse()
    return document


def _bytes(root: ElementTree.Element) -> bytes:
    body: str = ElementTree.tostring(root, encoding="unicode")
    return (_DOCTYPE + body).encode()


def _integer(element: ElementTree.Element) -> int:
    try:
        return int(float((element.text or "0").strip()))
    except (ValueError, OverflowError):
        return 0


def _move(parent: ElementTree.Element, step: str, alter: str, interval: Interval, *, octave: str = "") -> None:
    letter, sign = parent.find(step), parent.find(alter)
    height = parent.find(octave) if octave else None
    if letter is None or (letter.text or "").strip() not in tuple("ABCDEFG"):
        return
    semitones = _integer(sign) if sign is not None else 0
    old = Pitch((letter.text or "").strip(), semitones, _integer(height) if height is not None else 4)
    new = old.moved(interval.fifths, interval.diatonic)
    letter.text = new.step
    if height is not None:
        height.text = str(new.octave)
    if sign is not None:
        parent.remove(sign)
    if new.alter:
        added = ElementTree.Element(alter)
        added.text = str(new.alter)
        parent.insert(list(parent).index(letter) + 1, added)


def _insert(bar: ElementTree.Element, text: str, offset: int, staff: int) -> None:
    """Put words below the staff at an offset, after what opens the bar."""
    direction = ElementTree.Element("direction", placement="below")
    kind = ElementTree.SubElement(direction, "direction-type")
    ElementTree.SubElement(kind, "words").text = text
    if offset:
        ElementTree.SubElement(direction, "offset").text = str(offset)
    if staff > 1:
        ElementTree.SubElement(direction, "staff").text = str(staff)
    opening = ("print", "attributes", "barline", "direction")
    place = next((i for i, element in enumerate(bar) if element.tag not in opening), len(bar))
    bar.insert(place, direction)
