"""Metronome marks in MusicXML that are more than a number, which music21 drops: 'c. 60', '60-70'.

MusicXML lets any text stand where the beats a minute are named (type per-minute of MusicXML 4.0: a string).
"""

from __future__ import annotations

import re
from html import unescape

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
