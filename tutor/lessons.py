"""What ships with the program: lessons, their sources and the songs.

A lesson file is Markdown with TOML front matter between two ``+++`` lines. Music stands in fenced blocks::

    ```music bpm=72 fifths=-1 time=3/4 caption="The same chord, three ways"
    upper: C5+E5:2 B4+D5:1
    lower: C3:2 G2:1
    figures: I:2 V:1
    ```

Prose names a source as ``[key]``; it is shown as its number in the lesson's list. In music a line without a name is
the voice; ``words`` puts syllables under it (``_`` carries one on); ``figures`` prints text
under the staff, ``-`` for a gap.
"""

from __future__ import annotations

import re
import shlex
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any, Literal, cast

from tutor.errors import LessonError, plain
from tutor.music.phrase import Line, Phrase, Tone

Status = Literal["seen", "second-hand", "recalled", "common practice", "computed", "our choice"]
"""How far a source was checked: read; read as told by another; from memory; a custom of the trade without one source;
following from a definition; a rule of this program."""

STATUSES: tuple[Status, ...] = ("seen", "second-hand", "recalled", "common practice", "computed", "our choice")
_FILE = re.compile(r"(\d\d)-([a-z0-9-]+)\.md")
_FENCE = re.compile(r"^```music[ \t]*(.*?)\n(.*?)^```[ \t]*$", re.MULTILINE | re.DOTALL)
_LINES = ("voice", "upper", "lower", "words", "figures")


@dataclass(frozen=True, slots=True)
class Source:
    """Where a fact in a lesson comes from."""

    key: str
    """Name used by the lessons."""
    citation: str
    """Author, title, place."""
    status: Status
    """How far it was checked."""


@dataclass(frozen=True, slots=True)
class Prose:
    """A stretch of text."""

    text: str
    """Markdown."""


@dataclass(frozen=True, slots=True)
class Music:
    """An example to hear and to see."""

    phrase: Phrase
    caption: str
    """One line above the staff; may be empty."""


Block = Prose | Music


@dataclass(frozen=True, slots=True)
class Lesson:
    """One lesson."""

    name: str
    """Key, without the number: 'inversions'."""
    title: str
    needs: tuple[str, ...]
    """Names of lessons to read first."""
    drills: tuple[str, ...]
    """What practises it: 'inversions', or 'inversions: first inversion' for one skill."""
    sources: tuple[str, ...]
    """Keys of sources.toml; the first is shown as [1] in the text."""
    blocks: tuple[Block, ...]

    def drill_skills(self) -> tuple[tuple[str, str], ...]:
        """`drills` taken apart: (drill, skill), the skill empty where the whole drill is meant."""
        parts = (d.partition(":") for d in self.drills)
        return tuple((drill.strip(), skill.strip()) for drill, _, skill in parts)


@dataclass(frozen=True, slots=True)
class BundledSong:
    """A song that ships with the program."""

    title: str
    file: Traversable
    """The MusicXML file."""
    name: str
    """Key: 'ebb-counting'."""
    voice: str
    """Voice type it is written for."""
    blurb: str
    """One sentence: who sings, and what there is to find."""
    truth: Traversable | None = None
    """What the composer meant, as TOML."""


@lru_cache(maxsize=1)
def lessons() -> tuple[Lesson, ...]:
    """Every lesson, in reading order.

    Raises:
        LessonError: a lesson file is wrong.
    """
    found = sorted(f.name for f in files("lessons").iterdir() if _FILE.fullmatch(f.name))
    return tuple(parse_lesson((files("lessons") / name).read_text(encoding="utf-8"), name) for name in found)


def lesson(name: str) -> Lesson:
    """The lesson with this name.

    Raises:
        LessonError: there is none, or a lesson file is wrong.
    """
    for one in lessons():
        if one.name == name:
            return one
    raise LessonError("there is no such lesson", where=name, remedy="Open the list of lessons for the names")


@lru_cache(maxsize=1)
def sources() -> dict[str, Source]:
    """Every source the lessons lean on, by key.

    Raises:
        LessonError: the list of sources is wrong.
    """
    return parse_sources((files("lessons") / "sources.toml").read_text(encoding="utf-8"))


@lru_cache(maxsize=1)
def bundled_songs() -> tuple[BundledSong, ...]:
    """The songs that ship with the program, in the order of the story.

    Raises:
        LessonError: the list of songs is wrong.
    """
    folder = files("lessons") / "songs"
    return parse_songs((folder / "songs.toml").read_text(encoding="utf-8"), folder)


def parse_sources(text: str) -> dict[str, Source]:
    """Read the list of sources.

    Raises:
        LessonError: the text is no list of sources.
    """
    where, found = "sources.toml", {}
    for key, value in _toml(text, where).items():
        citation, status = (value.get(k) if isinstance(value, dict) else None for k in ("citation", "status"))
        if not isinstance(citation, str) or status not in STATUSES:
            raise LessonError(f"source {key!r} needs a citation and a status", where=where, remedy=_STATUS_REMEDY)
        found[key] = Source(key, plain(citation), cast(Status, status))
    return found


def parse_songs(text: str, folder: Traversable) -> tuple[BundledSong, ...]:
    """Read the list of songs.

    Args:
        text: the list, TOML.
        folder: where the songs lie.

    Raises:
        LessonError: the text is no list of songs, or a song is missing.
    """
    where = "songs.toml"
    found: list[BundledSong] = []
    for entry in _toml(text, where).get("song", []):
        try:
            title, name, voice, blurb = (plain(str(entry[k])) for k in ("title", "name", "voice", "blurb"))
        except KeyError as error:
            raise LessonError(f"a song has no {error.args[0]}", where=where, remedy="Add the missing line") from None
        file = folder / f"{name}.musicxml"
        if not file.is_file():
            raise LessonError(f"there is no {name}.musicxml", where=where, remedy="Put the song beside the list")
        found.append(BundledSong(title, file, name, voice, blurb, folder / f"{name}.truth.toml"))
    return tuple(found)


def parse_lesson(text: str, file_name: str) -> Lesson:
    """Read one lesson.

    Args:
        text: the file's text.
        file_name: its name, 'NN-name.md'; the lesson is named after it.

    Raises:
        LessonError: the text is no lesson; the line says what is wrong.
    """
    match = _FILE.fullmatch(file_name)
    if match is None:
        raise LessonError("a lesson is named like 04-inversions.md", where=file_name, remedy="Rename the file")
    head, body = _front_matter(text, file_name)
    title = head.get("title")
    if not isinstance(title, str) or not title.strip():
        raise LessonError("the lesson has no title", where=file_name, remedy='Add title = "…" between the +++ lines')
    keys = _names(head, "sources", file_name)
    for number, key in enumerate(keys, start=1):
        body = body.replace(f"[{key}]", f"[{number}]")
    return Lesson(
        name=match[2],
        title=plain(title),
        needs=_names(head, "needs", file_name),
        drills=_names(head, "drills", file_name),
        sources=keys,
        blocks=tuple(_blocks(body, file_name)),
    )


def parse_music(body: str, options: str = "") -> Music:
    """Read a music block.

    Args:
        body: the lines of the block.
        options: what stands behind the word 'music': bpm=, fifths=, time=, caption=.

    Raises:
        ValueError: the block is wrong; the message says where.
    """
    bpm, fifths, numerator, denominator, caption = _options(options)
    tones: list[Tone] = []
    words: list[str] = []
    figures: tuple[tuple[float, str], ...] = ()
    for raw in body.splitlines():
        name, colon, rest = raw.partition(":")
        key = name.strip() if colon and name.strip() in _LINES else "voice"
        content = rest if colon and name.strip() in _LINES else raw
        if key == "words":
            words = content.split()
        elif key == "figures":
            figures = tuple(_figures(content))
        elif content.strip():
            tones.extend(Phrase.parse(content, line=cast(Line, key)).tones)
    if not tones:
        raise ValueError("the block holds no notes")
    tones = _sung(tones, words)
    tones.sort(key=lambda t: (t.onset_quarters, t.midi))
    return Music(Phrase(tuple(tones), bpm, numerator, denominator, fifths, figures), caption)


def _options(text: str) -> tuple[float, int, int, int, str]:
    given: dict[str, str] = {}
    for word in shlex.split(text):
        key, equals, value = word.partition("=")
        if not equals or key not in ("bpm", "fifths", "time", "caption"):
            raise ValueError(f"unknown option {word!r}")
        given[key] = value
    upper, _, lower = given.get("time", "4/4").partition("/")
    bpm, fifths = float(given.get("bpm", "84")), int(given.get("fifths", "0"))
    if not 20 <= bpm <= 300 or not -7 <= fifths <= 7 or lower not in ("2", "4", "8", "16") or not 0 < int(upper) < 33:
        raise ValueError(f"options out of range: {text}")
    return bpm, fifths, int(upper), int(lower), plain(given.get("caption", ""))


def _figures(text: str) -> Iterator[tuple[float, str]]:
    at = 0.0
    for word in text.split():
        name, colon, length = word.rpartition(":")
        if not colon:
            raise ValueError(f"not figure:quarters: {word!r}")
        if name != "-":
            yield at, plain(name)
        at += float(length)


def _sung(tones: list[Tone], words: list[str]) -> list[Tone]:
    if not words:
        return tones
    sung = [i for i, t in enumerate(tones) if t.line == "voice"]
    if len(words) != len(sung):
        raise ValueError(f"{len(words)} syllables for {len(sung)} sung notes")
    out = list(tones)
    for i, word in zip(sung, words, strict=True):
        out[i] = replace(out[i], syllable="" if word == "_" else plain(word))
    return out


def _blocks(body: str, where: str) -> Iterator[Block]:
    at = 0
    for match in _FENCE.finditer(body):
        if prose := body[at : match.start()].strip():
            yield Prose(prose)
        try:
            yield parse_music(match[2], match[1])
        except ValueError as error:
            raise LessonError(
                f"a music block is wrong: {error}", where=where, remedy="Write notes as C4:1, rests as r:1"
            ) from None
        at = match.end()
    if prose := body[at:].strip():
        if "```music" in prose:
            raise LessonError("a music block is not closed", where=where, remedy="End it with a line of three ticks")
        yield Prose(prose)


def _front_matter(text: str, where: str) -> tuple[dict[str, Any], str]:
    parts = re.split(r"^\+\+\+[ \t]*$", text, maxsplit=2, flags=re.MULTILINE)
    if len(parts) != 3 or parts[0].strip():
        raise LessonError("the file does not open with front matter", where=where, remedy="Put it between +++ lines")
    return _toml(parts[1], where), parts[2]


def _names(head: dict[str, Any], key: str, where: str) -> tuple[str, ...]:
    value = head.get(key, [])
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        raise LessonError(f"{key} is no list of names", where=where, remedy=f'Write {key} = ["one", "two"]')
    return tuple(plain(v) for v in value)


def _toml(text: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LessonError(f"not TOML: {error}", where=where, remedy="Mend the line it names") from None


_STATUS_REMEDY = "The status is one of: " + ", ".join(STATUSES)
