"""A search for a start that is left goes on where it was, whatever happened in between."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest

from tutor.music.voice import SingerProfile
from tutor.practice import schedule
from tutor.practice.catalogue import drills
from tutor.practice.drill import Answer, Mark
from tutor.store.store import Store
from tutor.studio.placing import Placing, left_in_the_middle

INES = SingerProfile.default("Ines", "alto")


class Clock:
    """Time that moves only when told."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 3, 8, 30, tzinfo=UTC)

    def __call__(self) -> datetime:
        """The time now."""
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def store(clock: Clock) -> Iterator[Store]:
    made = Store.open(None, clock)
    made.keep_singer(INES)
    yield made
    made.close()


def opened(store: Store, clock: Clock, singer: SingerProfile = INES) -> Placing:
    return Placing.open(store, clock, random.Random(3), drills(), singer)


def answered(placing: Placing, clock: Clock, count: int) -> None:
    """Give answers, every second one right."""
    for n in range(count):
        asked = placing.current
        assert asked is not None
        clock.now += timedelta(seconds=8)
        placing.answer(asked.drill.right(asked.item) if n % 2 else Answer(), 8)


def test_it_goes_on_with_the_question_that_waited(store: Store, clock: Clock) -> None:
    first = opened(store, clock)
    answered(first, clock, 6)
    waiting = first.current
    clock.now += timedelta(days=2)
    assert left_in_the_middle(store, "Ines") == (6, 20)
    again = opened(store, clock)
    assert waiting is not None
    assert again.current is not None
    assert again.current.item == waiting.item
    assert again.session.reviews == first.session.reviews
    answered(again, clock, 14)
    assert again.session.over
    assert left_in_the_middle(store, "Ines") is None
    assert opened(store, clock).session.reviews == (), "the next one begins anew"


def test_answers_can_be_taken_back_after_a_pause(store: Store, clock: Clock) -> None:
    first = opened(store, clock)
    answered(first, clock, 8)
    before = store.cards("Ines")
    answered(first, clock, 1)
    again = opened(store, clock)
    again.undo()
    assert len(store.reviews("Ines")) == 8
    assert {c.key: c.state for c in store.cards("Ines")} == {c.key: c.state for c in before}
    for _ in range(4):
        again.undo()
    with pytest.raises(ValueError, match="let go"):
        again.undo()


def test_levels_found_so_far_are_used_and_practice_in_between_wins(store: Store, clock: Clock) -> None:
    first = opened(store, clock)
    answered(first, clock, 6)
    first.settle()
    assert left_in_the_middle(store, "Ines") == (6, 20), "it waits all the same"
    found = {c.key: c.level for c in first.placement.cards()}
    assert found
    assert {c.key: c.level for c in store.cards("Ines") if c.key in found} == found
    practised = next(c for c in store.cards("Ines") if not c.new and c.key in found)
    moved, review = schedule.review(practised, Mark(1.0, "x", "x."), 4, clock.now)
    store.keep_answer(store.begin("practice", "Ines", {}), {}, moved, review, finished=True)
    opened(store, clock).settle()
    after = next(c for c in store.cards("Ines") if c.key == practised.key)
    assert after.level == moved.level, "its own answers know better"


def test_a_singer_renamed_meanwhile_goes_on(store: Store, clock: Clock) -> None:
    answered(opened(store, clock), clock, 5)
    store.rename_singer("Ines", "Ida")
    again = opened(store, clock, SingerProfile.default("Ida", "alto"))
    assert len(again.session.reviews) == 5
    answered(again, clock, 1)
    assert {r.singer for r in store.reviews("Ida")} == {"Ida"}


def test_a_placement_that_cannot_be_read_begins_anew(store: Store, clock: Clock) -> None:
    store.begin("placement", "Ines", {"probes": [{"drill": "degrees", "at": 0.4, "credits": [1.0]}]})
    assert left_in_the_middle(store, "Ines") is None
    made = opened(store, clock)
    assert made.current is not None
    assert made.session.reviews == ()
