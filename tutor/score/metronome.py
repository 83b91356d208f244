"""Metronome marks that music21 leaves aside: 'c. 60' and '60-70' in a mark, and marks typed as words: '♩ = 72'.

MusicXML lets any text stand where the beats a minute are named (type per-minute of MusicXML 4.0: a string). Notes in
words are those of Unicode (blocks Miscellaneous Symbols and Musical Symbols), of music fonts after SMuFL 1.4 (ranges
Individual notes and Metronome marks) and the usual names.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from html import unescape
from unicodedata import normalize

from tutor.music.table import TempoRow

_MARK = re.compile(r"(<per-minute\b[^<>]{0,200}>)([^<>]{1,80})(</per-minute\s*>)")
_NUMBER = re.compile(r"\d{1,4}(?:[.,]\d{1,3})?")
_RANGE = re.compile(rf"({_NUMBER.pattern})\s*(?:[-\u2010-\u2015\u2212~/]|to|bis|à|a)\s*({_NUMBER.pattern})", re.I)


def beats_a_minute(text: str) -> float | None:
    """The tempo that a printed mark asks for: 'c. 60' is 60, '60-70' the middle, 65; None where it names none."""
    between = _RANGE.search(text)
    if between:
        return (_value(between[1]) + _value(between[2])) / 2
    found = _NUMBER.search(text)
    return _value(found[0]) if found else None


def with_plain_numbers(document: str) -> str:
    """A MusicXML document in which every metronome mark is a plain number, as far as it names one."""
    return _MARK.sub(_plainly, document)


def _plainly(mark: re.Match[str]) -> str:
    value = beats_a_minute(unescape(mark[2]))
    return mark[0] if value is None else f"{mark[1]}{value:g}{mark[3]}"


def _value(digits: str) -> float:
    return float(digits.replace(",", "."))


def _alternatives(found: Mapping[str, float]) -> str:
    return "|".join(sorted(map(re.escape, found), key=len, reverse=True))


_SIGNS: dict[str, float] = {
    "\u2669": 1.0, "\u266a": 0.5,
    **{normalize("NFD", chr(0x1D15D + n)): 4.0 / 2**n for n in range(5)},
    **{chr(0xE1D2): 4.0, **{chr(0xE1D3 + n): 2.0 / 2 ** (n // 2) for n in range(8)}},
    **{chr(0xECA2): 4.0, **{chr(0xECA3 + n): 2.0 / 2 ** (n // 2) for n in range(8)}},
}  # fmt: skip
"""Signs of notes from the whole to the sixteenth, and their lengths in quarters; taken apart as NFD does."""
_NAMES: dict[str, float] = {
    "whole": 4.0, "semibreve": 4.0, "ganze": 4.0, "ronde": 4.0, "half": 2.0, "minim": 2.0, "halbe": 2.0,
    "blanche": 2.0, "minima": 2.0, "quarter": 1.0, "crotchet": 1.0, "viertel": 1.0, "noire": 1.0, "semiminima": 1.0,
    "eighth": 0.5, "quaver": 0.5, "achtel": 0.5, "croche": 0.5, "croma": 0.5, "sixteenth": 0.25, "semiquaver": 0.25,
    "sechzehntel": 0.25, "h": 2.0, "q": 1.0, "e": 0.5,
}  # fmt: skip
"""Names of notes in English, German, French and Italian, and the letters that older music fonts draw as notes."""
_DOT = "[.\u00b7\ue1e7\ue1fc\uecb7\U0001d16d]"
_ABOUT = r"(?:(?:ca|circa|c|approx|about|etwa|environ)\.?|[~\u2248])?\s?"
_COUNT = rf"({_RANGE.pattern}|{_NUMBER.pattern})(?![\d%])"
_EQUAL = re.compile(
    rf"(?P<before>\b(?:dotted|punktierte)\s)?(?:(?P<sign>{_alternatives(_SIGNS)})|\b(?P<name>{_alternatives(_NAMES)}))"
    rf"(?:\s?note)?(?P<after>\s?{_DOT}|\s(?:pointe\u0301?e?|puntata))?\s{{0,3}}[=\u2248~]\s{{0,3}}{_ABOUT}(?P<count>{_COUNT})",
    re.I,
)
_BEATS = re.compile(
    rf"\bM\.?\s?M\.?\s?=?\s?{_ABOUT}(?P<mark>{_COUNT})|\bbpm\s?[=:]?\s?(?P<named>{_COUNT})"
    rf"|(?<![\d.,])(?P<count>{_COUNT})\s?(?:bpm\b|b\.p\.m\.|beats\s(?:per|a)\sminute)",
    re.I,
)
_SLOWEST, _FASTEST = 10.0, 600.0
"""Quarters a minute that words are believed (choices of ours)."""
_LONGEST_WORDS = 200
"""Characters of a direction in words in which a mark is looked for."""


def tempo_in_words(text: str, beat: float) -> float | None:
    """Quarters a minute that a direction in words names; None where it names none.

    'Andante (♩ = 66)', 'dotted quarter = ca. 60', 'M.M. 72', '72 bpm'. Beats that are no named note are those of the
    metre.

    Args:
        text: The words as the file has them.
        beat: Length of a beat there, in quarters.
    """
    words = normalize("NFD", text[:_LONGEST_WORDS])
    found = _EQUAL.search(words)
    if found:
        unit = _SIGNS[found["sign"]] if found["sign"] else _NAMES[found["name"].lower()]
        dotted = bool(found["before"] or found["after"])
        count, length = found["count"], unit * 1.5 if dotted else unit
    else:
        found = _BEATS.search(words)
        if not found:
            return None
        count, length = found["mark"] or found["named"] or found["count"], beat
    value = (beats_a_minute(count) or 0.0) * length
    return round(value, 3) if _SLOWEST <= value <= _FASTEST else None


def tempos_in_words(
    words: Mapping[tuple[float, int], Sequence[str]], beat_at: Callable[[float], float]
) -> list[TempoRow]:
    """Tempo marks that directions in words name.

    Args:
        words: For each place (offset in quarters, part) the pieces printed there, in order: a note and its number may
            be pieces of their own.
        beat_at: Length of a beat at an offset, in quarters.
    """
    rows = []
    for (at, _), pieces in sorted(words.items()):
        told = (tempo_in_words(text, beat_at(at)) for text in (*pieces, " ".join(pieces)))
        bpm = next((value for value in told if value is not None), None)
        if bpm is not None:
            rows.append(TempoRow(at, bpm))
    return rows
