"""Bars: metres, keys, repeats, voltas and jumps, gathered from all parts of a music21 score."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import zip_longest
from typing import Any

from tutor.errors import plain
from tutor.music.table import MeasureRow
from tutor.score.rows import RawNote

MAX_PASSES = 16
"""Most times a repeat sign is believed."""

NUMBER = re.compile(r"[A-Za-z]?\d{1,6}[A-Za-z]?")
"""A bar number that can be named again in a file of corrections."""

_JUMPS = (
    (re.compile(r"\b(d\.? ?c\.?|da ?capo)(?=\W|$).*\bfine\b", re.I), "da-capo-al-fine"),
    (re.compile(r"\b(d\.? ?c\.?|da ?capo)(?=\W|$).*\bcoda\b", re.I), "da-capo-al-coda"),
    (re.compile(r"\b(d\.? ?s\.?|dal ?segno)(?=\W|$).*\bfine\b", re.I), "dal-segno-al-fine"),
    (re.compile(r"\b(d\.? ?s\.?|dal ?segno)(?=\W|$).*\bcoda\b", re.I), "dal-segno-al-coda"),
    (re.compile(r"^\W*(d\. ?c\.?|da ?capo)(?=\W|$)", re.I), "da-capo"),
    (re.compile(r"^\W*(d\. ?s\.?|dal ?segno)(?=\W|$)", re.I), "dal-segno"),
    (re.compile(r"^\W*(to|al|alla) coda\b", re.I), "to-coda"),
    (re.compile(r"^\W*coda\W*$", re.I), "coda"),
    (re.compile(r"^\W*segno\W*$", re.I), "segno"),
    (re.compile(r"^\W*fine\W*$", re.I), "fine"),
)
_APART = re.compile(r"\W*(?:al|alla) (fine|coda)\b|\W*(to)\W*$", re.I)
"""Words that complete a jump or a coda sign printed before them."""
_WITH_REPEATS = re.compile(
    r"\b(?:con|col|colle|with|take|play|mit|avec)\b[\w ]{0,12}?"
    r"\b(?:r[ei]petizion[ei]|rip\b|rep\b|replic[ah]|ritornell[oi]|repeats?\b|wiederholung|reprises?\b)",
    re.I,
)
"""Words beside a da capo or dal segno that ask for its repeats; without them they are left out."""
_JUMP_CLASSES = (
    ("DaCapoAlFine", "da-capo-al-fine"),
    ("DaCapoAlCoda", "da-capo-al-coda"),
    ("DaCapo", "da-capo"),
    ("DalSegnoAlFine", "dal-segno-al-fine"),
    ("DalSegnoAlCoda", "dal-segno-al-coda"),
    ("DalSegno", "dal-segno"),
    ("Segno", "segno"),
    ("Fine", "fine"),
)


@dataclass(slots=True)
class BarFacts:
    """What the parts say of one bar, before it becomes a row."""

    number: str
    start: float
    duration: float = 0.0
    numerator: int = 4
    denominator: int = 4
    fifths: int = 0
    repeat_start: bool = False
    repeat_end: int = 0
    endings: set[int] = field(default_factory=set)
    marks: set[str] = field(default_factory=set)
    barline: str = ""


def mark_from_words(text: str) -> str | None:
    """The jump that printed words ask for, if any: 'D.S. al Coda' → 'dal-segno-al-coda'."""
    cleaned = plain(text)
    if len(cleaned) > 60:
        return None
    return next((mark for pattern, mark in _JUMPS if pattern.search(cleaned)), None)


def mark_of(element: Any) -> str | None:
    """The mark that a music21 element stands for, if any."""
    classes = element.classes
    if "RepeatExpression" in classes:
        if "Coda" in classes:
            return "to-coda" if re.search(r"\b(to|al)\b", element.getText() or "", re.I) else "coda"
        return next((mark for name, mark in _JUMP_CLASSES if name in classes), None)
    if "TextExpression" in classes:
        return mark_from_words(str(element.content or ""))
    return None


def bar_number(bar: Any, written: str = "") -> str:
    """The number as the file writes it ('12a', '0' for an up-beat), else as music21 counts."""
    counted = f"{bar.number}{bar.numberSuffix or ''}"
    return next((n for n in (written.strip(), counted) if NUMBER.fullmatch(n)), str(bar.number))


def _words_of(element: Any) -> str:
    if "RepeatExpression" in element.classes:
        return str(element.getText() or "")
    return str(element.content or "") if "TextExpression" in element.classes else ""


def _marks_in(bar: Any) -> set[str]:
    """The marks printed in a bar of one part, also those whose words are printed apart: 'D.C.' 'al Fine'."""
    marks = {mark for mark in map(mark_of, bar.elements) if mark}
    if any(_WITH_REPEATS.search(plain(_words_of(element))[:120]) for element in bar.elements):
        marks.add("with-repeats")
    if not marks:
        return marks
    for element in bar.elements:
        found = _APART.match(plain(_words_of(element)))
        if not found:
            continue
        if found[2] and "coda" in marks:
            marks = (marks - {"coda"}) | {"to-coda"}
        elif found[1] and marks & {"da-capo", "dal-segno"}:
            whole = {f"{m}-al-{found[1].lower()}" if m in ("da-capo", "dal-segno") else m for m in marks}
            marks = whole - {"to-coda"} if found[1].lower() == "coda" else whole
    return marks


class BarReader:
    """Gathers the bars of a score.

    Args:
        reference: The bars (music21 measures) of the part that sets numbers, metres and keys.
        starts: Where each bar starts, in quarters.
        durations: How long each bar is, in quarters.
        numbers: Bar numbers as the file writes them; may be shorter.
    """

    def __init__(
        self, reference: list[Any], starts: list[float], durations: list[float], numbers: Sequence[str] = ()
    ) -> None:
        self.facts = [
            BarFacts(bar_number(bar, written), start, duration)
            for (bar, written), start, duration in zip(
                zip_longest(reference, numbers[: len(reference)], fillvalue=""), starts, durations, strict=True
            )
        ]
        self.warnings: list[str] = []
        self.uncounted: set[int] = set()
        """Bars whose repeat sign does not say how often."""
        self._index: dict[int, int] = {}
        self._moved: set[int] = set()
        self._metres(reference)

    def _metres(self, reference: list[Any]) -> None:
        numerator, denominator, fifths = 4, 4, 0
        for bar, facts in zip(reference, self.facts, strict=True):
            later: list[Any] = []
            for element in bar.getElementsByClass(["TimeSignature", "KeySignature"]):
                if bar.elementOffset(element) > 0:
                    later.append(element)
                    continue
                numerator, denominator, fifths = _signature(element, numerator, denominator, fifths)
            facts.numerator, facts.denominator, facts.fifths = numerator, denominator, fifths
            for element in later:
                numerator, denominator, fifths = _signature(element, numerator, denominator, fifths)

    def add_part(self, bars: list[Any]) -> None:
        """Take the repeat signs, jumps and bar lines of one part (bars beyond the reference are left out)."""
        for index, bar in enumerate(bars[: len(self.facts)]):
            self._index[id(bar)] = index
            self._barlines(bar, index)
            marks = _marks_in(bar)
            if "segno" in marks:
                marks = self._settle_segno(bar, index, marks)
            self.facts[index].marks |= marks

    def _settle_segno(self, bar: Any, index: int, marks: set[str]) -> set[str]:
        """A segno at the end of a bar belongs to the next one; one inside a bar is read at its beginning."""
        at = min(float(bar.elementOffset(x)) for x in bar.elements if mark_of(x) == "segno")
        if at >= self.facts[index].duration - 1e-6 > 0 and index + 1 < len(self.facts):
            self.facts[index + 1].marks.add("segno")
            self._moved.add(index)
            return marks - {"segno"}
        if at > 1e-6:
            self.warnings.append(f"bar {self.facts[index].number}: a segno inside the bar is read at its beginning")
        return marks

    def _barlines(self, bar: Any, index: int) -> None:
        left, right = bar.leftBarline, bar.rightBarline
        for line, home in ((left, index), (right, index)):
            if line is None:
                continue
            if "Repeat" in line.classes:
                self._repeat(line, home, at_left=line is left)
            elif line is right and line.type in ("double", "light-light"):
                self.facts[home].barline = "double"
            elif line is right and line.type in ("final", "light-heavy"):
                self.facts[home].barline = "final"
        for line in bar.getElementsByClass("Repeat"):
            if line is not left and line is not right:
                self.warnings.append(f"bar {self.facts[index].number}: a repeat sign inside the bar is read at its end")
                self._repeat(line, index, at_left=False)

    def _repeat(self, line: Any, index: int, *, at_left: bool) -> None:
        if line.direction == "start":
            home = index if at_left else index + 1
            if home < len(self.facts):
                self.facts[home].repeat_start = True
            return
        home = index - 1 if at_left else index
        if home >= 0:
            times = line.times if isinstance(line.times, int) else 2
            if not isinstance(line.times, int):
                self.uncounted.add(home)
            self.facts[home].repeat_end = max(self.facts[home].repeat_end, min(max(times, 2), MAX_PASSES))

    def add_brackets(self, score: Any) -> None:
        """Take the volta brackets; call after every part was added."""
        for bracket in score.recurse().getElementsByClass("RepeatBracket"):
            spanned = [self._index[id(bar)] for bar in bracket.getSpannedElements() if id(bar) in self._index]
            numbers = {n for n in bracket.numberRange if isinstance(n, int) and 1 <= n <= MAX_PASSES}
            if spanned and numbers:
                for facts in self.facts[min(spanned) : max(spanned) + 1]:
                    facts.endings |= numbers

    def add_jumps(self, jumps: Mapping[int, set[str]]) -> None:
        """Take the jumps that playback directions name, where no printed mark says more.

        Args:
            jumps: For each bar (by its place in the score), marks as in `MeasureRow.marks`.
        """
        for index, named in jumps.items():
            if not 0 <= index < len(self.facts):
                continue
            marks = self.facts[index].marks
            if "to-coda" in named and "coda" not in named:
                marks.discard("coda")  # the sign printed where one leaves, not where one arrives
            for mark in named:
                known = mark == "segno" and index in self._moved
                if not known and not any(printed.startswith(mark) for printed in marks):
                    marks.add(mark)

    def rows(self) -> tuple[MeasureRow, ...]:
        """The finished bars."""
        return tuple(
            MeasureRow(
                number=f.number,
                start_quarters=f.start,
                duration_quarters=f.duration,
                numerator=f.numerator,
                denominator=f.denominator,
                fifths=f.fifths,
                repeat_start=f.repeat_start,
                repeat_end=f.repeat_end,
                endings=tuple(sorted(f.endings)),
                marks=tuple(sorted(f.marks if _jumps_back(f.marks) else f.marks - {"with-repeats"})),
                barline=f.barline,
            )
            for f in self.facts
        )


def _jumps_back(marks: Iterable[str]) -> bool:
    return any(mark.startswith(("da-capo", "dal-segno")) for mark in marks)


def counted_from_one(bars: Sequence[MeasureRow]) -> tuple[MeasureRow, ...]:
    """The bars of a format that prints no numbers, of which the first is no up-beat and yet was counted as bar 0."""
    if not bars or bars[0].number != "0" or bars[0].duration_quarters < bars[0].bar_quarters - 1e-6:
        return tuple(bars)
    return tuple(replace(b, number=str(int(b.number) + 1)) if b.number.isdigit() else b for b in bars)


def repeats_for_verses(
    bars: Sequence[MeasureRow], notes: Iterable[RawNote], uncounted: Collection[int], warnings: list[str]
) -> tuple[MeasureRow, ...]:
    """The bars, with a repeat sign that does not say how often taken once for each verse under its notes.

    Common practice in strophic songs. Passages with voltas, and scores with a da capo or dal segno, stay as they are:
    there the words are dealt out otherwise.
    """
    rows = list(bars)
    plain_repeats = [k for k, bar in enumerate(bars) if bar.repeat_end]
    if not plain_repeats or any(_jumps_back(bar.marks) for bar in bars):
        return tuple(rows)
    texted: dict[int, list[set[int]]] = {}
    for note in notes:
        verses = {1} if note.syllable else set()
        verses |= {n for n, text in enumerate(note.verses, start=2) if text}
        if verses:
            texted.setdefault(note.measure, []).append(verses)
    after = 0
    for end in plain_repeats:
        start = max((k for k in range(after, end + 1) if bars[k].repeat_start), default=after)
        inside = [v for k in range(start, end + 1) for v in texted.get(k, ())]
        after = end + 1
        if end not in uncounted or any(bar.endings for bar in bars[start : end + 2]):
            continue
        full = [n for n in range(3, MAX_PASSES + 1) if 2 * sum(n in v for v in inside) > len(inside)]
        if full and full[-1] > bars[end].repeat_end:
            rows[end] = replace(bars[end], repeat_end=full[-1])
            warnings.append(
                f"bars {bars[start].number} to {bars[end].number} are taken {full[-1]} times, once for each verse"
            )
    return tuple(rows)


def _signature(element: Any, numerator: int, denominator: int, fifths: int) -> tuple[int, int, int]:
    if "KeySignature" in element.classes:
        sharps = element.sharps
        return numerator, denominator, int(sharps) if sharps is not None and abs(sharps) <= 7 else fifths
    upper, lower = getattr(element, "numerator", None), getattr(element, "denominator", None)
    if isinstance(upper, int) and isinstance(lower, int) and 1 <= upper <= 64 and lower in (1, 2, 4, 8, 16, 32, 64):
        return upper, lower, fifths
    return numerator, denominator, fifths
