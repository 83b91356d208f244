"""Finding a start: every answer is kept at once like any other; the levels found are kept on leaving."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from tutor.music.voice import SingerProfile
from tutor.practice import placement as placements
from tutor.practice import schedule
from tutor.practice.drill import Answer, Drill, Mark, Material
from tutor.practice.placement import QUESTIONS_EACH, Placement
from tutor.practice.schedule import Card, Review
from tutor.practice.session import Asked
from tutor.store.store import Store

KIND = "placement"


@dataclass(frozen=True, slots=True)
class Sitting:
    """What a placement has come to, in the words of a session."""

    reviews: tuple[Review, ...]
    planned: int
    over: bool


@dataclass(frozen=True, slots=True)
class _Step:
    """One answer, so that it can be taken back."""

    earlier: Placement
    review: Review
    before: Card


class Placing:
    """One placement of one singer.

    Args:
        store: where every answer is kept.
        clock: gives aware UTC.
        dice: the only source of chance.
        drills: the drills there are.
        singer: who is placed.
    """

    def __init__(
        self, store: Store, clock: Callable[[], datetime], dice: random.Random, drills: Sequence[Drill],
        singer: SingerProfile,
    ) -> None:  # fmt: skip
        self._store = store
        self._clock = clock
        self._singer = singer.name
        material = Material(low_midi=singer.low_midi, high_midi=singer.high_midi)
        self._placement = placements.begin(drills, material, singer=singer.name, rng=dice, now=clock())
        self._cards = {c.key: c for c in store.cards(singer.name)}
        self._known = frozenset(k for k, c in self._cards.items() if not c.new)
        self._steps: tuple[_Step, ...] = ()
        self._number = store.begin(KIND, singer.name, self._body(self._placement))

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
        self._store.keep_answer(self._number, self._body(moved), after, review, finished=moved.over)
        self._placement = moved
        self._cards[key] = after
        self._steps = (*self._steps, _Step(earlier, review, before))
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
        kept = None if last.before.new and not last.before.state else last.before
        self._store.take_back(self._number, self._body(last.earlier), self._singer, *last.before.key, kept)
        self._placement, self._steps = last.earlier, self._steps[:-1]
        self._restore(last.before)

    def dispute(self) -> None:
        """Set the latest answer aside: it moves nothing, and another question takes its place.

        Raises:
            ValueError: nothing was answered yet, or it is set aside already.
        """
        if not self._steps or self._steps[-1].review.withdrawn:
            raise ValueError("nothing to set aside")
        last = self._steps[-1]
        moved = self._placement.without_answer(last.earlier)
        review = replace(last.review, withdrawn=True)
        self._store.set_aside(self._number, self._body(moved), review, last.before, finished=moved.over)
        self._placement = moved
        self._steps = (*self._steps[:-1], replace(last, review=review))
        self._restore(last.before)

    def prepare(self) -> None:
        """The next question is made with the answer; nothing is left to prepare."""

    def settle(self) -> int:
        """Keep the levels found, for skills that were not practised before; gives how many.

        A skill that was practised before the placement keeps its level: its own answers know better.
        """
        found = [
            self._cards.get(c.key, c).at_level(c.level) for c in self._placement.cards() if c.key not in self._known
        ]
        self._store.keep_cards(found)
        self._cards.update({c.key: c for c in found})
        self._store.keep_session(self._number, self._body(self._placement), finished=True)
        return len(found)

    def _restore(self, card: Card) -> None:
        if card.state:
            self._cards[card.key] = card
        else:
            self._cards.pop(card.key, None)

    def _body(self, placement: Placement) -> dict[str, Any]:
        return placement.to_json()
