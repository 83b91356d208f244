"""RomanText: harmony written as lines of 'm12 b1 F: I6 b3 V65/V'.

The part of the format that analyses use (D. Tymoczko, M. Gotham, M. Cuthbert, C. Ariza, "The RomanText format", ISMIR
2019, recalled): headers, bars, beats, keys, figures, bars that repeat others ('m5-8 = m1-4'), 'NC' where nothing is
said. Variants ('m5var1'), pedals, notes and phrase marks are passed over. Bars and beats are kept as printed; what
offsets they mean only the song can tell.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from tutor.errors import SidecarError, plain
from tutor.music.pitch import PitchClass
from tutor.music.roman import parse_roman, tidy

MAX_CHARACTERS = 1_000_000
MAX_EVENTS = 50_000
NOTHING = "NC"
"""Written where no chord is named: in a file of corrections, the engine's own reading stands."""

_HEADER = re.compile(r"([A-Za-z][A-Za-z0-9 ._/-]{0,40}):(.*)")
_COPY = re.compile(r"m\s?(\d+)([a-z]?)(?:\s*-\s*m?(\d+))?\s*=\s*m?\s?(\d+)([a-z]?)(?:\s*-\s*m?(\d+))?\s*$")
_BAR = re.compile(r"m\s?([A-Za-z]?\d+[A-Za-z]?(?:#\d+)?)(var\w*)?(?:\s+(.*))?$")
_BEAT = re.compile(r"b(\d+(?:\.\d+){0,2})")
_KEY = re.compile(r"([A-Ga-g])([#b]{0,2}|-{0,2});?:")
_SKIPPED = re.compile(r"\|\||\|\|:|:\|\|(:?)|[()\[\]]|\?\(|\?\)|\|")


@dataclass(frozen=True, slots=True)
class Event:
    """One chord, or the end of what is said."""

    bar: str
    """Printed bar number."""
    beat: float
    """From 1, in felt beats; a bar's first chord without a beat stands on 1."""
    tonic: PitchClass
    mode: str
    figure: str
    """Empty where nothing is said."""
    line: int = 0
    """Line of the file, from 1."""


@dataclass(frozen=True, slots=True)
class Analysis:
    """A RomanText file read."""

    headers: Mapping[str, str]
    events: tuple[Event, ...]

    @property
    def whole(self) -> bool:
        """True when it speaks throughout, as an analysis does; corrections leave gaps."""
        return all(event.figure for event in self.events)


def parse_romantext(text: str, name: str) -> Analysis:
    """Read RomanText.

    Args:
        text: The file's text.
        name: The file's name, for messages.

    Raises:
        SidecarError: a line cannot be read; it says which.
    """
    if len(text) > MAX_CHARACTERS:
        raise SidecarError("the analysis is too long for a song", where=name)
    reader = _Reader(name)
    for number, line in enumerate(text.lstrip("\ufeff").splitlines(), start=1):
        reader.line(number, line.strip())
    return Analysis(reader.headers, tuple(e for bar in reader.bars.values() for e in bar))


class _Reader:
    def __init__(self, name: str) -> None:
        self.headers: dict[str, str] = {}
        self.bars: dict[str, list[Event]] = {}
        self._name = name
        self._key: tuple[PitchClass, str] | None = None
        self._count = 0
        self._number = 0

    def line(self, number: int, line: str) -> None:
        self._number = number
        if not line or line.startswith(("%", "//")):
            return
        copy = _COPY.match(line)
        if copy:
            self._copy(copy)
            return
        bar = _BAR.match(line)
        if bar:
            if not bar[2]:
                self._bar(bar[1], bar[3] or "")
            return
        header = _HEADER.match(line)
        if header:
            self.headers.setdefault(header[1].strip().lower(), plain(header[2])[:200])
            return
        if line[0].lower() in "mb" and line[1:2].isdigit():
            raise self._error(f"'{plain(line)[:30]}' is no bar of an analysis")
        if not re.match(r"(note|pedal|form)\b", line, re.I):
            raise self._error(f"'{plain(line)[:30]}' is no line of an analysis")

    def _error(self, what: str) -> SidecarError:
        return SidecarError(
            what, where=f"{self._name}, line {self._number}", remedy="Write bars as 'm12 b1 F: I6 b3 V65/V'"
        )

    def _bar(self, number: str, rest: str) -> None:
        events: list[Event] = []
        beat = 1.0
        for word in rest.split():
            found = _BEAT.fullmatch(word)
            key = _KEY.fullmatch(word)
            if found:
                beat = read_beat(found[1])
            elif key:
                self._key = read_key(key)
            elif not _SKIPPED.fullmatch(word) and not word.startswith(("?(", "?)")):
                events.append(self._event(number, beat, word.strip("()") or word))
        self._keep(number, events)

    def _event(self, bar: str, beat: float, word: str) -> Event:
        nothing = word.upper().replace(".", "") == NOTHING
        if self._key is None:
            if not nothing:
                raise self._error("no key is named before the first chord")
            return Event(bar, beat, PitchClass(0), "major", "", self._number)
        tonic, mode = self._key
        figure = "" if nothing else tidy(word)
        if figure:
            try:
                parse_roman(figure, tonic, mode)
            except ValueError:
                raise self._error(f"'{plain(word)[:30]}' is no Roman numeral") from None
        return Event(bar, beat, tonic, mode, figure, self._number)

    def _keep(self, bar: str, events: list[Event]) -> None:
        self._count += len(events)
        if self._count > MAX_EVENTS:
            raise SidecarError("the analysis is too long for a song", where=self._name)
        self.bars.setdefault(bar, []).extend(events)

    def _copy(self, match: re.Match[str]) -> None:
        first, last = int(match[1]), int(match[3] or match[1])
        from_first, from_last = int(match[4]), int(match[6] or match[4])
        if last - first != from_last - from_first or not 0 <= last - first <= 5000:
            raise self._error(f"'{plain(match[0])[:30]}' repeats a passage of another length")
        for place in range(last - first + 1):
            source = f"{from_first + place}{match[5] if first == last else ''}"
            target = f"{first + place}{match[2] if first == last else ''}"
            if source == target:
                raise self._error(f"'{plain(match[0])[:30]}' repeats itself")
            events = [replace(e, bar=target, line=self._number) for e in self.bars.get(source, [])]
            self._keep(target, events)
            if events:
                self._key = (events[-1].tonic, events[-1].mode)


def read_key(match: re.Match[str]) -> tuple[PitchClass, str]:
    """Tonic and mode of 'Bb:' or 'f#:'."""
    name = match[1].upper() + match[2].replace("-", "b")
    return PitchClass.parse(name), "minor" if match[1].islower() else "major"


def read_beat(text: str) -> float:
    """A beat as a number: '2.5', '1.33' (a third), '1.66.5' (half way from two thirds to the next beat)."""
    whole, _, rest = text.partition(".")
    part, _, finer = rest.partition(".")
    beat = int(whole) + (_fraction(part) if part else 0.0)
    if finer:
        beat += _fraction(finer) / (3.0 if part[:1] in "36" and part[:2] in ("33", "66", "67", "3", "6") else 2.0)
    return beat


def _fraction(digits: str) -> float:
    """The fraction that rounded digits stand for: '33' a third, '17' a sixth, '125' an eighth."""
    value = float(f"0.{digits}")
    tolerance, most = (0.007, 16) if len(digits) <= 2 else (0.0006, 96)
    for whole in (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96):
        if whole <= most and abs(value - round(value * whole) / whole) < tolerance:
            return round(value * whole) / whole
    return value


def write_beat(beat: float) -> str:
    """A beat in the shortest form that reads back: 'b2', 'b1.33', 'b2.5'."""
    for digits in (0, 1, 2, 3, 4, 6):
        text = f"{beat:.{digits}f}"
        if abs(read_beat(text) - beat) < 1e-4 * (digits < 4) + 1e-6:
            return f"b{text}"
    return f"b{beat:.6f}"


def write_key(tonic: PitchClass, mode: str) -> str:
    """'Bb:' or 'f#:'."""
    name = tonic.name
    return (name[0].lower() if mode == "minor" else name[0]) + name[1:] + ":"


def write_romantext(headers: Mapping[str, str], events: Iterable[Event]) -> str:
    """Write RomanText; `parse_romantext` reads the same events back."""
    lines = [f"{title}: {plain(text)}" for title, text in headers.items() if text]
    lines.append("")
    bar, key = None, ""
    words: list[str] = []
    for event in events:
        if event.bar != bar:
            lines.extend([" ".join(words)] if words else [])
            bar, words = event.bar, [f"m{event.bar}"]
        words.append(write_beat(event.beat))
        here = write_key(event.tonic, event.mode)
        if here != key and event.figure:
            words.append(here)
            key = here
        words.append(event.figure or NOTHING)
    return "\n".join([*lines, *([" ".join(words)] if words else []), ""])
