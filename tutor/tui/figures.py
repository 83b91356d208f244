"""Progress in words: skills, what was taken for what, days and what comes due."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from tutor.practice import stats
from tutor.practice.drill import Drill
from tutor.practice.schedule import Card, Review
from tutor.practice.stats import SkillFigures, Streak
from tutor.tui import plots
from tutor.tui.look import Glyphs

MOST_LABELS = 8
"""Answers in one table of what was taken for what; the most frequent ones."""
DAYS = 14
"""Days shown back and ahead."""
_TURN = 0.05
"""A change of mean credit that is worth a word (a choice of ours)."""


def skill_words(drill: Drill | None, skill: str) -> str:
    """A skill in words."""
    words = getattr(drill, "words", None)
    try:
        return str(words(skill)) if words else skill
    except KeyError:
        return skill  # of an earlier version


def label_words(drill: Drill | None, label: str) -> str:
    """The label of an answer in words."""
    said = getattr(drill, "said", None)
    return str(said(label)) if said else label


def how(figures: SkillFigures, sign: Glyphs) -> str:
    """How a skill goes: a bar, the share right, the usual time, and where it is going."""
    turn = ", rising" if figures.trend > _TURN else ", falling" if figures.trend < -_TURN else ""
    share = f"{figures.right} of {figures.asked} right"
    return f"{plots.bar(figures.accuracy, sign)} {share}, {_seconds(figures.median_s)}{turn}"


def _seconds(seconds: float) -> str:
    return f"{seconds:.1f} s" if seconds < 100 else f"{seconds / 60:.0f} min"


def mixed_up(reviews: Sequence[Review], drills: Sequence[Drill], most: int = 5) -> list[tuple[str, str, int]]:
    """What was taken for what in words, most often first: expected, answered, how often."""
    counts: dict[tuple[str, str], int] = {}
    for drill in drills:
        for right, given in named(reviews, drill).items():
            for answered, n in given.items():
                if answered != right:
                    pair = (label_words(drill, right), label_words(drill, answered))
                    counts[pair] = counts.get(pair, 0) + n
    return [(e, a, n) for (e, a), n in sorted(counts.items(), key=lambda kv: (-kv[1], kv[0]))][:most]


def named(reviews: Sequence[Review], drill: Drill) -> Mapping[str, Mapping[str, int]]:
    """The confusions of a drill among answers that have a name; bars, melodies and taps are no names."""
    labels = getattr(drill, "labels", None)
    table = stats.confusions([r for r in reviews if r.credit < 0.5 or r.credit >= stats.RIGHT], drill.name)

    def counts(label: str) -> bool:
        return label in labels if labels else not label.replace(" ", "").replace(".", "").isdigit()

    out = {right: {g: n for g, n in given.items() if counts(g)} for right, given in table.items() if counts(right)}
    return {right: given for right, given in out.items() if given}


def confusion_tables(reviews: Sequence[Review], drills: Sequence[Drill], sign: Glyphs) -> list[tuple[str, str]]:
    """For each drill in which something was mixed up: its title and the table."""
    out = []
    for drill in drills:
        found = named(reviews, drill)
        if not any(given != right for right, row in found.items() for given in row):
            continue
        met: dict[str, int] = {}
        for right, row in found.items():
            for given, n in row.items():
                weight = n * (1 if given == right else 1000)  # what was mixed up comes before what went well
                met[right] = met.get(right, 0) + weight
                met[given] = met.get(given, 0) + weight
        labels = sorted(met, key=lambda x: (-met[x], x))[:MOST_LABELS]
        counts = [[found.get(right, {}).get(given, 0) for given in labels] for right in labels]
        out.append((drill.title, plots.table([label_words(drill, x) for x in labels], counts, sign)))
    return out


@dataclass(frozen=True, slots=True)
class Fortnight:
    """Two weeks back, two weeks ahead."""

    line: str
    practised: str
    """Plot of the answers of each day; empty without any."""
    due: str
    """Plot of the skills that come due; empty without any."""


def fortnight(
    reviews: Sequence[Review], cards: Sequence[Card], now: datetime, zone: tzinfo, sign: Glyphs, height: int = 4
) -> Fortnight:
    """The days of practice, and what comes due."""
    today = now.astimezone(zone).date()
    days = {d.day: d for d in stats.by_day(reviews, zone)}
    back = [today - timedelta(days=n) for n in range(DAYS - 1, -1, -1)]
    asked = [float(days[d].asked) if d in days else 0.0 for d in back]
    ahead = stats.due_forecast(cards, now, DAYS)
    names = ["now", *(str((today + timedelta(days=n)).day) for n in range(1, DAYS))]
    return Fortnight(
        streak_words(stats.streak(reviews, now, zone), sum(d.minutes for d in days.values())),
        plots.columns(asked, [str(d.day) for d in back], sign, height=height) if any(asked) else "",
        plots.columns([float(n) for n in ahead], names, sign, height=height) if any(ahead) else "",
    )


def streak_words(streak: Streak, minutes: float) -> str:
    """The habit in one line; a pause is never counted against anybody."""
    week = "every one" if streak.this_week == 7 else str(streak.this_week)
    said = f"Practised on {week} of the last seven days" if streak.this_week else "A good day to begin again"
    if streak.days > 1:
        said += f"; {streak.days} days in a row, a free day forgiven"
    return said + (f"; {minutes:.0f} minutes of answers in all." if minutes >= 1 else ".")
