"""Every reader of files from outside, with whole files to damage: the table that the hostile tests and bench go by."""

from __future__ import annotations

import json
import random
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from tests.quiz.packs import pack
from tests.score import makers
from tests.score.damage import digits_changed, mutated
from tests.sound.fonts import soundfont
from tests.trust import archives
from tutor.analysis.reading import read as analyse
from tutor.errors import TutorError
from tutor.music.table import NoteTable
from tutor.practice import assignment
from tutor.practice.catalogue import drills
from tutor.quiz import gather
from tutor.quiz import pack as packs
from tutor.quiz.sheet import Sheet, to_code, to_file
from tutor.score import sidecar
from tutor.score.read import read_score
from tutor.sound.soundfont import sounds_from
from tutor.studio.quizzes import load_quiz
from tutor.tui.look import Look

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
ROMANTEXT = b"Title: x\n\nm1 C: I b3 V6\nm2 b1 vi b2.5 V7/V b4 G: V\nm3 = m1\nm4 NC\n"
DETAILS = b"""form = 1
song = "song.musicxml"

[voice]
part = "P1"

[[key]]
tonic = "Eb"
mode = "major"
from = ["1", 1]
to = ["2", 2.5]

[[section]]
label = "A"
variant = 1
from = ["1", 1]
to = "end"
"""
ASSIGNMENT = b"""title = "Week 3"
teacher = "M. Ohlin"
due = 2026-12-04
note = "Slowly, please."
songs = ["salt-on-the-sill.musicxml"]

[[task]]
drill = "inversions"
skills = ["triads-close"]
count = 10
"""


@dataclass(frozen=True, slots=True)
class Reader:
    """One kind of file."""

    name: str
    """Name under which the bytes are read; its ending tells the kind."""
    wholes: Callable[[], Sequence[bytes]]
    """Good files."""
    read: Callable[[bytes, Path], None]
    """Read the bytes; a folder of their own is given. Ends, or raises TutorError."""
    damage: Callable[[bytes, random.Random], bytes]
    share: int = 1
    """How often it comes, beside the others."""

    def end(self, data: bytes, scratch: Path) -> str:
        """How reading ends: 'read', 'told', or what went wrong."""
        try:
            self.read(data, scratch)
        except TutorError as error:
            hidden = "\n" in error.line or not error.line.isprintable()
            return "told" if not hidden and len(error.line) < 600 else f"FAULT, a line that is none: {error.line!r}"
        except Exception as error:
            place = traceback.extract_tb(error.__traceback__)[-1]
            return f"FAULT {type(error).__name__} at {Path(place.filename).name}:{place.lineno}: {error}"[:160]
        return "read"


def damaged(whole: bytes, dice: random.Random) -> bytes:
    """Bytes changed anywhere, or other figures."""
    return digits_changed(whole, dice) if dice.random() < 0.4 else mutated(whole, dice)


_ODD = (
    "\x1b[2J",
    "\u202e",
    "\u2066",
    "\x00",
    "\u2028",
    "9" * 400,
    "-1",
    "1e308",
    "NaN",
    "null",
    "[]",
    "{}",
    "ÿ",
    "🎵",
    "../../x",
)


def text_damaged(whole: bytes, dice: random.Random) -> bytes:
    """As `damaged`, and now and then something odd put in or a value replaced by it."""
    if dice.random() < 0.5:
        return damaged(whole, dice)
    pieces = whole.decode("utf-8", "replace").split('"')
    for _ in range(dice.choice((1, 1, 3))):
        at = dice.randrange(len(pieces))
        odd = dice.choice(_ODD)
        pieces[at] = odd if dice.random() < 0.5 else pieces[at] + odd
    return '"'.join(pieces).encode()


def _packed_damaged(whole: bytes, dice: random.Random) -> bytes:
    """A packed score whose archive is damaged, or one well packed of a damaged score or list of contents."""
    if dice.random() < 0.3:
        return mutated(whole, dice)
    inner = makers.small_song(2)
    if dice.random() < 0.7:
        return makers.packed({"score.xml": damaged(inner, dice)})
    container = '<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>'
    odd = text_damaged(container.encode(), dice)
    return makers.packed({"META-INF/container.xml": odd, "score.xml": inner}, container=None)


def _font_damaged(whole: bytes, dice: random.Random) -> bytes:
    """Mostly behind the sound, where the tables lie."""
    if dice.random() < 0.1:
        return mutated(whole, dice)
    changed = bytearray(whole)
    for _ in range(dice.choice((1, 2, 4, 16))):
        changed[len(changed) - 1 - dice.randrange(620)] = dice.choice((0, 1, 127, 128, 255, dice.randrange(256)))
    return bytes(changed)


def song(name: str) -> Callable[[bytes, Path], None]:
    """Read a score as opening it does: its notes, then how it is built."""

    def read(data: bytes, scratch: Path) -> None:
        table = read_score(data, name)
        assert table.notes
        analyse(table)

    return read


@cache
def _table() -> NoteTable:
    return read_score(makers.small_song(), "song.musicxml")


def _romantext(data: bytes, scratch: Path) -> None:
    path = scratch / "analysis.rntxt"
    path.write_bytes(data)
    sidecar.import_romantext(path, _table())


def _sidecar(data: bytes, scratch: Path) -> None:
    beside = scratch / "song.musicxml"
    sidecar.details_path(beside).write_bytes(data)
    sidecar.voice_part(beside)
    analyse(_table(), sidecar.load(beside, _table()))


def _quiz(data: bytes, scratch: Path) -> None:
    path = scratch / "quiz.json"
    path.write_bytes(data)
    found = load_quiz(path)
    assert packs.loads(packs.dumps(found)).id == found.id


def _answers(data: bytes, scratch: Path) -> None:
    path = scratch / "answers.txt"
    path.write_bytes(data)
    gathered = gather.gather(pack(), [path])
    gather.to_csv(gathered)
    json.dumps(gather.to_json(gathered))
    for line in gathered.refused:
        assert line.isprintable()


def _assignment(data: bytes, scratch: Path) -> None:
    found = assignment.read(data, "assignment.toml", drills())
    assert assignment.read(assignment.write(found).encode(), "again.json", drills()) == found


def _sheets() -> Sequence[bytes]:
    quiz = pack().id
    sheets = [Sheet(quiz, (1, 2, 0, 3), f"{n:08x}", "Wren") for n in range(3)]
    return ("\n".join([to_file(sheets[0]), f"Wren {to_code(sheets[1])}", to_code(sheets[2])]).encode(),)


def _font(scratch: Path) -> bytes:
    path = scratch / "whole.sf2"
    soundfont(path, cents_sharp=5.0)
    return path.read_bytes()


@cache
def _fonts() -> Sequence[bytes]:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        return (_font(Path(folder)),)


def _read_font(data: bytes, scratch: Path) -> None:
    path = scratch / "font.sf2"
    path.write_bytes(data)
    sounds = sounds_from(path)
    assert len(sounds.piano.note(60, 0.1, 0.7))


def _look(data: bytes, scratch: Path) -> None:
    path = scratch / "look.json"
    path.write_bytes(data)
    Look.load(path)


READERS: tuple[Reader, ...] = (
    Reader("song.musicxml", lambda: (makers.small_song(),), song("song.musicxml"), damaged, 5),
    Reader("song.mxl", lambda: (makers.packed({"score.xml": makers.small_song()}),), song("song.mxl"),
           _packed_damaged, 5),
    Reader("song.mid", lambda: (makers.midi([(60, 1), (64, 0.5), (67, 1.5)], tracks=2, words=["la", "lo"]),),
           song("song.mid"), damaged, 6),
    Reader("song.abc", lambda: (makers.ABC,), song("song.abc"), text_damaged, 4),
    Reader("song.krn", lambda: (makers.KERN,), song("song.krn"), damaged, 5),
    Reader("analysis.rntxt", lambda: (ROMANTEXT,), _romantext, text_damaged, 30),
    Reader("quiz.json", lambda: (packs.dumps(pack(2)).encode(),), _quiz, text_damaged, 30),
    Reader("answers.txt", _sheets, _answers, text_damaged, 30),
    Reader("assignment.toml", lambda: (ASSIGNMENT,), _assignment, text_damaged, 30),
    Reader("sidecar.toml", lambda: (DETAILS,), _sidecar, text_damaged, 4),
    Reader("look.json", lambda: (Look("day").dumps().encode(),), _look, text_damaged, 20),
    Reader("settings", lambda: (archives.settings(),), archives.read_settings, text_damaged, 6),
    Reader("archive", lambda: (archives.whole(),), archives.read, archives.damaged),
    Reader("font.sf2", _fonts, _read_font, _font_damaged, 4),
)  # fmt: skip
