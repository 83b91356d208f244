"""The weekly load and its caution."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.warmup.songs import LANTERN, reading_of, table_of
from tutor.music.voice import SingerProfile
from tutor.warmup import run as led
from tutor.warmup.load import JUMP, DiaryEntry, plan_dose, run_dose, weeks
from tutor.warmup.model import Plan
from tutor.warmup.plan import plan

MONDAY = date(2026, 3, 2)


def entry(days: int, minutes: float, **rest: object) -> DiaryEntry:
    return DiaryEntry(MONDAY + timedelta(days=days), minutes * 60, minutes * 60 * 220, **rest)  # type: ignore[arg-type]


def planned() -> Plan:
    table = table_of(LANTERN)
    found = plan(table, reading_of(table), SingerProfile.default("Robin", "tenor"), minutes=12)
    assert isinstance(found, Plan)
    return found


def test_weeks_start_on_monday_and_empty_ones_are_kept() -> None:
    found = weeks([entry(0, 20), entry(6, 10), entry(21, 30)], MONDAY + timedelta(days=23))
    assert [w.monday for w in found] == [MONDAY + timedelta(days=7 * k) for k in range(4)]
    assert [w.time_s for w in found] == [1800, 0, 0, 1800]
    assert [w.entries for w in found] == [2, 0, 0, 1]
    assert found[0].cycles == pytest.approx(1800 * 220)


def test_a_jump_is_called_and_says_that_it_is_our_choice() -> None:
    steady = [entry(7 * k, 30) for k in range(4)]
    calm = weeks([*steady, entry(28, 40)], MONDAY + timedelta(days=30))[-1]
    assert calm.caution == ""
    jump = weeks([*steady, entry(28, 30 * JUMP + 1)], MONDAY + timedelta(days=30))[-1]
    assert "choice of ours" in jump.caution
    assert "usual 30 minutes" in jump.caution


def test_a_first_or_small_week_is_no_jump() -> None:
    assert weeks([entry(0, 300)], MONDAY)[-1].caution == ""
    assert weeks([entry(0, 2), entry(7, 8)], MONDAY + timedelta(days=7))[-1].caution == ""


def test_strains_and_worse_feelings_are_counted() -> None:
    found = weeks(
        [
            entry(0, 10, before="easy", after="effortful"),
            entry(1, 10, before="all right", after="all right"),
            entry(2, 10, before="effortful", after="easy", strained_at=(69,)),
            entry(3, 10, after="strained"),
        ],
        MONDAY + timedelta(days=4),
    )[-1]
    assert (found.worse, found.strained) == (1, 2)
    assert "strained 2 times" in found.caution


def test_later_entries_do_not_count_yet() -> None:
    assert weeks([entry(10, 10)], MONDAY) == ()


@given(st.lists(st.tuples(st.integers(0, 60), st.floats(0, 120)), max_size=30))
def test_no_singing_is_lost(days: list[tuple[int, float]]) -> None:
    found = weeks([entry(d, m) for d, m in days], MONDAY + timedelta(days=60))
    assert sum(w.time_s for w in found) == pytest.approx(sum(m * 60 for _, m in days))


def test_a_run_sung_to_the_end_has_the_plans_dose_and_a_lower_one_fewer_cycles() -> None:
    """Cycle dose is frequency times time: a tone lower is 2 ** (-2 / 12) of the cycles, in the same time."""
    made = planned()
    done = led.tick(led.go_on(led.tick(led.begin(led.start(made)), made.seconds + 1)), made.seconds)
    assert run_dose(done) == pytest.approx(plan_dose(made))
    assert run_dose(done)[0] == pytest.approx(made.sung_s)
    first = next(k for k, s in enumerate(made.steps) if s.phase == "five notes")
    high = led.begin(led.start(made))
    while high.step < first:
        high = led.skip(high)
    low = led.next_(led.lower(high))
    high = led.next_(high)
    assert run_dose(low)[0] == run_dose(high)[0]
    assert run_dose(low)[1] == pytest.approx(run_dose(high)[1] * 2 ** (-2 / 12))
