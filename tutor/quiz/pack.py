"""A quiz: items chosen once, frozen with their music, answers and explanations.

A pack is one JSON file. It carries everything that is shown, heard and explained, so it needs neither the songs nor
the drills it was made from. A pack from somebody else is untrusted: `loads` takes nothing that is not of known shape
and size.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from tutor.errors import PackError, plain
from tutor.music.phrase import Phrase
from tutor.practice.drill import Choice, Excerpt

Reveal = Literal["at once", "at the end"]
SCHEMA = 1
MOST_BYTES = 8_000_000
MOST_ITEMS = 100
MOST_TONES = 2_000
MOST_TEXT = 4_000
MOST_SECONDS = 600.0
"""Longest excerpt: a whole song fits, a clip that would fill the memory does not."""
MOST_EXCERPTS = 6
MOST_CHOICES = 8


@dataclass(frozen=True, slots=True)
class PackItem:
    """One question of a quiz."""

    drill: str
    skill: str
    level: float
    """Difficulty, 0 to 1."""
    prompt: str
    source: str
    """'Bars 9–12 of “Title”', or 'fresh'."""
    heard: tuple[Excerpt, ...]
    """Played in turn."""
    seen: tuple[Excerpt, ...]
    """Drawn before the answer."""
    choices: tuple[Choice, ...]
    right: str
    """Label of the right choice."""
    explanation: str
    evidence: tuple[Excerpt, ...]
    """Drawn with the explanation."""

    @property
    def right_text(self) -> str:
        """The right choice as shown."""
        return next(c.text for c in self.choices if c.label == self.right)


@dataclass(frozen=True, slots=True)
class Pack:
    """A whole quiz."""

    title: str
    introduction: str
    reveal: Reveal
    """When the explanation is shown."""
    seed: int
    """Seed it was made from."""
    items: tuple[PackItem, ...]

    @property
    def id(self) -> str:
        """Ten hexadecimal figures of the content: another quiz, another id."""
        text = json.dumps(_raw(self), sort_keys=True, ensure_ascii=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:10]

    def without(self, index: int) -> Pack:
        """The pack less one item."""
        return replace(self, items=self.items[:index] + self.items[index + 1 :])

    def moved(self, index: int, to: int) -> Pack:
        """The pack with one item at another place."""
        items = list(self.items)
        items.insert(to, items.pop(index))
        return replace(self, items=tuple(items))

    def with_item(self, index: int, item: PackItem) -> Pack:
        """The pack with one item replaced."""
        return replace(self, items=(*self.items[:index], item, *self.items[index + 1 :]))


def dumps(pack: Pack) -> str:
    """A pack as JSON text."""
    return json.dumps(_raw(pack), ensure_ascii=False, indent=1)


def loads(text: str, where: str = "") -> Pack:
    """Read a pack that may come from anybody.

    Args:
        text: the file's text.
        where: name of the file, for the message.

    Raises:
        PackError: it is no pack of known shape and size; the line names the item.
    """
    if len(text) > MOST_BYTES:
        raise _refused("the file is too large to be a quiz", where)
    try:
        raw = json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise _refused("this is not a quiz file", where) from error
    if not isinstance(raw, dict) or raw.get("kind") != "larkstair quiz":
        raise _refused("this is not a quiz file", where)
    if raw.get("schema") != SCHEMA:
        raise PackError("another version of Larkstair made this quiz", where=where, remedy="Make it again here")
    items = _list(raw, "items", MOST_ITEMS, where)
    if not items:
        raise _refused("the quiz holds no question", where)
    reveal: Reveal = "at the end" if raw.get("reveal") == "at the end" else "at once"
    seed = raw.get("seed")
    return Pack(
        title=_text(raw, "title", where),
        introduction=_text(raw, "introduction", where),
        reveal=reveal,
        seed=seed if isinstance(seed, int) and abs(seed) < 1 << 63 else 0,
        items=tuple(_item(item, f"{where}, question {n}") for n, item in enumerate(items, start=1)),
    )


def _raw(pack: Pack) -> dict[str, Any]:
    return {
        "kind": "larkstair quiz",
        "schema": SCHEMA,
        "title": pack.title,
        "introduction": pack.introduction,
        "reveal": pack.reveal,
        "seed": pack.seed,
        "items": [
            {
                "drill": i.drill,
                "skill": i.skill,
                "level": i.level,
                "prompt": i.prompt,
                "source": i.source,
                "heard": [_excerpt_out(e) for e in i.heard],
                "seen": [_excerpt_out(e) for e in i.seen],
                "choices": [{"label": c.label, "text": c.text} for c in i.choices],
                "right": i.right,
                "explanation": i.explanation,
                "evidence": [_excerpt_out(e) for e in i.evidence],
            }
            for i in pack.items
        ],
    }


def _excerpt_out(excerpt: Excerpt) -> dict[str, Any]:
    return {"caption": excerpt.caption, "phrase": excerpt.phrase.to_json()}


def _item(raw: object, where: str) -> PackItem:
    if not isinstance(raw, dict):
        raise _refused("a question is of another shape", where)
    choices = tuple(
        Choice(_text(c, "label", where), _text(c, "text", where)) for c in _list(raw, "choices", MOST_CHOICES, where)
    )
    labels = [c.label for c in choices]
    right = _text(raw, "right", where)
    if len(choices) < 2 or len(set(labels)) != len(labels) or labels.count(right) != 1:
        raise _refused("the choices do not hold exactly one right answer", where)
    level = raw.get("level")
    return PackItem(
        drill=_text(raw, "drill", where),
        skill=_text(raw, "skill", where),
        level=float(level) if isinstance(level, int | float) and 0 <= level <= 1 else 0.0,
        prompt=_text(raw, "prompt", where),
        source=_text(raw, "source", where),
        heard=_excerpts(raw, "heard", where),
        seen=_excerpts(raw, "seen", where),
        choices=choices,
        right=right,
        explanation=_text(raw, "explanation", where),
        evidence=_excerpts(raw, "evidence", where),
    )


def _excerpts(raw: Mapping[str, Any], key: str, where: str) -> tuple[Excerpt, ...]:
    return tuple(
        Excerpt(_text(e, "caption", where), _music(e.get("phrase"), where))
        for e in _list(raw, key, MOST_EXCERPTS, where)
    )


def _music(raw: Any, where: str) -> Phrase:
    try:
        return _phrase(raw)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, OverflowError) as error:
        raise _refused("its music cannot be read", where) from error


def _phrase(raw: Any) -> Phrase:
    if len(raw["tones"]) > MOST_TONES or len(raw["figures"]) > MOST_TONES:
        raise ValueError("too many notes")
    phrase = Phrase.from_json(raw)
    for tone in phrase.tones:
        inside = (
            0 <= tone.onset_quarters <= 4_000
            and 0 <= tone.duration_quarters <= 256
            and 12 <= tone.midi <= 120
            and abs(tone.pitch.alter) <= 3
            and 0 <= tone.velocity <= 1
            and tone.line in ("voice", "upper", "lower", "click")
        )
        if not inside or len(tone.syllable) > 80 or len(tone.mark) > 20:
            raise ValueError("a note out of bounds")
    metre = (phrase.numerator, phrase.denominator)
    if not (20 <= phrase.bpm <= 400 and 1 <= metre[0] <= 32 and metre[1] in (1, 2, 4, 8, 16, 32)):
        raise ValueError("tempo or metre out of bounds")
    if not (-7 <= phrase.fifths <= 7 and 0 <= phrase.pickup_quarters <= 32 and phrase.length_quarters <= 512):
        raise ValueError("signature or length out of bounds")
    if phrase.length_s > MOST_SECONDS:
        raise ValueError("too long")
    return replace(
        phrase,
        tones=tuple(replace(t, syllable=plain(t.syllable), mark=plain(t.mark)) for t in phrase.tones),
        figures=tuple((at, plain(text)[:40]) for at, text in phrase.figures),
        first_bar=plain(phrase.first_bar)[:12],
    )


def _list(raw: Mapping[str, Any], key: str, most: int, where: str) -> list[Any]:
    found = raw.get(key)
    if not isinstance(found, list) or not all(isinstance(x, dict) for x in found):
        raise _refused(f"“{key}” is of another shape", where)
    if len(found) > most:
        raise _refused(f"“{key}” holds more than {most}", where)
    return found


def _text(raw: Mapping[str, Any], key: str, where: str) -> str:
    found = raw.get(key)
    if not isinstance(found, str) or len(found) > MOST_TEXT:
        raise _refused(f"“{key}” is missing or too long", where)
    return plain(found)


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _refused(what: str, where: str) -> PackError:
    return PackError(what, where=where, remedy="Ask for the file again; nothing was taken from it")
