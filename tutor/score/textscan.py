"""A first pass over scores typed as text (ABC, kern): are their metres and lengths such as music has.

The reader proper can work for minutes on a metre such as 4/3 or a note of a million beats.
"""

from __future__ import annotations

import re

from tutor.errors import ScoreError, plain
from tutor.score import limits

_ABC_METRE = re.compile(r"(?:^|\[)\s*M:\s*([^\]\n%]*)", re.M)
_ABC_UNIT = re.compile(r"(?:^|\[)\s*L:\s*([^\]\n%]*)", re.M)
_KERN_METRE = re.compile(r"\*M(\d[^\t\n]*)")
_FRACTION = re.compile(r"[( ]*(\d{1,2}(?:\s*\+\s*\d{1,2})*)[) ]*/\s*(\d{1,3})")
_POWERS = (1, 2, 4, 8, 16, 32, 64)


def scan(text: str, fmt: str, name: str) -> None:
    """Look through a typed score before it is read.

    Args:
        text: The file's text.
        fmt: 'abc' or 'kern'.
        name: The file's name, for messages.

    Raises:
        ScoreError: it is too large, or a metre or length makes no sense.
    """
    if len(text) > limits.MAX_TEXT_BYTES:
        raise ScoreError("the file is too large for a song", where=name, remedy="Keep only this song")
    if text.count("\n=" if fmt == "kern" else "|") > limits.MAX_BARS * 4:
        raise ScoreError(f"the score has more than {limits.MAX_BARS:,} bars", where=name, remedy="Keep only this song")
    for metre in (_KERN_METRE if fmt == "kern" else _ABC_METRE).findall(text):
        if not _is_metre(metre.strip()):
            raise ScoreError(f"'{plain(metre)[:20]}' is no metre", where=name, remedy="Write the metre as 3/4 or 6/8")
    if fmt == "abc":
        _check_lengths(text, name)
    elif any(int(digits) > 2048 for digits in re.findall(r"(?:^|\t)[^!*=\t\n]*?(\d{3,9})", text, re.M)):
        raise ScoreError("a note or rest has a length that makes no sense", where=name, remedy="Mend the file")


def first_tune(text: str) -> tuple[str, int]:
    """The first piece of an ABC file, with what stands before it, and how many pieces there are."""
    starts = [found.start() for found in re.finditer(r"^\s*X:", text, re.M)]
    return (text[: starts[1]] if len(starts) > 1 else text), max(len(starts), 1)


def _is_metre(text: str) -> bool:
    if text in ("C", "C|", "none", ""):
        return True
    found = _FRACTION.fullmatch(text)
    if not found:
        return False
    upper = sum(int(piece) for piece in found[1].split("+"))
    return 1 <= upper <= 64 and int(found[2]) in _POWERS


def _check_lengths(text: str, name: str) -> None:
    for unit in _ABC_UNIT.findall(text):
        found = _FRACTION.fullmatch(unit.strip())
        if not found or not 1 <= int(found[1].split("+")[0]) <= 4 or int(found[2]) not in (*_POWERS, 128):
            raise ScoreError(f"'{plain(unit)[:20]}' is no length of a note", where=name, remedy="Write it as L:1/8")
    music = re.sub(r"^\s*(?:[A-Za-z+]:|%).*$|\"[^\"\n]*\"|![^!\n]*!|\[[A-Za-z]:[^\]\n]*\]", " ", text, flags=re.M)
    if re.search(r"\d{4}|/{7}", music) or any(int(d) > 128 for d in re.findall(r"[A-Ga-gxyzZ,']\s*(\d{3})", music)):
        raise ScoreError("a note or rest has a length that makes no sense", where=name, remedy="Mend the file")
