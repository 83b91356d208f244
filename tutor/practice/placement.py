"""Finding a sensible start in about five minutes.

A few drills are probed one after the other. In each, a question of middling level is asked; a right answer moves up, a
wrong one down, by steps that halve: a bisection over the skills of the drill, easiest first, and the level inside them.
Four answers settle a drill to about a sixteenth of its span. How many drills are probed, and the step sizes, are
choices of ours.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from tutor.practice.drill import Answer, Drill, Item, Mark, Material, NoMaterial, Question
from tutor.practice.level import START
from tutor.practice.schedule import Card

PROBED = ("degrees", "intervals", "chord-quality", "inversions", "cadences")
"""Drills probed: they need no song and no microphone, and tell most about an ear."""
QUESTIONS_EACH = 4
LIMIT_MINUTES = 5.0
FIRST_STEP = 0.25
ASKS = ("choice",)
"""Only quick questions: no singing, no long dictation."""
SCHEMA = 1


@dataclass(frozen=True, slots=True)
class Probe:
    """Where one drill stands."""

    drill: str
    skills: tuple[str, ...]
    """Skills that may be asked, easiest first."""
    at: float = 0.35
    """Estimated place on the drill's span, 0 to 1."""
    asked: int = 0
    credits: tuple[float, ...] = ()

    @property
    def skill(self) -> str:
        """Skill of the next question."""
        return self.skills[min(len(self.skills) - 1, int(self.at * len(self.skills)))]

    @property
    def level(self) -> float:
        """Level of the next question inside its skill."""
        return min(1.0, max(0.0, self.at * len(self.skills) - int(self.at * len(self.skills))))

    def after(self, credit: float) -> Probe:
        """The probe after an answer."""
        step = FIRST_STEP / 2**self.asked
        move = step if credit >= 0.75 else -step
        at = min(0.99, max(0.0, self.at + move))
        return replace(self, at=at, asked=self.asked + 1, credits=(*self.credits, credit))


@dataclass(frozen=True, slots=True)
class Placement:
    """A placement, running or over."""

    drills: tuple[Drill, ...]
    material: Material
    singer: str
    seed: int
    started_at: datetime
    now: datetime
    probes: tuple[Probe, ...]
    item: Item | None = None
    turn: int = 0

    @property
    def question(self) -> Question | None:
        """What is asked now; None at the end."""
        drill = self._drill()
        return drill.question(self.item) if drill is not None and self.item is not None else None

    @property
    def over(self) -> bool:
        """True when nothing more is asked."""
        return self.item is None

    @property
    def share_done(self) -> float:
        """How far it has come, 0 to 1."""
        whole = len(self.probes) * QUESTIONS_EACH
        return 1.0 if self.over or not whole else min(1.0, sum(p.asked for p in self.probes) / whole)

    def answer(self, answer: Answer, now: datetime) -> tuple[Placement, Mark]:
        """Take an answer.

        Raises:
            ValueError: nothing is being asked.
        """
        drill = self._drill()
        if drill is None or self.item is None:
            raise ValueError("the placement is over")
        mark = drill.mark(self.item, answer)
        probes = tuple(p.after(mark.credit) if p.drill == self.item.drill else p for p in self.probes)
        return replace(self, probes=probes, now=now, turn=self.turn + 1)._asked(), mark

    def without_answer(self, earlier: Placement) -> Placement:
        """As it was before the latest answer, with another question in the place of the one answered.

        Args:
            earlier: the placement before that answer.
        """
        return replace(self, probes=earlier.probes)._asked()

    def cards(self) -> tuple[Card, ...]:
        """Cards to begin with, never asked yet: each probed drill's skills at a level that suits.

        Skills below the place found start high, so that they are soon passed; the skill at it starts where the probe
        ended. Skills above it and drills that were not probed get no card and are met as new things.
        """
        out = []
        for probe in self.probes:
            if not probe.asked:
                continue
            here = probe.skills.index(probe.skill)
            for place, skill in enumerate(probe.skills[: here + 1]):
                level = 0.6 if place < here else max(START, round(probe.level, 2))
                out.append(Card(self.singer, probe.drill, skill).at_level(level))
        return tuple(out)

    def to_json(self) -> dict[str, Any]:
        """A plain value for storing at every answer; `from_json` takes it up where it was."""
        item = self.item
        return {
            "schema": SCHEMA, "seed": self.seed, "turn": self.turn,
            "spent_s": (self.now - self.started_at).total_seconds(),
            "probes": [
                {"drill": p.drill, "skills": list(p.skills), "at": p.at, "credits": list(p.credits)}
                for p in self.probes
            ],
            "item": None if item is None else {
                "drill": item.drill, "skill": item.skill, "level": item.level, "song_id": item.song_id,
                "payload": item.payload,
            },
        }  # fmt: skip

    @classmethod
    def from_json(
        cls, raw: Mapping[str, Any], drills: Sequence[Drill], material: Material, *, singer: str, now: datetime
    ) -> Placement:
        """Take up a placement that was left; the time between does not count.

        Raises:
            ValueError: the value is no placement of this version, or its drills are no longer there.
        """
        try:
            if raw["schema"] != SCHEMA:
                raise ValueError("a placement of another version")
            known = {d.name: set(d.skills) for d in drills}
            probes = tuple(
                Probe(p["drill"], tuple(p["skills"]), p["at"], len(p["credits"]), tuple(p["credits"]))
                for p in raw["probes"]
            )
            if any(set(p.skills) - known.get(p.drill, set()) for p in probes):
                raise ValueError("a placement of skills that are gone")
            item = None if raw["item"] is None else Item(**raw["item"])
            made = cls(
                tuple(drills), replace(material, songs=()), singer, raw["seed"],
                now - timedelta(seconds=raw["spent_s"]), now, probes, item, raw["turn"],
            )  # fmt: skip
            _ = made.question
        except (KeyError, TypeError) as error:
            raise ValueError(f"not a placement: {error}") from error
        return made

    def _drill(self) -> Drill | None:
        return next((d for d in self.drills if self.item is not None and d.name == self.item.drill), None)

    def _asked(self) -> Placement:
        """With the next question made: drills take turns until each has had its questions or time is up."""
        late = self.now - self.started_at >= timedelta(minutes=LIMIT_MINUTES)
        left = [p for p in self.probes if p.asked < QUESTIONS_EACH]
        for probe in sorted(left, key=lambda p: p.asked):
            drill = next((d for d in self.drills if d.name == probe.drill), None)
            if late or drill is None:
                continue
            try:
                item = drill.item(probe.skill, self.material, random.Random(f"{self.seed}-{self.turn}"), probe.level)
            except NoMaterial:
                continue
            return replace(self, item=item)
        return replace(self, item=None)


def begin(drills: Sequence[Drill], material: Material, *, singer: str, rng: random.Random, now: datetime) -> Placement:
    """Open a placement.

    Raises:
        ValueError: ``now`` carries no time zone.
    """
    if now.tzinfo is None:
        raise ValueError("a time without a time zone")
    fresh = replace(material, songs=())
    probes = []
    for name in PROBED:
        drill = next((d for d in drills if d.name == name), None)
        skills = _quick(drill, fresh) if drill is not None else ()
        if skills:
            probes.append(Probe(name, skills))
    first = Placement(tuple(drills), fresh, singer, rng.randrange(1 << 48), now, now, tuple(probes))
    return first._asked()


def _quick(drill: Drill, material: Material) -> tuple[str, ...]:
    """Skills that ask for a choice and need no song."""
    out = []
    for skill in drill.skills:
        try:
            item = drill.item(skill, material, random.Random(0), 0.3)
        except NoMaterial:
            continue
        if drill.question(item).ask in ASKS:
            out.append(skill)
    return tuple(out)
