"""Finding a start: every answer is kept at once like any other; left in the middle, it waits where it was.

The levels found so far are used from the moment it is left.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Self

from tutor.music.voice import SingerProfile
from tutor.practice import placement as placements
from tutor.practice import schedule
from tutor.practice.drill import Answer, Drill, Mark, Material
from tutor.practice.placement import QUESTIONS_EACH, Placement
from tutor.practice.schedule import Card, Review
from tutor.practice.session import Asked
from tutor.store.store import Store

KIND = "placement"
UNDO = 5
"""How many of the latest answers can be taken back after it was left."""


@dataclass(frozen=True, slots=True)
class Sitting:
    """What a placement has come to, in the words of a session."""

    reviews: tuple[Review, ...]
    planned: int
    over: bool
    ends_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class _Step:
    """One answer, so that it can be taken back."""

    earlier: Placement | None
    """None where it can no longer be taken back."""
    review: Review
    before: Card


class Placing:
    """One placement of one singer.

    Args:
        store: where every answer is kept.
        clock: gives aware UTC.
        singer: name of who is placed.
        placement: where it stands.
        known: skills that were practised besides.
        steps: the answers so far.
        number: of the session in the store; None begins a new one there.
    """

    def __init__(
        self, store: Store, clock: Callable[[], datetime], singer: str, placement: Placement,
        known: frozenset[tuple[str, str]], steps: tuple[_Step, ...] = (), number: int | None = None,
    ) -> None:  # fmt: skip
        self._store = store
        self._clock = clock
        self._singer = singer
        self._placement = placement
        self._cards = {c.key: c for c in store.cards(singer)}
        self._known = known
        self._steps = steps
        self._number = store.begin(KIND, singer, self._body()) if number is None else number

    @classmethod
    def open(
        cls, store: Store, clock: Callable[[], datetime], dice: random.Random, drills: Sequence[Drill],
        singer: SingerProfile,
    ) -> Self:  # fmt: skip
        """Take up the placement that was left in the middle, or begin one.

        Args:
            store: where every answer is kept.
            clock: gives aware UTC.
            dice: the only source of chance.
            drills: the drills there are.
            singer: who is placed.
        """
        material = Material(low_midi=singer.low_midi, high_midi=singer.high_midi)
        met = {c.key: c for c in store.cards(singer.name) if not c.new}
        kept = store.unfinished(singer.name, KIND)
        if kept is not None:
            try:
                placement = Placement.from_json(kept.body, drills, material, singer=singer.name, now=clock())
                steps = tuple(_step(s, drills, material, singer.name, clock()) for s in kept.body["steps"])
                here = Counter((s.review.drill, s.review.skill) for s in steps if not s.review.withdrawn)
                known = {k for k, c in met.items() if c.answers > here[k]} | {(d, s) for d, s in kept.body["known"]}
                return cls(store, clock, singer.name, placement, frozenset(known), steps, kept.id)
            except (KeyError, TypeError, ValueError):
                pass  # of another version: begin anew; the answers are kept all the same
        placement = placements.begin(drills, material, singer=singer.name, rng=dice, now=clock())
        return cls(store, clock, singer.name, placement, frozenset(met))

    @property
    def placement(self) -> Placement:
        """The placement as it stands."""
        return self._placement

    @property
    def session(self) -> Sitting:
        """The answers so far, and how many questions there are at most."""
        left = sum(QUESTIONS_EACH - p.asked for p in self._placement.probes)
        over = self._placement.over
        reviews = tuple(s.review for s in self._steps)
        return Sitting(reviews, len(reviews) + (0 if over else left), over)

    @property
    def current(self) -> Asked | None:
        """The question before the singer; None at the end."""
        item, question = self._placement.item, self._placement.question
        if item is None or question is None:
            return None
        drill = next(d for d in self._placement.drills if d.name == item.drill)
        return Asked(item, question, drill)

    def answer(self, answer: Answer, seconds: float) -> Mark:
        """Judge an answer; it is kept before this returns.

        Raises:
            ValueError: nothing is being asked.
            StoreError: it could not be kept; the placement stays where it was.
        """
        earlier, asked, now = self._placement, self.current, self._clock()
        moved, mark = earlier.answer(answer, now)
        assert asked is not None
        key = (asked.item.drill, asked.item.skill)
        before = self._cards.get(key) or Card(self._singer, *key)
        seed = f"{earlier.seed}-{earlier.turn}"
        after, review = schedule.review(before, mark, seconds, now, item=asked.item, seed=seed)
        steps = (*self._steps, _Step(earlier, review, before))
        self._store.keep_answer(self._number, self._body(moved, steps), after, review, finished=moved.over)
        self._placement, self._steps = moved, steps
        self._cards[key] = after
        return mark

    def undo(self) -> None:
        """Take the latest answer back and ask its question again.

        Raises:
            ValueError: nothing was answered yet.
        """
        if not self._steps:
            raise ValueError("nothing to take back")
        last = self._steps[-1]
        if last.review.withdrawn:
            raise ValueError("that question was set aside; nothing to take back")
        if last.earlier is None:
            raise ValueError("nothing to take back: that question was let go")
        kept, steps = last.before if last.before.state else None, self._steps[:-1]
        self._store.take_back(self._number, self._body(last.earlier, steps), self._singer, *last.before.key, kept)
        self._placement, self._steps = last.earlier, steps
        self._restore(last.before)

    def dispute(self) -> None:
        """Set the latest answer aside: it moves nothing, and another question takes its place.

        Raises:
            ValueError: nothing was answered yet, or it is set aside already.
        """
        last = self._steps[-1] if self._steps else None
        if last is None or last.earlier is None or last.review.withdrawn:
            raise ValueError("nothing to set aside")
        moved = self._placement.without_answer(last.earlier)
        review = replace(last.review, withdrawn=True)
        steps = (*self._steps[:-1], replace(last, review=review))
        self._store.set_aside(self._number, self._body(moved, steps), review, last.before, finished=moved.over)
        self._placement, self._steps = moved, steps
        self._restore(last.before)

    def prepare(self) -> None:
        """The next question is made with the answer; nothing is left to prepare."""

    def settle(self) -> int:
        """Keep the levels found so far, for skills that were not practised besides; gives how many.

        A skill that was practised besides keeps its level: its own answers know better. A placement that is not over
        stays open.
        """
        found = [
            self._cards.get(c.key, c).at_level(c.level) for c in self._placement.cards() if c.key not in self._known
        ]
        self._store.keep_cards(found)
        self._cards.update({c.key: c for c in found})
        untouched = not self._steps
        self._store.keep_session(self._number, self._body(), finished=self._placement.over or untouched)
        return len(found)

    def _restore(self, card: Card) -> None:
        if card.state:
            self._cards[card.key] = card
        else:
            self._cards.pop(card.key, None)

    def _body(self, placement: Placement | None = None, steps: tuple[_Step, ...] | None = None) -> dict[str, Any]:
        steps = self._steps if steps is None else steps
        return {
            **(placement or self._placement).to_json(), "known": [list(k) for k in sorted(self._known)],
            "steps": [
                {
                    "review": s.review.to_json(), "before": s.before.to_json(),
                    "earlier": s.earlier.to_json() if s.earlier is not None and i >= len(steps) - UNDO else None,
                }
                for i, s in enumerate(steps)
            ],
        }  # fmt: skip


def left_in_the_middle(store: Store, singer: str) -> tuple[int, int] | None:
    """Questions answered and planned of the placement that was left; None when there is none."""
    kept = store.unfinished(singer, KIND)
    if kept is None or not kept.body.get("steps"):
        return None
    left = sum(QUESTIONS_EACH - len(p["credits"]) for p in kept.body.get("probes", ()))
    return len(kept.body["steps"]), len(kept.body["steps"]) + left


def _step(raw: Any, drills: Sequence[Drill], material: Material, singer: str, now: datetime) -> _Step:
    earlier = raw["earlier"]
    placed = None if earlier is None else Placement.from_json(earlier, drills, material, singer=singer, now=now)
    # The singer may have been renamed since.
    review = replace(Review.from_json(raw["review"]), singer=singer)
    return _Step(placed, review, replace(Card.from_json(raw["before"]), singer=singer))
