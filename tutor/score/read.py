"""Bytes of a score file to a NoteTable.

music21 is imported when a file is read, not before: a cached song opens without it. What a file is is told by its
content. Files from strangers belong in `tutor.score.isolate`, which reads in a process that can be stopped.
"""

from __future__ import annotations

import hashlib
import warnings as python_warnings
from pathlib import Path
from typing import Any

from tutor.errors import ScoreError, plain
from tutor.music.table import NoteTable
from tutor.score import limits, metronome, midiscan, textscan, words, xmlscan
from tutor.score.convert import table_from_music21
from tutor.score.unpack import EXPORT, sniff, unpacked

__all__ = ["SUFFIXES", "read_file", "read_score", "table_from_music21"]

SUFFIXES = (".musicxml", ".xml", ".mxl", ".mid", ".midi", ".abc", ".krn")
"""What a score file may be called."""

_MUSIC21_NAMES = {"musicxml": "musicxml", "mxl": "musicxml", "midi": "midi", "abc": "abc", "kern": "humdrum"}
_WORDS = {"musicxml": "MusicXML", "mxl": "MusicXML", "midi": "MIDI", "abc": "ABC", "kern": "kern"}


def read_file(path: Path, *, voice_part: str | None = None) -> NoteTable:
    """Read a score file.

    Args:
        path: The file.
        voice_part: Id of the sung part as the user says; None to choose it.

    Raises:
        ScoreError: the file cannot be read as a score, in one line.
    """
    where = path.name or str(path)
    try:
        if path.is_dir():
            raise ScoreError("this is a folder, not a score", where=where, remedy="Name a file inside it")
        if not path.is_file() and path.exists():
            raise ScoreError("this is not an ordinary file", where=where, remedy="Name a score file")
        if path.stat().st_size > limits.MAX_FILE_BYTES:
            raise ScoreError("the file is too large for a song", where=where, remedy="Export only this song")
        data = path.read_bytes()
    except FileNotFoundError:
        raise ScoreError("there is no such file", where=where, remedy="Check the name") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the file cannot be opened"
        raise ScoreError(reason, where=where, remedy="Check that you may read it") from None
    return read_score(data, where, voice_part=voice_part)


def read_score(data: bytes, name: str, *, voice_part: str | None = None) -> NoteTable:
    """Read a score from its bytes.

    Args:
        data: The file's bytes.
        name: The file's name, for messages.
        voice_part: Id of the sung part as the user says; None to choose it.

    Raises:
        ScoreError: the bytes are no score, in one line.
    """
    fmt, content, facts = checked(data, name)
    name = plain(name)[:120]
    try:
        with python_warnings.catch_warnings():
            python_warnings.simplefilter("ignore")
            score = parsed(content, fmt)
            remarks = _remarks(content, fmt, score)
            table = table_from_music21(
                score,
                fmt=fmt,
                sha256=hashlib.sha256(data).hexdigest(),
                voice_part=voice_part,
                facts=facts,
                warnings=remarks,
            )
    except ScoreError as error:
        raise ScoreError(error.what, where=error.where or name, remedy=error.remedy) from None
    except MemoryError:
        raise ScoreError("reading this file needs too much memory", where=name, remedy=EXPORT) from None
    except Exception as error:  # music21 and what it stands on raise anything at all on a damaged file
        if isinstance(error.__context__, MemoryError):
            raise ScoreError("reading this file needs too much memory", where=name, remedy=EXPORT) from None
        raise ScoreError(f"the {_WORDS[fmt]} in this file cannot be read", where=name, remedy=EXPORT) from None
    return _sensible(table, name)


def checked(data: bytes, name: str) -> tuple[str, bytes, xmlscan.XmlFacts | None]:
    """The kind of a file, its score unpacked, and for MusicXML what a first pass found.

    Raises:
        ScoreError: it is no score, unsafe, empty or too large; the reader proper never sees it.
    """
    name = plain(name)[:120]
    if len(data) > limits.MAX_FILE_BYTES:
        raise ScoreError("the file is too large for a song", where=name, remedy="Export only this song")
    fmt = sniff(data, name)
    content = unpacked(data, name) if fmt == "mxl" else data
    return fmt, content, _first_pass(content, fmt, name)


def _first_pass(content: bytes, fmt: str, name: str) -> xmlscan.XmlFacts | None:
    if fmt in ("musicxml", "mxl"):
        if content[:2] == b"PK":
            raise ScoreError("the file packs another packed file", where=name, remedy=EXPORT)
        return xmlscan.scan(content, name)
    if fmt == "midi":
        midiscan.scan(content, name)
    else:
        textscan.scan(_typed(content), fmt, name)
    return None


def parsed(content: bytes, fmt: str) -> Any:
    """The music21 score of checked content; music21 raises anything at all on what it cannot read."""
    from music21 import converter

    source: str | bytes = content
    if fmt in ("musicxml", "mxl"):
        source = metronome.with_plain_numbers(xmlscan.decoded(content))
    elif fmt == "abc":
        source = textscan.first_tune(_typed(content))[0]
    elif fmt == "kern":
        source = words.kern_with_staves(_typed(content))
    return converter.parseData(source, format=_MUSIC21_NAMES[fmt])


def _remarks(content: bytes, fmt: str, score: Any) -> list[str]:
    """Add what music21 leaves out of ABC, and say what cannot be added."""
    if fmt != "abc":
        return []
    tune, pieces = textscan.first_tune(_typed(content))
    trouble = words.add_abc_words(tune, score)
    several = f"the file holds {pieces} pieces: the first is read" if pieces > 1 else ""
    return [line for line in (several, trouble) if line]


def _typed(content: bytes) -> str:
    """Text of a file typed by hand: UTF-8, else Latin-1."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _sensible(table: NoteTable, name: str) -> NoteTable:
    """Refuse what no score can mean, however well formed.

    Raises:
        ScoreError: too many bars, parts or notes; a bar or the whole too long; a note that cannot sound.
    """
    for count, most, what in (
        (len(table.measures), limits.MAX_BARS, "bars"),
        (len(table.parts), limits.MAX_PARTS, "parts"),
        (len(table.notes), limits.MAX_NOTES, "notes"),
    ):
        if count > most:
            raise ScoreError(f"the score has more than {most:,} {what}", where=name, remedy="Export only this song")
    for bar in table.measures:
        if bar.duration_quarters > limits.MAX_BAR_QUARTERS:
            raise ScoreError("the bar is longer than a bar can be", where=f"{name}, bar {bar.number}", remedy=EXPORT)
    if table.length_quarters > limits.MAX_LENGTH_QUARTERS:
        raise ScoreError("the score is far longer than a song", where=name, remedy="Export only this song")
    for note in table.notes:
        if abs(note.alter) > 3 or not 0 <= note.midi <= 127 or note.duration_quarters > limits.MAX_LENGTH_QUARTERS:
            bar = table.measures[note.measure]
            raise ScoreError("a note lies beyond what can sound", where=f"{name}, bar {bar.number}", remedy=EXPORT)
    return table
