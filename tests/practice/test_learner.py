"""Three weeks of practice by a made-up learner keep every promise; tests/bench/learner.py holds longer courses."""

from __future__ import annotations

import random

from tests.bench.learner import Day, Learner, back_within, broken, live, twice_running
from tutor.practice.catalogue import drills

QUICK = ("degrees", "intervals", "chord-quality", "inversions", "borrowed")
"""Drills whose questions are made in well under a millisecond."""


def test_three_weeks_keep_every_promise() -> None:
    days = live(Learner(random.Random(1), 0.4), [d for d in drills() if d.name in QUICK], days=21, count=8, seed=2)
    assert broken(days) == []


def test_broken_promises_are_seen() -> None:
    a, b = ("degrees", "major"), ("intervals", "tonic")
    idle = [Day([1.0, 1.0], [a, a], new=0, overdue_days=9.0, weak=frozenset({b})) for _ in range(10)]
    assert len(broken(idle)) == 5
    assert twice_running(idle) == 1.0
    assert back_within(idle, 2) == 0.0
