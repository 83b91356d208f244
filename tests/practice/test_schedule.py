"""Cards, grades and the spacing rule against values worked out beforehand."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from tutor.practice.drill import Item, Mark
from tutor.practice.schedule import Card, Review, due, forecast, grade, review

T0 = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)
AGAIN, HARD, GOOD = 0.0, 0.5, 1.0


def mark(credit: float, answered: str = "a", expected: str = "b") -> Mark:
    return Mark(credit, "right", "why", answered=answered, expected=expected)


def card() -> Card:
    return Card("Ines", "inversions", "triads-close")


# FSRS-6 defaults without learning steps and without fuzz: first answer again, hard, good.
@pytest.mark.parametrize(
    ("credit", "stability", "difficulty", "days"),
    [(AGAIN, 0.212, 6.4133, 1), (HARD, 1.2931, 5.112171, 1), (GOOD, 2.3065, 2.118104, 2)],
)
def test_first_answer(credit: float, stability: float, difficulty: float, days: int) -> None:
    after, _ = review(card(), mark(credit), 8.0, T0)
    memory = after.state["memory"]
    assert memory["stability"] == pytest.approx(stability, abs=1e-6)
    assert memory["difficulty"] == pytest.approx(difficulty, abs=1e-6)
    assert after.due == T0 + timedelta(days=days)


# First good, then after two days again, hard or good.
@pytest.mark.parametrize(
    ("credit", "stability", "difficulty", "days"),
    [(AGAIN, 0.607580, 7.394503, 1), (HARD, 7.513320, 4.752858, 8), (GOOD, 10.964332, 2.111214, 11)],
)
def test_second_answer(credit: float, stability: float, difficulty: float, days: int) -> None:
    first, _ = review(card(), mark(GOOD), 8.0, T0)
    later = T0 + timedelta(days=2)
    assert first.recall(later) == pytest.approx(0.909493, abs=1e-6)
    after, _ = review(first, mark(credit), 8.0, later)
    memory = after.state["memory"]
    assert memory["stability"] == pytest.approx(stability, abs=1e-5)
    assert memory["difficulty"] == pytest.approx(difficulty, abs=1e-5)
    assert after.due == later + timedelta(days=days)


def test_easy_needs_a_quick_right_answer_and_a_usual_time() -> None:
    assert grade(1.0, 2.0, 10.0) == 4
    assert grade(1.0, 9.0, 10.0) == 3
    assert grade(1.0, 2.0, None) == 3
    assert grade(0.6, 2.0, 10.0) == 2
    assert grade(0.4, 2.0, 10.0) == 1


def test_the_fifth_quick_answer_counts_as_easy() -> None:
    now, at = card(), T0
    grades = []
    for seconds in (10.0, 10.0, 10.0, 10.0, 10.0, 3.0):
        now, kept = review(now, mark(GOOD), seconds, at)
        grades.append(kept.grade)
        at += timedelta(days=3)
    assert grades == [3, 3, 3, 3, 3, 4]


def test_same_answers_same_card() -> None:
    a, b = (review(review(card(), mark(GOOD), 5, T0)[0], mark(AGAIN), 7, T0 + timedelta(days=3))[0] for _ in range(2))
    assert a == b


def test_card_and_review_survive_json() -> None:
    item = Item("inversions", "triads-close", 0.4, "s" * 64, {})
    after, kept = review(card(), mark(0.25), 6.123, T0, item=item, seed="7-1-0")
    assert Card.from_json(json.loads(json.dumps(after.to_json()))) == after
    again = Review.from_json(json.loads(json.dumps(kept.to_json())))
    assert again == kept
    assert (again.level, again.song_id, again.seed, again.answered, again.expected) == (
        0.4,
        "s" * 64,
        "7-1-0",
        "a",
        "b",
    )


def test_due_is_longest_overdue_first() -> None:
    early, _ = review(card(), mark(AGAIN), 5, T0)
    late, _ = review(Card("Ines", "form", "relation"), mark(GOOD), 5, T0)
    never = Card("Ines", "degrees", "major")
    assert due((never, late, early), T0 + timedelta(hours=1)) == ()
    assert due((never, late, early), T0 + timedelta(days=2)) == (early, late)


def test_forecast_counts_days() -> None:
    cards = [review(card(), mark(AGAIN), 5, T0)[0], review(card(), mark(GOOD), 5, T0)[0]]
    assert forecast(cards, T0, 4) == (0, 1, 1, 0)
    assert forecast(cards, T0 + timedelta(days=9), 4) == (2, 0, 0, 0)


def test_a_time_without_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        review(card(), mark(GOOD), 5, T0.replace(tzinfo=None))


def test_other_zones_are_the_same_moment() -> None:
    from datetime import timezone

    there = T0.astimezone(timezone(timedelta(hours=9)))
    assert review(card(), mark(GOOD), 5, there)[0].due == review(card(), mark(GOOD), 5, T0)[0].due
