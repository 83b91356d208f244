"""Words under the notes of typed scores, which music21 leaves out.

ABC: the ``w:`` lines of the ABC standard 2.1 (recalled): syllables are parted by spaces or ``-``, ``_`` holds the last
one, ``*`` passes a note over, ``~`` joins two words under one note, ``|`` goes to the next bar; every line after the
first under the same music is a further verse. Rests and grace notes take no syllable, tied notes do.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

_NOTE = re.compile(r"\[[^\]\[]*[A-Ga-g][^\]\[]*\]|[\^_=]*[A-Ga-g][,']*|\|")
_NOISE = re.compile(r"\"[^\"\n]*\"|![^!\n]*!|\+[^+\n]*\+|\{[^}\n]*\}|\[[A-Za-z]:[^\]\n]*\]|\[[1-9][^|\n\s]*|%.*$")
_SYLLABLE = re.compile(r"\\-|[^\s\-_*|]+|[-_*|]")
MAX_VERSES = 20


def kern_with_staves(text: str) -> str:
    """Kern in which every spine names its staff, without which music21 drops the words beside it."""
    lines = text.splitlines()
    first = next((i for i, line in enumerate(lines) if line.startswith("**")), None)
    if first is None or "**text" not in lines[first] or "*staff" in text:
        return text
    staff, names = 0, []
    for spine in lines[first].split("\t"):
        staff += spine.startswith("**kern")
        names.append(f"*staff{max(staff, 1)}")
    lines.insert(first + 1, "\t".join(names))
    return "\n".join([*lines, ""])


def add_abc_words(text: str, score: Any) -> str:
    """Put the words of an ABC tune on the notes of its music21 score, in place.

    Args:
        text: The tune.
        score: What music21 made of it.

    Returns:
        A line for the user where the words cannot be placed; empty when all is well.
    """
    if not re.search(r"^w:", text, re.M):
        return ""
    notes = [n for n in score.recurse().notes if "ChordSymbol" not in n.classes and not n.duration.isGrace]
    placed, count = _placed(text)
    if count != len(notes) or re.search(r"^V:|\[V:", text, re.M):
        return "the words under the notes could not be placed"
    for index, verse, syllable, syllabic in placed:
        notes[index].addLyric(syllable, lyricNumber=verse, applyRaw=True)
        notes[index].lyrics[-1].syllabic = syllabic
    return ""


def _placed(tune: str) -> tuple[list[tuple[int, int, str, str]], int]:
    """Index of the note, verse, syllable and how it is joined, for every syllable; and how many notes there are."""
    placed: list[tuple[int, int, str, str]] = []
    count = verse = 0
    line: list[int] = []
    bars: list[int] = []
    for raw in tune.splitlines():
        if raw.startswith("w:"):
            verse += 1
            if verse <= MAX_VERSES:
                placed += [(line[at], verse, text, how) for at, text, how in _syllables(raw[2:], len(line), bars)]
        elif not re.match(r"\s*([A-Za-z+]:|%|$)", raw):
            verse, line, bars = 0, [], []
            for found in _NOTE.finditer(_NOISE.sub(" ", raw)):
                if found[0] == "|":
                    bars.append(len(line))
                else:
                    line.append(count)
                    count += 1
    return placed, count


def _syllables(words: str, notes: int, bars: list[int]) -> Iterator[tuple[int, str, str]]:
    """Place in the line, syllable and how it is joined."""
    at, open_word = 0, False
    tokens = [token.replace("\\-", "-") for token in _SYLLABLE.findall(words.replace("\\-", "\u2011"))]
    for number, token in enumerate(tokens):
        if token == "|":
            at = next((bar for bar in bars if bar > at or (bar == at and at)), at)
            continue
        if token == "-":
            if number and tokens[number - 1] == "-":
                at += 1
            continue
        if at >= notes:
            return
        if token in ("_", "*"):
            at += 1
            continue
        after = tokens[number + 1] if number + 1 < len(tokens) else ""
        joined = after == "-"
        syllabic = {(False, False): "single", (False, True): "begin", (True, True): "middle"}
        syllable = token.replace("~", " ").replace("\u2011", "-")
        yield at, syllable, syllabic.get((open_word, joined), "end")
        open_word = joined
        at += 1
