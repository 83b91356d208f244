"""What one item holds, and how it is asked and judged: the same for every drill.

A drill draws a Sheet; the Sheet becomes the item's payload (JSON values only) and is enough to show the question,
judge an answer and explain it, long after the material is gone.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, pretty
from tutor.music.take import SungNote, Take
from tutor.practice import marking
from tutor.practice.drill import Answer, Ask, Choice, Excerpt, Item, Mark, Question


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything about one item."""

    prompt: str
    ask: Ask
    right: str
    """Label of the right answer, for the confusion table."""
    words: str
    """The right answer in words."""
    why: str
    """The explanation, without the verdict."""
    shown: Excerpt
    """The evidence, with the telling notes marked."""
    heard: tuple[Excerpt, ...] = ()
    seen: tuple[Excerpt, ...] = ()
    choices: tuple[Choice, ...] = ()
    contrasts: Mapping[str, Excerpt] = field(default_factory=dict)
    """For a label, how that answer would have sounded."""
    near: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    """For a label, the partial credit it earns and why."""
    wanted: tuple[tuple[int, float, float], ...] = ()
    """For 'notes' and 'take': MIDI number, onset and length in quarters. For 'marks': the onset is the place."""
    in_order: bool = True
    any_octave: bool = False
    rhythm: bool = False
    cents: float = marking.NEAREST_CENTS
    tap_quarters: float = marking.TAP_QUARTERS
    bpm: float = 96.0
    also: tuple[Ask, ...] = ()
    source: str = "fresh"
    song_id: str = ""
    hint: str = ""

    def to_json(self) -> dict[str, Any]:
        """A plain value; `from_json` gives the sheet back equal."""
        return {
            "prompt": self.prompt, "ask": self.ask, "right": self.right, "words": self.words, "why": self.why,
            "shown": _pack(self.shown), "heard": [_pack(e) for e in self.heard], "seen": [_pack(e) for e in self.seen],
            "choices": [[c.label, c.text] for c in self.choices],
            "contrasts": {k: _pack(e) for k, e in self.contrasts.items()},
            "near": {k: list(v) for k, v in self.near.items()}, "wanted": [list(w) for w in self.wanted],
            "in_order": self.in_order, "any_octave": self.any_octave, "rhythm": self.rhythm, "cents": self.cents,
            "tap_quarters": self.tap_quarters, "bpm": self.bpm, "also": list(self.also), "source": self.source,
            "song_id": self.song_id, "hint": self.hint,
        }  # fmt: skip

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Sheet:
        """Rebuild a sheet from `to_json`."""
        made = {
            "shown": _unpack(raw["shown"]),
            "heard": tuple(_unpack(e) for e in raw["heard"]),
            "seen": tuple(_unpack(e) for e in raw["seen"]),
            "choices": tuple(Choice(label, text) for label, text in raw["choices"]),
            "contrasts": {k: _unpack(e) for k, e in raw["contrasts"].items()},
            "near": {k: (float(v[0]), str(v[1])) for k, v in raw["near"].items()},
            "wanted": tuple((int(m), float(o), float(d)) for m, o, d in raw["wanted"]),
            "also": tuple(raw["also"]),
        }
        return cls(**{**raw, **made})

    def question(self) -> Question:
        """What is shown and played."""
        return Question(
            prompt=self.prompt, ask=self.ask, heard=self.heard, seen=self.seen, choices=self.choices,
            source=self.source, hint=self.hint, notes_wanted=max(1, len(self.wanted)),
            in_order=self.in_order and len(self.wanted) > 1, also=self.also,
        )  # fmt: skip

    def answer(self) -> Answer:
        """A fully right answer."""
        if self.ask == "choice":
            return Answer(choice=self.right)
        if self.ask == "marks":
            return Answer(marks=tuple(o for _, o, _ in self.wanted))
        if self.ask == "notes":
            return Answer(notes=tuple(m for m, _, _ in self.wanted))
        second = 60.0 / self.bpm
        notes = tuple(SungNote(o * second, d * second, float(m)) for m, o, d in self.wanted)
        return Answer(take=Take(notes=notes))

    def mark(self, answer: Answer) -> Mark:
        """Judge an answer."""
        if self.ask == "choice":
            return self._mark_choice(answer.choice)
        if self.ask == "marks":
            judged = marking.tapped(answer.marks, [o for _, o, _ in self.wanted], self.tap_quarters)
            return self._mark_judged(judged, self.shown)
        if answer == Answer():
            return Mark(0.0, self.words, self.why, (self.shown,), "", self.right)
        if answer.take is not None:
            judged = marking.sung(
                answer.take, self.wanted, bpm=self.bpm, rhythm=self.rhythm, any_octave=self.any_octave, cents=self.cents
            )
            heard = tuple(round(n.midi) for n in answer.take.notes)
            return self._mark_judged(judged, self._pointed(judged), heard, self._by_bar(judged))
        judged = marking.played(answer.notes, [m for m, _, _ in self.wanted], in_order=self.in_order,
                                any_octave=self.any_octave)  # fmt: skip
        return self._mark_judged(judged, self._pointed(judged), answer.notes)

    def _mark_choice(self, given: str | None) -> Mark:
        credit, note = (1.0, "") if given == self.right else self.near.get(given or "", (0.0, ""))
        evidence = [self.shown]
        if given is not None and given != self.right and given in self.contrasts:
            evidence.append(self.contrasts[given])
        why = f"{self.why} {note}".strip()
        return Mark(credit, self.words, why, tuple(evidence), given or "", self.right)

    def _mark_judged(self, judged: marking.Judged, shown: Excerpt, midis: Sequence[int] = (), more: str = "") -> Mark:
        full = judged.credit >= 1 - 1e-9
        contrast = None if full else self._replayed(midis)
        expected, answered = self.right, self.right if full else ""
        if len(self.wanted) == 1 and self.ask != "marks":
            # A single note can be mistaken for another; a line cannot be told in a word.
            expected = self._named(self.wanted[0][0])
            given = self._named(midis[0]) if midis else ""
            answered = expected if full else given if given != expected else ""
        words = " ".join(x for x in (judged.words, more, self.why) if x)
        evidence = (shown,) if contrast is None else (shown, contrast)
        return Mark(judged.credit, self.words, words, evidence, answered, expected)

    def _named(self, midi: int) -> str:
        return pretty(Pitch.from_midi(midi, fifths=self.shown.phrase.fifths).pitch_class.name)

    def _by_bar(self, judged: marking.Judged) -> str:
        """How each bar went, where the rhythm counts and there is more than one bar."""
        phrase = self.shown.phrase
        bar = phrase.numerator * 4.0 / phrase.denominator
        lead = bar - phrase.pickup_quarters if phrase.pickup_quarters else 0.0
        first = int(phrase.first_bar) if phrase.first_bar.isdigit() else 1
        bars: dict[int, list[bool]] = {}
        for (_, onset, _), hit in zip(self.wanted, judged.hits, strict=True):
            bars.setdefault(first + int((onset + lead + 1e-6) // bar), []).append(hit)
        if not self.rhythm or len(bars) < 2 or not any(judged.hits):
            return ""
        return "Bar by bar: " + ", ".join(f"{sum(h)} of {len(h)} in bar {n}" for n, h in bars.items()) + "."

    def _pointed(self, judged: marking.Judged) -> Excerpt:
        """The evidence with right and missed notes told apart, where its marked notes are those wanted."""
        phrase = self.shown.phrase
        at = [i for i, t in enumerate(phrase.tones) if t.mark == "target"]
        if len(at) != len(judged.hits):
            return self.shown
        tones = list(phrase.tones)
        for i, hit in zip(at, judged.hits, strict=True):
            tones[i] = replace(tones[i], mark="right" if hit else "wrong")
        return replace(self.shown, phrase=replace(phrase, tones=tuple(tones)))

    def _replayed(self, midis: Sequence[int]) -> Excerpt | None:
        """What was played or sung, at the wanted places, to compare."""
        if not midis:
            return None
        tones: list[Tone] = []
        for i, midi in enumerate(midis[:32]):
            onset, length = self.wanted[i][1:] if i < len(self.wanted) else (float(i), 1.0)
            if tones and onset <= tones[-1].onset_quarters:
                onset = tones[-1].onset_quarters + 1.0
            pitch = Pitch.from_midi(min(108, max(21, midi)), fifths=self.shown.phrase.fifths)
            tones.append(Tone(onset, length, pitch, "voice", mark="" if self._is_wanted(i, midi) else "wrong"))
        return Excerpt("What you gave", replace(self.shown.phrase, tones=tuple(tones), figures=()))

    def _is_wanted(self, place: int, midi: int) -> bool:
        return place < len(self.wanted) and self.wanted[place][0] == midi


@dataclass(frozen=True, slots=True)
class Part:
    """One skill of a drill."""

    words: str
    """What it asks, for lists: 'triads in close position, by ear'."""
    make: Callable[[Any], Sheet | None]
    """Draws a sheet; None when the dice fell badly and should be thrown again."""
    song: bool = False
    """True when it needs a song."""
    lesson: str = ""
    """Lesson that teaches it, where that is not the drill's."""
    ask: Ask = "choice"
    """How its questions are answered."""


class Family:
    """A drill made of parts; the files in drills/ fill the names in."""

    name = ""
    title = ""
    about = ""
    lesson = ""
    parts: Mapping[str, Part] = MappingProxyType({})
    labels: Mapping[str, str] = MappingProxyType({})
    """What the labels of answers mean, for lists."""

    @property
    def skills(self) -> tuple[str, ...]:
        """Easiest first."""
        return tuple(self.parts)

    @property
    def from_songs(self) -> frozenset[str]:
        """Skills that need a song."""
        return frozenset(s for s, p in self.parts.items() if p.song)

    def words(self, skill: str) -> str:
        """What a skill asks, in a few words."""
        return self.parts[skill].words

    def ask_of(self, skill: str) -> Ask:
        """How the questions of a skill are answered."""
        return self.parts[skill].ask

    def lesson_of(self, skill: str) -> str:
        """Name of the lesson that teaches a skill."""
        return self.parts[skill].lesson or self.lesson

    def said(self, label: str) -> str:
        """A label of an answer in words, short: what stands before a colon or bracket in the choice."""
        text = self.labels.get(label, label)
        return re.split(r": | \(", text)[0] if len(text) > 24 else text

    def question(self, item: Item) -> Question:
        """Show an item; the same item always gives the same question."""
        return Sheet.from_json(item.payload).question()

    def right(self, item: Item) -> Answer:
        """A fully right answer."""
        return Sheet.from_json(item.payload).answer()

    def mark(self, item: Item, answer: Answer) -> Mark:
        """Judge an answer; an empty one earns nothing and still explains."""
        return Sheet.from_json(item.payload).mark(answer)


def _pack(excerpt: Excerpt) -> list[Any]:
    return [excerpt.caption, excerpt.phrase.to_json()]


def _unpack(raw: Sequence[Any]) -> Excerpt:
    return Excerpt(raw[0], Phrase.from_json(raw[1]))
