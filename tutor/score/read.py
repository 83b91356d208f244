"""Bytes of a score file to a NoteTable.

music21 is imported when a file is read, not before: a cached song opens without it.
"""

from __future__ import annotations

import hashlib
import io
import warnings as python_warnings
import zipfile
from pathlib import Path
from typing import Any

from tutor.errors import ScoreError
from tutor.music.table import NoteTable
from tutor.score.convert import table_from_music21

__all__ = ["SUFFIXES", "read_file", "read_score", "table_from_music21"]

SUFFIXES = (".musicxml", ".xml", ".mxl", ".mid", ".midi", ".abc", ".krn")
"""What a score file may be called."""

MAX_FILE_BYTES = 30_000_000
"""Largest file read. The longest development song is 0.2 MB packed, 4 MB unpacked."""

_MUSIC21_NAMES = {"musicxml": "musicxml", "mxl": "musicxml", "midi": "midi", "abc": "abc", "kern": "humdrum"}


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
        if path.stat().st_size > MAX_FILE_BYTES:
            raise ScoreError("the file is too large for a song", where=where, remedy="Export only this song")
        data = path.read_bytes()
    except FileNotFoundError:
        raise ScoreError("there is no such file", where=where, remedy="Check the name") from None
    except OSError as error:
        reason = error.strerror or "the file cannot be opened"
        raise ScoreError(reason, where=where, remedy="Check that you may read it") from None
    return read_score(data, where, voice_part=voice_part)


def read_score(data: bytes, name: str, *, voice_part: str | None = None) -> NoteTable:
    """Read a score from its bytes.

    Args:
        data: The file's bytes.
        name: The file's name; used in messages and, where the bytes leave a doubt, for the format.
        voice_part: Id of the sung part as the user says; None to choose it.

    Raises:
        ScoreError: the bytes are no score, in one line.
    """
    try:
        fmt, content = _content(data, name)
        with python_warnings.catch_warnings():
            python_warnings.simplefilter("ignore")
            score = _parse(content, fmt)
            return table_from_music21(score, fmt=fmt, sha256=hashlib.sha256(data).hexdigest(), voice_part=voice_part)
    except ScoreError as error:
        if error.where:
            raise
        raise ScoreError(error.what, where=name, remedy=error.remedy) from None
    except RecursionError:
        raise ScoreError("the score is nested too deeply", where=name, remedy="Export it again") from None


def _content(data: bytes, name: str) -> tuple[str, bytes]:
    if not data.strip():
        raise ScoreError("the file is empty", where=name, remedy="Export the score again")
    if data[:4] == b"PK\x03\x04":
        return "mxl", _unpacked(data)
    if data[:4] == b"MThd":
        return "midi", data
    suffix = Path(name).suffix.lower()
    head = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if head[:1] == b"<":
        return "musicxml", data
    if suffix == ".krn" or head[:2] in (b"**", b"!!"):
        return "kern", data
    return "abc", data


def _unpacked(data: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        names = [n for n in archive.namelist() if n.endswith((".xml", ".musicxml")) and not n.startswith("META-INF")]
        return archive.read(names[0])


def _parse(content: bytes, fmt: str) -> Any:
    from music21 import converter

    source: str | bytes = content if fmt == "midi" else content.decode("utf-8-sig")
    return converter.parseData(source, format=_MUSIC21_NAMES[fmt])
