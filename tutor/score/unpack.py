"""What a file is, by its content, and the score inside a packed one.

Nothing is unpacked to disk; every size is checked before and while it is read.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Sequence
from pathlib import PurePosixPath

from tutor.errors import ScoreError
from tutor.score import limits

_FOREIGN = (
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"RIFF", "a sound recording"),
    (b"ID3", "a sound recording"),
    (b"OggS", "a sound recording"),
    (b"fLaC", "a sound recording"),
    (b"\x1f\x8b", "a packed file of another kind"),
    (b"7z\xbc\xaf", "a packed file of another kind"),
    (b"Rar!", "a packed file of another kind"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
)
EXPORT = "Export the score as MusicXML and open that"


def sniff(data: bytes, name: str) -> str:
    """What the bytes are: 'mxl', 'midi', 'musicxml', 'kern' or 'abc'. The name decides nothing.

    Raises:
        ScoreError: they are none of these.
    """
    if not data.strip(b"\x00 \t\r\n"):
        raise ScoreError("the file is empty", where=name, remedy="Export the score again")
    if data[:2] == b"PK":
        return "mxl"
    if data[:4] == b"MThd":
        return "midi"
    for magic, what in _FOREIGN:
        if data.startswith(magic):
            raise ScoreError(f"this is {what}, not a score", where=name, remedy=EXPORT)
    start = data[:4].lstrip(b"\xef\xbb\xbf")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or start[:1] == b"<" or data.lstrip()[:1] == b"<":
        return "musicxml"
    head = data[:65536]
    if re.search(rb"^\*\*kern\b", head, re.M):
        return "kern"
    if re.search(rb"^\s*K:", head, re.M) and b"\x00" not in head:
        return "abc"
    raise ScoreError("this is no score that can be read", where=name, remedy="Open MusicXML, MIDI, ABC or kern")


def unpacked(data: bytes, name: str) -> bytes:
    """The score inside a packed MusicXML file.

    Raises:
        ScoreError: the archive is damaged, hostile or holds no score.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
            _check_members(members, name)
            return _member(archive, _score_name(archive, members, name), name)
    except zipfile.BadZipFile:
        raise ScoreError("the file is damaged or cut short", where=name, remedy="Export the score again") from None
    except (RuntimeError, NotImplementedError):
        raise ScoreError("the file is packed in a way that cannot be read", where=name, remedy=EXPORT) from None
    except (zlib.error, EOFError, OSError, ValueError, LookupError, OverflowError, UnicodeError):
        raise ScoreError("the file is damaged or cut short", where=name, remedy="Export the score again") from None


def _check_members(members: Sequence[zipfile.ZipInfo], name: str) -> None:
    if len(members) > limits.MAX_MEMBERS:
        raise ScoreError(f"the file packs {len(members)} files, too many for one score", where=name, remedy=EXPORT)
    for member in members:
        path = member.filename.replace("\\", "/")
        if path.startswith("/") or ".." in PurePosixPath(path).parts or re.match(r"[A-Za-z]:", path):
            raise ScoreError("the file packs a path that leads outside it", where=name, remedy=EXPORT)
    if sum(m.file_size for m in members) > limits.MAX_UNPACKED_BYTES:
        raise ScoreError("the file is too large for a song when unpacked", where=name, remedy=EXPORT)


def _score_name(archive: zipfile.ZipFile, members: Sequence[zipfile.ZipInfo], name: str) -> str:
    """The member that holds the score: what the container names, else the first MusicXML file."""
    names = [m.filename for m in members if not m.is_dir()]
    if "META-INF/container.xml" in names:
        container = _member(archive, "META-INF/container.xml", name)[:100_000]
        for found in re.findall(rb"<rootfile\b[^>]*?\bfull-path\s*=\s*[\"']([^\"']+)[\"']", container):
            path = str(found, "utf-8", "replace")
            if path in names and not path.lower().endswith((".pdf", ".png", ".jpg", ".mid")):
                return path
    scores = [n for n in names if n.lower().endswith((".musicxml", ".xml")) and not n.upper().startswith("META-INF")]
    if not scores:
        raise ScoreError("there is no MusicXML score in this file", where=name, remedy=EXPORT)
    return scores[0]


def _member(archive: zipfile.ZipFile, path: str, name: str) -> bytes:
    info = archive.getinfo(path)
    if info.file_size > 1_000_000 and info.file_size > limits.MAX_RATIO * max(info.compress_size, 1):
        raise ScoreError("the file unpacks to far more than a score", where=name, remedy=EXPORT)
    with archive.open(info) as member:
        data = member.read(limits.MAX_UNPACKED_BYTES + 1)
    if len(data) > limits.MAX_UNPACKED_BYTES:
        raise ScoreError("the file is too large for a song when unpacked", where=name, remedy=EXPORT)
    return data
