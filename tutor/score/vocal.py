"""Which line is sung: by text, then part names, then instrument, then register.

The order is a choice of the project; each step is common practice in reading a song from a file.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from tutor.errors import ScoreError
from tutor.music.table import NoteRow, NoteTable, PartRow, Role

_UPPER = re.compile(r"\b(soprano?s?|sopr?\.?|canto|cantus|superius|discant(us)?|treble voice|descant)\b", re.I)
_VOCAL = re.compile(
    r"(voice|vocal|vox\b|sing(stimme|er)|gesang|stimme\b|chant\b|canto?\b|voc[ei]\b|voix\b|melod|song ?line|lead\b"
    r"|sopran|\bsop\.?\b|mezzo|contralto|\balto?s?\b|\btenor[es]?\b|\bten\.|bariton|\bbass(o|us|es)?\b|\bchoir|\bchorus"
    r"|cantus|superius)",
    re.I,
)
_INSTRUMENT = re.compile(
    r"(sax|clarinet|flute|recorder|guitar|trombone|trumpet|horn|violin|viola|cello|string|organ|drum|synth|pad\b"
    r"|electric|acoustic|double|contra ?bass|bass ?(line|gtr)|slap|fretless|fingered|picked|bassoon|oboe|glockenspiel)",
    re.I,
)
_KEYBOARD = re.compile(
    r"(piano|klavier|pianoforte|keyboard|\bpno|\bpf\.?\b|organ|harpsichord|celesta|cembalo|harmonium|accomp|begleitung"
    r"|\brh\b|\blh\b|right hand|left hand|guitar|harp|lute|ukulele|strings)",
    re.I,
)
_VOICE_PROGRAMS = (52, 53, 54, 85)
"""General MIDI (MIDI Manufacturers Association, 1991), from 0: choir aahs, voice oohs, synth voice, lead voice."""
_KEYBOARD_PROGRAMS = range(0, 8)
"""General MIDI: pianos, harpsichord, clavinet."""


@dataclass(frozen=True, slots=True)
class PartFacts:
    """What the choice rests on."""

    part: PartRow
    notes: int
    syllables: int
    chordal: float
    """Share of its notes that start together with another of the part."""
    middle: float
    """Median MIDI number."""
    span: int
    """Semitones from lowest to highest."""
    keyboard: bool
    """Named a keyboard, or one staff of two."""


def part_facts(parts: Sequence[PartRow], notes: Sequence[NoteRow], staves: Sequence[bool]) -> list[PartFacts]:
    """Describe each part.

    Args:
        parts: The parts, roles not yet settled.
        notes: All notes.
        staves: For each part, whether it is one staff of a larger instrument.
    """
    facts = []
    for index, part in enumerate(parts):
        mine = [n for n in notes if n.part == index and not n.grace]
        midis = sorted(n.midi for n in mine)
        onsets = {n.onset_quarters for n in mine}
        named = bool(_KEYBOARD.search(part.name)) and not re.search(r"voice|vocal|sing|gesang", part.name, re.I)
        facts.append(
            PartFacts(
                part=part,
                notes=len(mine),
                syllables=sum(1 for n in notes if n.part == index and (n.syllable or n.verses)),
                chordal=1 - len(onsets) / len(mine) if mine else 0.0,
                middle=midis[len(midis) // 2] if midis else 0.0,
                span=midis[-1] - midis[0] if midis else 0,
                keyboard=staves[index] or named,
            )
        )
    return facts


def choose(facts: Sequence[PartFacts]) -> tuple[int | None, str]:
    """The sung part and a line to warn with (empty when the choice is plain)."""
    singing = [i for i, f in enumerate(facts) if f.notes]
    most = max((facts[i].syllables for i in singing), default=0)
    with_text = [i for i in singing if facts[i].syllables and facts[i].syllables >= 0.2 * most]
    named = [i for i in singing if _is_vocal(facts[i])]
    if with_text:
        quartet = len(named) >= 3 and all(i in named for i in with_text)
        return _top(facts, named if quartet else with_text), ""
    if named:
        return _top(facts, named), ""
    by_program = [i for i in singing if facts[i].part.program in _VOICE_PROGRAMS]
    if by_program:
        return _top(facts, by_program), ""
    return _by_register(facts, singing)


def _is_vocal(facts: PartFacts) -> bool:
    name = facts.part.name
    return bool(_VOCAL.search(name)) and not _INSTRUMENT.search(name) and not facts.keyboard


def _top(facts: Sequence[PartFacts], among: list[int]) -> int:
    """The part named soprano, else the one that lies highest; the first printed wins a tie."""
    upper = [i for i in among if _UPPER.search(facts[i].part.name)]
    pool = upper or among
    return min(pool, key=lambda i: (-facts[i].middle, i)) if not upper else pool[0]


def _by_register(facts: Sequence[PartFacts], singing: list[int]) -> tuple[int | None, str]:
    """A single line on top of the score that a voice could sing."""
    lines = [
        i
        for i in singing
        if facts[i].chordal < 0.02 and 40 <= facts[i].middle <= 84 and facts[i].span <= 31 and not _one_of_two(facts, i)
    ]
    top = max((facts[i].middle for i in singing), default=0.0)
    lines = [i for i in lines if facts[i].middle >= top - 1e-9]
    if not lines:
        return None, ""
    name = facts[lines[0]].part.name
    called = f"the part '{name}'" if name else "the top line"
    return lines[0], f"no text and no part named for a voice: {called} is read as the sung line"


def _one_of_two(facts: Sequence[PartFacts], index: int) -> bool:
    """One hand of a keyboard: a keyboard part with another beside it and nothing else in the score."""
    return facts[index].keyboard and sum(1 for f in facts if f.notes and f.keyboard) > 1


def roles(facts: Sequence[PartFacts], voice: int | None) -> list[Role]:
    """What each part does, once the sung part is known."""
    found: list[Role] = []
    for index, fact in enumerate(facts):
        if index == voice:
            found.append("voice")
        elif not fact.notes or (fact.syllables and not fact.keyboard) or _is_vocal(fact):
            found.append("other")
        else:
            found.append("accompaniment")
    return found


def settle(
    parts: Sequence[PartRow], notes: Sequence[NoteRow], staves: Sequence[bool], override: str | None
) -> tuple[tuple[PartRow, ...], list[str]]:
    """Give every part its role.

    Args:
        parts: The parts.
        notes: All notes.
        staves: For each part, whether it is one staff of a larger instrument.
        override: Id of the sung part as the user says, or None.

    Raises:
        ScoreError: no part has the id given.
    """
    facts = part_facts(parts, notes, staves)
    if override is not None:
        voice = next((i for i, p in enumerate(parts) if p.id == override), None)
        if voice is None:
            known = ", ".join(p.id for p in parts)
            raise ScoreError(f"no part is called '{override}'", remedy=f"Choose one of: {known}")
        warning = ""
    else:
        voice, warning = choose(facts)
    settled = tuple(replace(p, role=r) for p, r in zip(parts, roles(facts, voice), strict=True))
    return settled, [warning] if warning else []


def require_voice(table: NoteTable, where: str = "") -> int:
    """Index of the sung part.

    Raises:
        ScoreError: the score has no line that can be sung.
    """
    voice = table.voice_part
    if voice is None:
        raise ScoreError(
            "no line in this score can be sung",
            where=where or table.title,
            remedy="Open a song with a voice part, or name the sung part yourself",
        )
    return voice
