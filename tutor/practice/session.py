"""A practice session: what next, what now. A pure state machine.

A session mixes what is due, what is weak and one new thing; it opens with something easy that is known, and it never
asks one drill twice running when another can be asked. Each step gives a new Session; the old one stays as it was.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from tutor.music.shape import shaped
from tutor.practice import schedule
from tutor.practice.drill import Answer, Drill, Item, Mark, Material, NoMaterial, Question
from tutor.practice.level import start_level
from tutor.practice.mix import SPARED, interleaved, song_skills
from tutor.practice.mix import plan as mixed
from tutor.practice.schedule import Card, Review

AHEAD = 3
"""How many questions `prepare` keeps ready."""
SECONDS_EACH = 20.0
"""Least time a question is expected to take; bounds the plan of a timed session."""
UNDO = 5
"""How many of the latest answers can be taken back after a session was stored; older questions are let go."""
TOLD = 3
"""Answers from which on the level of a skill tells something about its neighbours."""
SCHEMA = 1

Skill = tuple[str, str]
"""Drill and skill."""


@dataclass(frozen=True, slots=True)
class Asked:
    """The question before the singer."""

    item: Item
    question: Question
    drill: Drill


@dataclass(frozen=True, slots=True)
class Ready:
    """A question prepared ahead."""

    item: Item
    seed: str
    """Seed of its dice."""


@dataclass(frozen=True, slots=True)
class Done:
    """A question answered."""

    ready: Ready
    review: Review
    before: Card
    """The card as it stood, so that the answer can be taken back."""


@dataclass(frozen=True, slots=True)
class Session:
    """One sitting, running or over."""

    drills: tuple[Drill, ...]
    material: Material
    singer: str
    seed: int
    started_at: datetime
    minutes: float | None
    """Length of a timed session; None when a count was asked for."""
    plan: tuple[Skill, ...]
    """The skills in the order they come."""
    cards: Mapping[Skill, Card]
    now: datetime
    """Time of the latest answer."""
    made: int = 0
    """How many places of the plan have been used."""
    queue: tuple[Ready, ...] = ()
    """The question asked and those prepared behind it."""
    done: tuple[Done, ...] = field(default=())
    stopped: bool = False

    @property
    def over(self) -> bool:
        """True when nothing more is asked."""
        late = self.ends_at is not None and self.now >= self.ends_at
        return self.stopped or late or not self.queue

    @property
    def current(self) -> Asked | None:
        """The question before the singer, or None at the end."""
        if self.over:
            return None
        item = self.queue[0].item
        drill = next(d for d in self.drills if d.name == item.drill)
        return Asked(item, drill.question(item), drill)

    @property
    def reviews(self) -> tuple[Review, ...]:
        """The answers so far, oldest first."""
        return tuple(d.review for d in self.done)

    @property
    def planned(self) -> int:
        """How many questions the session holds at most."""
        return len(self.plan)

    @property
    def ends_at(self) -> datetime | None:
        """When a timed session is over; None where the questions are counted."""
        return None if self.minutes is None else self.started_at + timedelta(minutes=self.minutes)

    def taken_up(self, now: datetime) -> Session:
        """The same session after a pause, which does not count against its time."""
        pause = max(timedelta(0), now - self.now)
        return replace(self, started_at=self.started_at + pause, now=self.now + pause)

    def prepare(self, ahead: int = AHEAD) -> Session:
        """The same session with the next questions made; cheap when they are there already."""
        queue, made = list(self.queue), self.made
        while len(queue) < ahead and made < len(self.plan):
            ready = self._make(made)
            made += 1
            if ready is not None:
                queue.append(ready)
        return self if made == self.made else replace(self, queue=tuple(queue), made=made)

    def answer(self, answer: Answer, seconds: float, now: datetime) -> tuple[Session, Mark, Review]:
        """Take an answer to the current question.

        Args:
            answer: what was given.
            seconds: response time.
            now: time of the answer (aware).

        Returns:
            The session moved on, the judgement, and the review to keep.

        Raises:
            ValueError: nothing is being asked.
        """
        asked = self.current
        if asked is None:
            raise ValueError("the session is over")
        ready = self.queue[0]
        key = (asked.item.drill, asked.item.skill)
        card, before = self._card(key), self.cards.get(key) or Card(self.singer, *key)
        mark = asked.drill.mark(asked.item, answer)
        after, kept = schedule.review(card, mark, seconds, now, item=asked.item, seed=ready.seed)
        plan = self.plan if mark.credit >= 0.5 else again(self.plan, self.made, card.key)
        if self.minutes is not None and self.made >= len(plan) - AHEAD:
            # A quick singer in a timed session: another round of the same skills.
            more = [s for s in dict.fromkeys(plan) if s[0] not in SPARED] or list(dict.fromkeys(plan))
            plan = (*plan, *interleaved(more, random.Random(f"{self.seed}-{len(plan)}"), after=plan[-1]))
        moved = replace(
            self, queue=self.queue[1:], cards={**self.cards, card.key: after}, now=now, plan=plan,
            done=(*self.done, Done(ready, kept, before)),
        )  # fmt: skip
        return moved.prepare(1), mark, kept

    def undo(self) -> Session:
        """Take the latest answer back: its card as it was, its question asked again.

        Raises:
            ValueError: nothing was answered yet.
        """
        if not self.done:
            raise ValueError("nothing to take back")
        last = self.done[-1]
        if not last.ready.item.payload:
            raise ValueError("nothing to take back: that question was let go")
        earlier = self.done[-2].review.at if len(self.done) > 1 else self.started_at
        return replace(
            self, queue=(last.ready, *self.queue), done=self.done[:-1], now=earlier, stopped=False,
            cards={**self.cards, last.before.key: last.before},
        )  # fmt: skip

    def withdraw(self) -> tuple[Session, Review]:
        """Set the latest answer aside after a dispute: its card as it was, its review counting nowhere.

        Returns:
            The session, and the review marked as withdrawn, to be kept in place of the first.

        Raises:
            ValueError: nothing was answered yet.
        """
        if not self.done:
            raise ValueError("nothing to withdraw")
        last = self.done[-1]
        out = replace(last, review=replace(last.review, withdrawn=True))
        cards = {**self.cards, last.before.key: last.before}
        return replace(self, done=(*self.done[:-1], out), cards=cards), out.review

    def stop(self) -> Session:
        """End here; what was answered stays."""
        return replace(self, stopped=True)

    def to_json(self) -> dict[str, Any]:
        """A plain value for storing at every answer; `from_json` resumes where it was."""
        return {
            "schema": SCHEMA, "singer": self.singer, "seed": self.seed, "started_at": self.started_at.isoformat(),
            "minutes": self.minutes, "plan": [list(p) for p in self.plan], "now": self.now.isoformat(),
            "cards": [c.to_json() for c in self.cards.values()], "made": self.made, "stopped": self.stopped,
            "queue": [_packed(r) for r in self.queue],
            "done": [
                {
                    "ready": _packed(d.ready, whole=i >= len(self.done) - UNDO), "review": d.review.to_json(),
                    "before": d.before.to_json(),
                }
                for i, d in enumerate(self.done)
            ],
        }  # fmt: skip

    @classmethod
    def from_json(cls, raw: Mapping[str, Any], drills: Sequence[Drill], material: Material) -> Session:
        """Rebuild a session from `to_json`; questions that can no longer be asked are dropped.

        Raises:
            ValueError: the value is no session of this version.
        """
        try:
            if raw["schema"] != SCHEMA:
                raise ValueError("a session of another version")
            queue = tuple(r for r in map(_ready, raw["queue"]) if _can_be_asked(r.item, drills))
            cards = [Card.from_json(c) for c in raw["cards"]]
            if not (isinstance(raw["seed"], int) and isinstance(raw["made"], int) and isinstance(raw["singer"], str)):
                raise ValueError("a session of another shape")
            return cls(
                drills=tuple(drills), material=material, singer=raw["singer"], seed=raw["seed"],
                started_at=datetime.fromisoformat(raw["started_at"]), minutes=raw["minutes"],
                plan=tuple((d, s) for d, s in raw["plan"]), cards={c.key: c for c in cards},
                now=datetime.fromisoformat(raw["now"]), made=raw["made"], queue=queue, stopped=raw["stopped"],
                done=tuple(
                    Done(_ready(d["ready"]), Review.from_json(d["review"]), Card.from_json(d["before"]))
                    for d in raw["done"]
                ),
            ).prepare(1)  # fmt: skip
        except (KeyError, TypeError, AttributeError, IndexError, ArithmeticError) as error:
            raise ValueError(f"not a session: {error}") from error

    def _card(self, key: Skill) -> Card:
        known = self.cards.get(key)
        if known is not None and known.state:
            return known
        drill = [c.level for c in self.cards.values() if c.drill == key[0] and c.answers >= TOLD]
        return Card(self.singer, *key).at_level(start_level(drill))

    def _make(self, place: int) -> Ready | None:
        """The question for a place in the plan; another skill stands in where the material holds nothing."""
        wanted = self.plan[place]
        asked = [(r.item.drill, r.item.skill) for r in (*(d.ready for d in self.done), *self.queue)]
        cut = sorted(song_skills(self.drills), key=lambda s: (self._card(s).new, asked.count(s)))
        others = [s for s in (*(cut if wanted in cut else ()), *dict.fromkeys(self.plan)) if s != wanted]
        for attempt, (name, skill) in enumerate([wanted, *others]):
            drill = next((d for d in self.drills if d.name == name), None)
            if drill is None or skill not in drill.skills:
                continue
            seed = f"{self.seed}-{place}-{attempt}"
            level = self._card((name, skill)).level * (0.6 if place == 0 else 1.0)
            try:
                return Ready(drill.item(skill, self.material, random.Random(seed), level), seed)
            except NoMaterial:
                continue
        return None


def start(
    drills: Sequence[Drill],
    cards: Iterable[Card],
    material: Material,
    *,
    rng: random.Random,
    now: datetime,
    count: int | None = None,
    minutes: float | None = None,
    skills: Sequence[Skill] | None = None,
    singer: str = "",
) -> Session:
    """Open a session.

    Args:
        drills: what can be asked.
        cards: what the singer has met so far.
        material: songs and limits.
        rng: the only source of chance.
        now: when it starts (aware).
        count: how many questions; or
        minutes: how long. One of the two is given; ten minutes if neither is.
        skills: ask these alone, as (drill, skill); otherwise what is due, weak and one new thing.
        singer: name of the singer; that of the cards if empty.

    Raises:
        ValueError: ``now`` carries no time zone, or nothing can be asked.
    """
    if now.tzinfo is None:
        raise ValueError("a time without a time zone")
    held = {c.key: c for c in cards}
    if count is None and minutes is None:
        minutes = 10.0
    size = count if count is not None else max(1, round((minutes or 10.0) * 60 / SECONDS_EACH))
    order = mixed(drills, held, size, rng, now, skills, songs=bool(material.songs))
    session = Session(
        drills=tuple(drills), material=material, singer=singer or next((c.singer for c in held.values()), ""),
        seed=rng.randrange(1 << 48), started_at=now, minutes=minutes if count is None else None,
        plan=tuple(order), cards=held, now=now,
    ).prepare(1)  # fmt: skip
    if not session.queue:
        raise ValueError("nothing can be asked: no drill fits the songs and skills at hand")
    return session


def again(plan: tuple[Skill, ...], made: int, key: Skill) -> tuple[Skill, ...]:
    """The plan with a failed skill brought back two places on, in place of the latest skill that still waits.

    The length of the session stays; a skill that comes again soon anyway is not moved, and one that tires the voice is
    not repeated.
    """
    if made + 1 >= len(plan) or key in plan[made : made + 4] or key[0] in SPARED:
        return plan
    rest = list(plan[made:-1])
    # Two places on, or a little later or sooner where its drill would follow itself.
    places = [p for p in (1, 2, 3, 0) if p <= len(rest)]
    around = {p: [*(rest[p - 1 : p] if p else plan[made - 1 : made]), *rest[p : p + 1]] for p in places}
    best = min(places, key=lambda p: sum(s[0] == key[0] for s in around[p]))
    rest.insert(best, key)
    return (*plan[:made], *rest)


def _packed(ready: Ready, *, whole: bool = True) -> dict[str, Any]:
    """A plain value, sharing the item's payload, which nobody changes."""
    item = ready.item
    values = {"drill": item.drill, "skill": item.skill, "level": item.level, "song_id": item.song_id}
    return {"item": {**values, "payload": item.payload if whole else {}}, "seed": ready.seed}


def _can_be_asked(item: Item, drills: Sequence[Drill]) -> bool:
    """False for an item of a drill that is gone, or one that another version made otherwise."""
    drill = next((d for d in drills if d.name == item.drill), None)
    try:
        return drill is not None and bool(drill.question(item).prompt)
    except (KeyError, TypeError, ValueError):
        return False


def _ready(raw: Mapping[str, Any]) -> Ready:
    return shaped(Ready(Item(**raw["item"]), raw["seed"]))
