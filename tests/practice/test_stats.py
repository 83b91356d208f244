"""Figures of progress."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime, timedelta, timezone

import pytest

from tutor.practice import stats
from tutor.practice.schedule import Review

T0 = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)


def one(days: float = 0, credit: float = 1.0, **more: object) -> Review:
    values: dict[str, object] = {
        "singer": "Ines", "drill": "inversions", "skill": "triads-close", "at": T0 + timedelta(days=days),
        "seconds": 10.0, "credit": credit, "grade": 3, **more,
    }  # fmt: skip
    return Review(**values)  # type: ignore[arg-type]


def test_by_skill() -> None:
    figures = stats.by_skill([one(0, 1), one(1, 0, seconds=20.0), one(2, 0.5), one(3, 1, skill="sevenths-close")])
    assert [(f.skill, f.asked, f.right) for f in figures] == [("sevenths-close", 1, 1), ("triads-close", 3, 1)]
    assert figures[1].accuracy == pytest.approx(1 / 3)
    assert figures[1].credit == pytest.approx(0.5)
    assert figures[1].median_s == 10.0
    assert figures[1].trend == 0.0


def test_trend_compares_the_latest_ten() -> None:
    reviews = [one(i, 0.0) for i in range(10)] + [one(10 + i, 1.0) for i in range(10)]
    assert stats.by_skill(reviews)[0].trend == 1.0


def test_withdrawn_counts_nowhere() -> None:
    reviews = [one(0, 1), one(1, 0, withdrawn=True, answered="x", expected="y")]
    assert stats.by_skill(reviews)[0].asked == 1
    assert stats.confusions(reviews) == {}
    assert len(stats.by_day(reviews, UTC)) == 1


def test_confusions_and_what_is_mistaken() -> None:
    reviews = [one(i, 0, expected="root", answered=a) for i, a in enumerate(["first", "second", "first", "root", ""])]
    assert stats.confusions(reviews) == {"root": {"first": 2, "second": 1, "root": 1}}
    assert stats.mistaken_for(reviews) == {"root": ("first", "second")}
    assert stats.confusions(reviews, drill="form") == {}


def test_days_follow_the_singers_zone() -> None:
    late = one(0.66)  # 23:20 in UTC, the next day in Tokyo
    assert stats.by_day([late], UTC)[0].day.day == 2
    assert stats.by_day([late], timezone(timedelta(hours=9)))[0].day.day == 3


def test_streak_forgives_one_free_day() -> None:
    days = [one(d) for d in (0, 1, 3, 4)]
    found = stats.streak(days, T0 + timedelta(days=5), UTC)
    assert (found.days, found.longest, found.this_week, found.practised_today) == (4, 4, 4, False)
    assert stats.streak(days, T0 + timedelta(days=7), UTC).days == 0
    assert stats.streak([one(0), one(3)], T0 + timedelta(days=3), UTC).days == 1
    assert stats.streak([], T0, UTC).longest == 0


# 8 of 10 and 0 of 10, worked out beforehand.
@pytest.mark.parametrize(("right", "low", "high"), [(8, 0.4902, 0.9433), (0, 0.0, 0.2775)])
def test_wilson(right: int, low: float, high: float) -> None:
    assert stats.wilson(right, 10) == pytest.approx((low, high), abs=5e-5)
    assert stats.wilson(0, 0) == (0.0, 1.0)


def test_export() -> None:
    reviews = [one(1, answered="=1+1"), one(0, withdrawn=True)]
    rows = list(csv.DictReader(io.StringIO(stats.to_csv(reviews))))
    assert [r["withdrawn"] for r in rows] == ["True", "False"]
    assert rows[1]["answered"] == "'=1+1"
    back = [Review.from_json(r) for r in json.loads(stats.to_json(reviews))["reviews"]]
    assert back == [reviews[1], reviews[0]]
