"""Placement finds a start that fits and takes about five minutes."""

from __future__ import annotations

import json
import random
from datetime import UTC, datetime, timedelta

import pytest

from tutor.practice.catalogue import drills
from tutor.practice.drill import Answer, Material
from tutor.practice.placement import LIMIT_MINUTES, PROBED, QUESTIONS_EACH, Placement, begin

T0 = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)


def run(ability: float, *, seed: int = 1, seconds: float = 12.0) -> Placement:
    """A made-up singer who knows everything below a place on each drill's span and nothing above."""
    placement = begin(drills(), Material(), singer="Ines", rng=random.Random(seed), now=T0)
    now = T0
    while not placement.over:
        assert placement.item is not None
        drill = next(d for d in drills() if d.name == placement.item.drill)
        probe = next(p for p in placement.probes if p.drill == drill.name)
        now += timedelta(seconds=seconds)
        good = probe.at <= ability
        placement, mark = placement.answer(drill.right(placement.item) if good else Answer(), now)
        assert mark.correct == good
    return placement


@pytest.mark.parametrize("ability", [0.05, 0.3, 0.5, 0.75])
def test_finds_the_place(ability: float) -> None:
    for probe in run(ability).probes:
        assert probe.asked == QUESTIONS_EACH
        assert probe.at == pytest.approx(ability, abs=0.13)


def test_a_better_ear_starts_further_on() -> None:
    assert len(run(0.05).cards()) < len(run(0.5).cards()) < len(run(0.9).cards())
    for card in run(0.5).cards():
        assert card.new
        assert card.singer == "Ines"
        assert 0 <= card.level <= 1


def test_takes_about_five_minutes_and_no_more() -> None:
    quick = run(0.5, seconds=12)
    assert quick.now - T0 == timedelta(seconds=12 * QUESTIONS_EACH * len(PROBED))
    slow = run(0.5, seconds=40)
    assert slow.now - T0 <= timedelta(minutes=LIMIT_MINUTES, seconds=40)
    assert slow.cards()


def test_asks_only_for_choices() -> None:
    placement = begin(drills(), Material(), singer="Ines", rng=random.Random(4), now=T0)
    now = T0
    while (question := placement.question) is not None:
        assert question.ask == "choice"
        now += timedelta(seconds=5)
        placement, _ = placement.answer(Answer(), now)
    assert placement.share_done == 1.0
    with pytest.raises(ValueError, match="over"):
        placement.answer(Answer(), now)


def halfway(answers: int = 7) -> tuple[Placement, datetime]:
    """A placement in which some questions were answered, alternately right and not."""
    placement, now = begin(drills(), Material(), singer="Ines", rng=random.Random(5), now=T0), T0
    for n in range(answers):
        assert placement.item is not None
        drill = next(d for d in drills() if d.name == placement.item.drill)
        now += timedelta(seconds=12)
        placement, _ = placement.answer(drill.right(placement.item) if n % 2 else Answer(), now)
    return placement, now


def test_left_in_the_middle_it_goes_on_where_it_was() -> None:
    left, now = halfway()
    stored = json.loads(json.dumps(left.to_json()))
    later = now + timedelta(days=3)
    back = Placement.from_json(stored, drills(), Material(), singer="Ines", now=later)
    assert (back.probes, back.item, back.question, back.turn) == (left.probes, left.item, left.question, left.turn)
    assert later - back.started_at == now - T0, "the days between do not count against its five minutes"
    for way in (left, back):
        then = now if way is left else later
        way, _ = way.answer(Answer(), then + timedelta(seconds=9))
        assert way.item is not None
        assert way.item.skill == left.answer(Answer(), now + timedelta(seconds=9))[0].item.skill  # type: ignore[union-attr]


def test_what_is_no_placement_is_refused() -> None:
    left, now = halfway(2)
    gone = {**left.to_json(), "probes": [{"drill": "degrees", "skills": ["gone"], "at": 0.3, "credits": []}]}
    for raw in ({}, {"schema": 0}, {"schema": 1}, {**left.to_json(), "schema": 2}, gone):
        with pytest.raises(ValueError, match="placement"):
            Placement.from_json(raw, drills(), Material(), singer="Ines", now=now)
