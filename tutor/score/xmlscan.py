"""A first pass over MusicXML: is it safe, is it a score, how large, and which jumps its playback marks name.

It uses the parser of the standard library, which fetches nothing; declarations of entities are refused, so none can
grow or reach outside. The standard MusicXML document type declares none and passes.
"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass, field
from xml.parsers import expat

from tutor.errors import ScoreError, plain
from tutor.score import limits
from tutor.score.unpack import EXPORT

_SOUND_JUMPS = ("dacapo", "dalsegno", "segno", "coda", "tocoda", "fine")
_MARKS = {
    "dacapo": "da-capo",
    "dalsegno": "dal-segno",
    "segno": "segno",
    "coda": "coda",
    "tocoda": "to-coda",
    "fine": "fine",
}
_NUMBERS = ("divisions", "duration")
_UNPRINTED = re.compile(r"X\d{1,6}")


@dataclass(slots=True)
class XmlFacts:
    """What the first pass found."""

    jumps: dict[int, set[str]] = field(default_factory=dict)
    """For each bar (by its place in the part), the marks its playback directions name."""
    transposing: set[int] = field(default_factory=set)
    """Places (from 0) of the parts whose written notes sound elsewhere."""
    numbers: list[str] = field(default_factory=list)
    """Bar numbers as the file writes them, of the part with the most bars; see `found_under` for those not printed."""
    parts: int = 0
    bars: int = 0
    notes: int = 0


def found_under(number: str, before: str | None) -> str:
    """The number under which a musician finds a bar.

    A bar split in two, as at a repeat sign inside it, has no number printed over its second half; MusicXML asks for one
    all the same, and programs write 'X1', 'X2' (MusicXML 4.0, attributes "number" and "implicit" of a measure, and its
    tutorial, recalled).

    Args:
        number: As the file writes it.
        before: The number of the bar before; None for the first bar.
    """
    if not _UNPRINTED.fullmatch(number.strip()):
        return number
    return "0" if before is None else before


def scan(data: bytes, name: str) -> XmlFacts:
    """Look through MusicXML before it is read.

    Args:
        data: The document.
        name: The file's name, for messages.

    Raises:
        ScoreError: it is not MusicXML, not safe, or too large.
    """
    scanner = _Scanner(name)
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = scanner.start
    parser.EndElementHandler = scanner.end
    parser.CharacterDataHandler = scanner.text
    parser.EntityDeclHandler = scanner.entity
    parser.UnparsedEntityDeclHandler = scanner.entity
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        line = getattr(error, "lineno", 0)
        raise ScoreError(
            "the file is damaged or cut short", where=f"{name}, line {line}", remedy="Export the score again"
        ) from None
    except (LookupError, ValueError, UnicodeError):
        raise ScoreError("the file names an encoding that cannot be read", where=name, remedy=EXPORT) from None
    if not scanner.facts.parts or not scanner.facts.bars:
        raise ScoreError("there are no bars in this score", where=name, remedy="Open a score with notes")
    return scanner.facts


class _Scanner:
    def __init__(self, name: str) -> None:
        self.facts = XmlFacts()
        self._name = name
        self._depth = 0
        self._bar = -1
        self._number = ""
        self._divisions = 1.0
        self._reading = ""
        self._pieces: list[str] = []

    def _refuse(self, what: str, remedy: str = EXPORT, *, bar: bool = False) -> ScoreError:
        where = f"{self._name}, bar {plain(self._number)[:12]}" if bar else self._name
        return ScoreError(what, where=where, remedy=remedy)

    def entity(self, *_: object) -> None:
        raise self._refuse("the file declares entities of its own, which a score never needs")

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        if self._depth == 1:
            self._root(tag)
        elif self._depth > limits.MAX_DEPTH:
            raise self._refuse("the score is nested too deeply")
        if tag == "measure":
            self._measure(attributes)
        elif tag == "note":
            self.facts.notes += 1
            if self.facts.notes > limits.MAX_NOTES:
                raise self._refuse(f"the score has more than {limits.MAX_NOTES:,} notes", "Export only this song")
        elif tag == "part":
            self._part()
        elif tag == "sound":
            marks = {_MARKS[key] for key in _SOUND_JUMPS if attributes.get(key, "no") not in ("", "no")}
            if marks:
                self.facts.jumps.setdefault(self._bar, set()).update(marks)
        elif tag == "transpose":
            self.facts.transposing.add(self.facts.parts - 1)
        elif tag in _NUMBERS:
            self._reading, self._pieces = tag, []

    def _root(self, tag: str) -> None:
        if tag == "score-timewise":
            raise self._refuse("this MusicXML is laid out by bars instead of parts", "Export it again 'partwise'")
        if tag != "score-partwise":
            raise self._refuse(f"this is XML, but not a MusicXML score (it holds '{plain(tag)[:40]}')")

    def _part(self) -> None:
        self.facts.parts += 1
        self._bar = -1
        self._divisions = 1.0
        if self.facts.parts > limits.MAX_PARTS:
            raise self._refuse(f"the score has more than {limits.MAX_PARTS} parts", "Export only voice and piano")

    def _measure(self, attributes: dict[str, str]) -> None:
        self._bar += 1
        self._number = found_under(attributes.get("number", ""), self._number if self._bar else None)
        if self._bar == self.facts.bars:
            self.facts.numbers.append(self._number)
            self.facts.bars += 1
        if self._bar >= limits.MAX_BARS:
            raise self._refuse(f"the score has more than {limits.MAX_BARS:,} bars", "Export only this song")

    def text(self, text: str) -> None:
        if self._reading:
            self._pieces.append(text)

    def end(self, tag: str) -> None:
        self._depth -= 1
        if tag != self._reading:
            return
        self._reading = ""
        value = _number("".join(self._pieces))
        if tag == "divisions":
            if value is None or not 0 < value <= limits.MAX_DIVISIONS:
                raise self._refuse("a quarter note is divided in a way that makes no sense", bar=True)
            self._divisions = value
        elif value is None or not 0 <= value <= self._divisions * limits.MAX_BAR_QUARTERS:
            raise self._refuse("a note or rest has a length that makes no sense", bar=True)


def _number(text: str) -> float | None:
    try:
        return float(text) if len(text) < 40 else None
    except ValueError:
        return None


def decoded(data: bytes) -> str:
    """The document as text, by its byte order mark or the encoding it names.

    Raises:
        LookupError: the encoding has no such name.
        UnicodeError: the bytes are not in that encoding.
    """
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if data.startswith(mark):
            return data.decode(encoding)
    named = re.match(rb"\s*<\?xml[^>]*?encoding\s*=\s*[\"']([A-Za-z0-9._-]+)[\"']", data[:300])
    return data.decode(named[1].decode("ascii") if named else "utf-8")
