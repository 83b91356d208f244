"""Progress in figures, from reviews alone. Pure; withdrawn answers count nowhere."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo

from tutor.practice.schedule import Card, Review, forecast

RIGHT = 1 - 1e-9


@dataclass(frozen=True, slots=True)
class SkillFigures:
    """How one skill goes."""

    drill: str
    skill: str
    asked: int
    """Answers."""
    right: int
    """Answers with full credit."""
    credit: float
    """Mean credit, 0 to 1."""
    median_s: float
    """Median response time in seconds."""
    trend: float
    """Mean credit of the latest ten answers less that of the ten before; 0 with fewer than twenty."""
    level: float
    """Level of the latest question, 0 to 1."""
    last: datetime
    """When it was last answered."""

    @property
    def accuracy(self) -> float:
        """Share of answers with full credit."""
        return self.right / self.asked


@dataclass(frozen=True, slots=True)
class Day:
    """One day of practice."""

    day: date
    asked: int
    credit: float
    """Mean credit."""
    minutes: float
    """Time spent on answers."""


@dataclass(frozen=True, slots=True)
class Streak:
    """Days in a row, told without nagging: a pause ends nothing that was learnt."""

    days: int
    """Days in a row up to the latest day of practice; one free day between two is forgiven."""
    longest: int
    this_week: int
    """Days practised in the seven days up to today."""
    practised_today: bool


def counted(reviews: Iterable[Review]) -> tuple[Review, ...]:
    """The reviews that count, oldest first."""
    return tuple(sorted((r for r in reviews if not r.withdrawn), key=lambda r: r.at))


def by_skill(reviews: Iterable[Review]) -> tuple[SkillFigures, ...]:
    """Figures of every skill, by drill and skill."""
    groups: dict[tuple[str, str], list[Review]] = defaultdict(list)
    for review in counted(reviews):
        groups[review.drill, review.skill].append(review)
    return tuple(_figures(drill, skill, group) for (drill, skill), group in sorted(groups.items()))


def _figures(drill: str, skill: str, group: Sequence[Review]) -> SkillFigures:
    credits = [r.credit for r in group]
    times = sorted(r.seconds for r in group)
    middle = len(times) // 2
    median = times[middle] if len(times) % 2 else (times[middle - 1] + times[middle]) / 2
    trend = (sum(credits[-10:]) - sum(credits[-20:-10])) / 10 if len(credits) >= 20 else 0.0
    return SkillFigures(
        drill, skill, len(group), sum(c >= RIGHT for c in credits), sum(credits) / len(credits), median, trend,
        group[-1].level, group[-1].at,
    )  # fmt: skip


def confusions(
    reviews: Iterable[Review], drill: str | None = None, skill: str | None = None
) -> dict[str, dict[str, int]]:
    """The confusion table: for each right label, how often each label was answered. Empty answers are left out."""
    table: dict[str, Counter[str]] = defaultdict(Counter)
    for review in counted(reviews):
        fits = (drill is None or review.drill == drill) and (skill is None or review.skill == skill)
        if fits and review.expected and review.answered:
            table[review.expected][review.answered] += 1
    return {right: dict(given.most_common()) for right, given in sorted(table.items())}


def mistaken_for(reviews: Iterable[Review], drill: str | None = None) -> dict[str, tuple[str, ...]]:
    """For each right label what it was taken for, most often first: the `confusions` of a Material."""
    table = confusions(reviews, drill)
    out = {right: tuple(g for g in given if g != right) for right, given in table.items()}
    return {right: given for right, given in out.items() if given}


def by_day(reviews: Iterable[Review], zone: tzinfo) -> tuple[Day, ...]:
    """Days of practice in the singer's time zone, oldest first."""
    groups: dict[date, list[Review]] = defaultdict(list)
    for review in counted(reviews):
        groups[review.at.astimezone(zone).date()].append(review)
    return tuple(
        Day(day, len(group), sum(r.credit for r in group) / len(group), sum(r.seconds for r in group) / 60)
        for day, group in sorted(groups.items())
    )


def streak(reviews: Iterable[Review], now: datetime, zone: tzinfo) -> Streak:
    """Days in a row, with one free day forgiven (a choice of ours: a habit is no chain)."""
    days = [d.day for d in by_day(reviews, zone)]
    today = now.astimezone(zone).date()
    run = longest = 0
    previous: date | None = None
    for day in days:
        run = run + 1 if previous is not None and day - previous <= timedelta(days=2) else 1
        longest, previous = max(longest, run), day
    current = run if previous is not None and today - previous <= timedelta(days=2) else 0
    week = sum(today - timedelta(days=7) < day <= today for day in days)
    return Streak(current, longest, week, bool(days) and days[-1] == today)


def due_forecast(cards: Iterable[Card], now: datetime, days: int = 14) -> tuple[int, ...]:
    """Skills coming due on each of the next days; the first figure holds what is overdue."""
    return forecast(cards, now, days)


def wilson(right: int, asked: int) -> tuple[float, float]:
    """Wilson 95 % interval for a share of few trials.

    Source: E. B. Wilson, Journal of the American Statistical Association 22 (1927).
    """
    if asked == 0:
        return 0.0, 1.0
    z = 1.959963984540054
    share = right / asked
    centre = share + z * z / (2 * asked)
    spread = z * ((share * (1 - share) + z * z / (4 * asked)) / asked) ** 0.5
    whole = 1 + z * z / asked
    return max(0.0, (centre - spread) / whole), min(1.0, (centre + spread) / whole)


def to_csv(reviews: Iterable[Review]) -> str:
    """Every review as CSV, withdrawn ones marked. Text that a spreadsheet would run is disarmed with a quote."""
    out = io.StringIO()
    names = list(Review.__dataclass_fields__)
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    for review in sorted(reviews, key=lambda r: r.at):
        raw = review.to_json()
        writer.writerow([_disarmed(raw[n]) for n in names])
    return out.getvalue()


def to_json(reviews: Iterable[Review]) -> str:
    """Every review as JSON."""
    rows = [r.to_json() for r in sorted(reviews, key=lambda r: r.at)]
    return json.dumps({"schema": 1, "reviews": rows}, ensure_ascii=False, indent=1)


def _disarmed(value: object) -> object:
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value
