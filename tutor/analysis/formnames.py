"""Names of forms, from the letters of the sung sections, the words and the repeats.

Terms: AABA, ABAC, verse and chorus, refrain and strophic song after Open Music Theory's pop-rock form (seen) and
A. Forte, The American Popular Ballad of the Golden Era (1995; recalled); binary, ternary and rondo are common usage.
A refrain is repeated words inside a strophe; a chorus is a section of its own with the same words.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from tutor.analysis.columns import Line
from tutor.analysis.findings import Section
from tutor.music.table import NoteTable

_WORD = re.compile(r"[^\W\d_]+")
_SAME_WORDS = 0.6


def name_form(table: NoteTable, line: Line, sections: Sequence[Section]) -> tuple[str, str]:
    """(name, extension) of a layout; see the module's terms."""
    sung = [s for s in sections if s.label.isupper()]
    letters = "".join(s.label for s in sung)
    if not letters:
        return "instrumental", ""
    words = [_words(line, s) for s in sung]
    if len(set(letters)) == 1:
        return _one_letter(table, line, sung, words), ""
    if letters in ("ABACA", "ABACABA"):
        return "rondo", ""
    for whole in ("AABA", "ABAC"):
        if letters.startswith(whole):
            rest = letters[len(whole) :]
            if rest in ("", "A", "BA", "C", "BABA"):
                return whole, rest
            if rest == whole:
                return whole, ""
    if _sounds_again_whole(table, sung):
        return _strophes(line, sung), ""
    verse = _verse_before_refrain(letters)
    if verse:
        return verse
    chorus = _chorus(sung, words)
    if chorus:
        return chorus, ""
    short = re.sub(r"(.)\1+", r"\1", letters)
    if short == "ABA":
        return "ternary", ""
    if short == "AB":
        return "binary", ""
    if len(set(letters)) == len(letters):
        return "through-composed", ""
    return letters, ""


def _one_letter(table: NoteTable, line: Line, sung: Sequence[Section], words: Sequence[list[str]]) -> str:
    """One letter alone: strophes (written out, repeated or under several verses), or a single section."""
    times = _passes(table, sung[0])
    verses = 1 + max((len(r.verses) for r in line.rows), default=0)
    if len(sung) == 1 and times == 1 and verses == 1:
        return "one section"
    if len(sung) > 1 and _refrain(words):
        return "verse and refrain"
    return "strophic"


def _sounds_again_whole(table: NoteTable, sung: Sequence[Section]) -> bool:
    """True where all that is sung, from the first section to the last, is repeated as one strophe."""
    middles = [(s.start + s.end) / 2 for s in sung]
    heard = [k for o in table.order for k, at in enumerate(middles) if o.start_quarters <= at < o.end_quarters]
    return len(heard) > len(sung) and heard == list(range(len(sung))) * (len(heard) // len(sung))


def _strophes(line: Line, sung: Sequence[Section]) -> str:
    """'verse and chorus' where the last section has the same words after every verse of the others."""
    rows = [[line.rows[i] for i in line.inside(s.start, s.end)] for s in sung]
    verses = [1 + max((len(r.verses) for r in inside), default=0) for inside in rows]
    return "verse and chorus" if min(verses[:-1]) > 1 and verses[-1] == 1 else "strophic"


def _passes(table: NoteTable, section: Section) -> int:
    """How often the middle of a section sounds."""
    middle = (section.start + section.end) / 2
    return max(1, sum(o.start_quarters <= middle < o.end_quarters for o in table.order))


def _words(line: Line, section: Section) -> list[str]:
    """The syllables of a section as lower-case words."""
    text = " ".join(line.rows[i].syllable for i in line.inside(section.start, section.end) if line.rows[i].syllable)
    return _WORD.findall(text.lower())


def _same_words(one: Sequence[str], two: Sequence[str]) -> float:
    """Share of words two sections have in common, place by place from the front."""
    if not one or not two:
        return 0.0
    shared = sum(a == b for a, b in zip(one, two, strict=False))
    return shared / max(len(one), len(two))


def _refrain(words: Sequence[list[str]]) -> bool:
    """True where all strophes end with the same four or more words but are not the same throughout."""
    if any(len(w) < 8 for w in words):
        return False
    same_end = all(w[-4:] == words[0][-4:] for w in words)
    return same_end and all(_same_words(words[0], w) < _SAME_WORDS for w in words[1:])


def _chorus(sung: Sequence[Section], words: Sequence[list[str]]) -> str:
    """'verse and chorus' where one letter returns with its words and another returns with new ones."""
    by_letter: dict[str, list[list[str]]] = {}
    for section, text in zip(sung, words, strict=True):
        by_letter.setdefault(section.label, []).append(text)
    kept = {k for k, v in by_letter.items() if len(v) > 1 and all(_same_words(v[0], w) >= _SAME_WORDS for w in v[1:])}
    fresh = {
        k for k, v in by_letter.items() if len(v) > 1 and all(w for w in v) and
        any(_same_words(v[0], w) < _SAME_WORDS for w in v[1:])
    }  # fmt: skip
    if kept and fresh:
        return "verse and chorus"
    letters = re.sub(r"(.)\1+", r"\1", "".join(s.label for s in sung))
    no_text = not any(words)
    pattern = re.fullmatch(r"(AB){2,}(CB)?B?|(ABC){2,}(DC|C)?|(AB)+C(B)+", letters)
    return "verse and chorus" if no_text and pattern else ""


def _verse_before_refrain(letters: str) -> tuple[str, str] | None:
    """An opening verse that never returns, then a refrain in a form of its own."""
    for lead in (1, 2):
        head, body = letters[:lead], letters[lead:]
        if len(set(head)) != 1 or head[0] in body:
            continue
        canon = _canonical(body)
        for whole in ("AABA", "ABAC"):
            if canon.startswith(whole) and canon[len(whole) :] in ("", "A", "BA", "C", whole):
                return "verse and refrain", canon
    return None


def _canonical(letters: str) -> str:
    order: dict[str, str] = {}
    return "".join(order.setdefault(c, chr(ord("A") + len(order))) for c in letters)
