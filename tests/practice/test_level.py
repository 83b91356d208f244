"""The ladder settles where about 85 % is right."""

from __future__ import annotations

import math
import random

import pytest

from tutor.practice.level import COARSE, FINE, TARGET, Ladder


def chance(level: float, ability: float) -> float:
    """A made-up singer: sure of easy questions, guessing at hard ones."""
    return 0.25 + 0.75 / (1 + math.exp((level - ability) * 8))


@pytest.mark.parametrize("ability", [0.45, 0.6, 0.75])
def test_settles_near_the_target(ability: float) -> None:
    rng = random.Random(5)
    ladder, right, asked = Ladder(), 0, 0
    for n in range(6000):
        good = rng.random() < chance(ladder.level, ability)
        ladder = ladder.after(1.0 if good else 0.0)
        if n >= 1000:
            right, asked = right + good, asked + 1
    assert right / asked == pytest.approx(TARGET, abs=0.02)


def test_steps_stand_in_the_ratio_of_the_rule() -> None:
    start = Ladder(0.5, reversals=1, direction=1)
    up, down = start.after(1.0).level - 0.5, 0.5 - start.after(0.0).level
    assert down / up == pytest.approx(TARGET / (1 - TARGET), rel=1e-6)


def test_steps_grow_fine_after_four_turns() -> None:
    ladder = Ladder(0.5)
    for credit in (1.0, 0.0, 1.0, 0.0, 1.0):
        ladder = ladder.after(credit)
    assert ladder.reversals == 4
    assert ladder.level - ladder.after(0.0).level == pytest.approx(FINE * TARGET)
    assert Ladder(0.5).level - Ladder(0.5).after(0.0).level == pytest.approx(COARSE * TARGET)


def test_stays_within_bounds() -> None:
    ladder = Ladder(0.0)
    assert ladder.after(0.0).level == 0.0
    for _ in range(200):
        ladder = ladder.after(1.0)
    assert ladder.level == 1.0


def test_credit_at_the_target_keeps_the_level() -> None:
    assert Ladder(0.4).after(TARGET).level == pytest.approx(0.4)
