"""Thirty days of practice by a made-up learner, over the real drills, schedule and mixer.

Run from the project's folder::

    python -m tests.bench.learner         # three learners, ten questions a day and twenty, with and without a song
    python -m tests.bench.learner 40      # another number of questions a day

The learner: each skill has an ability on the scale of the levels; the chance of a right answer falls from near one to
the chance of a guess as the level passes the ability (a logistic curve, as item response theory has it: G. Rasch, 1960,
recalled). Each answer raises the ability a little, less and less; each day without the skill takes some of it away.
The numbers are ours: they are no model of musicians, but a course that the rules must hold on.

Ends with status 1 where a promise is broken: the share right far from the aim, no or too much new material, the same
drill twice running, due skills that starve, weak skills that do not come back.
"""

from __future__ import annotations

import math
import random
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from tests.practice.songs import lanterns
from tutor.practice.catalogue import drills
from tutor.practice.drill import Answer, Drill, Material, Song
from tutor.practice.level import TARGET
from tutor.practice.mix import WEAK
from tutor.practice.schedule import Card, due
from tutor.practice.session import Asked, start

STEEP = 9.0
"""Steepness of the curve: from 85 % right to 50 % within about a fifth of the scale."""
START = datetime(2026, 1, 5, 18, 0, tzinfo=UTC)
SETTLED = 7
"""Days before the figures count."""
Skill = tuple[str, str]


@dataclass
class Learner:
    """Someone who practises."""

    rng: random.Random
    talent: float
    """Ability in a skill never asked, on average; 0 to 1."""
    grows: float = 0.06
    """How much the first answers raise an ability."""
    ability: dict[Skill, float] = field(default_factory=dict)
    asked: Counter[Skill] = field(default_factory=Counter)

    def chance(self, key: Skill, level: float, guess: float) -> float:
        """Of a right answer; 85 % where the level meets the ability."""
        known = self.ability.setdefault(key, self.rng.gauss(self.talent, 0.15))
        lift = math.log((TARGET - guess) / (1 - TARGET)) / STEEP if guess < TARGET else 0.0
        return guess + (1 - guess) / (1 + math.exp(-STEEP * (known - level + lift)))

    def answer(self, asked: Asked) -> tuple[Answer, float]:
        """An answer, and how long it took in seconds."""
        key, level = (asked.item.drill, asked.item.skill), asked.item.level
        guess = 1 / len(asked.question.choices) if asked.question.choices else 0.0
        right = self.rng.random() < self.chance(key, level, guess)
        self.asked[key] += 1
        self.ability[key] += self.grows / math.sqrt(self.asked[key])
        seconds = 6 + 6 * self.rng.random() + (0 if right else 4)
        if right:
            return asked.drill.right(asked.item), seconds
        good = asked.drill.right(asked.item).choice
        wrong = [c.label for c in asked.question.choices if c.label != good]
        return (Answer(choice=self.rng.choice(wrong)) if wrong else Answer()), seconds

    def sleep(self, met: Sequence[Skill]) -> None:
        """A night: what was not practised fades a little."""
        for key in met:
            self.ability[key] = max(self.ability[key] - 0.004, self.talent - 0.2)


@dataclass
class Day:
    """What one day held."""

    credits: list[float] = field(default_factory=list)
    asked: list[Skill] = field(default_factory=list)
    new: int = 0
    """Skills met for the first time."""
    due: int = 0
    """Skills due when it began."""
    served: int = 0
    """Of these, how many were asked."""
    overdue_days: float = 0.0
    """How long the longest of them had waited."""
    weak: frozenset[Skill] = frozenset()
    """Skills that went badly, when it began."""


def live(
    learner: Learner, offered: Sequence[Drill], *, days: int, count: int, seed: int, songs: tuple[Song, ...] = ()
) -> list[Day]:
    """Practise every day.

    Args:
        learner: who.
        offered: the drills.
        days: how many.
        count: questions a day.
        seed: of the sessions' dice.
        songs: songs to draw on.
    """
    dice, cards, out = random.Random(seed), dict[Skill, Card](), []
    for number in range(days):
        now = START + timedelta(days=number, minutes=dice.randrange(90))
        met = {k for k, c in cards.items() if not c.new}
        waiting = due([cards[k] for k in met], now)
        here = Day(due=len(waiting), weak=frozenset(k for k in met if (cards[k].recent or 0) < WEAK))
        here.overdue_days = max(((now - c.due) / timedelta(days=1) for c in waiting if c.due), default=0.0)
        session = start(
            offered, cards.values(), Material(songs=songs), rng=dice, now=now, count=count, singer="Made Up"
        )  # fmt: skip
        while (asked := session.current) is not None:
            given, seconds = learner.answer(asked)
            session, mark, _ = session.answer(given, seconds, session.now + timedelta(seconds=seconds + 5))
            here.credits.append(mark.credit)
            here.asked.append((asked.item.drill, asked.item.skill))
        cards = dict(session.cards)
        here.new = len(set(here.asked) - met)
        here.served = len({c.key for c in waiting} & set(here.asked))
        learner.sleep([k for k in met if k not in here.asked])
        out.append(here)
    return out


def right_share(days: Sequence[Day]) -> float:
    """Share of right answers."""
    credits = [c for d in days for c in d.credits]
    return sum(c >= 1 - 1e-9 for c in credits) / len(credits)


def twice_running(days: Sequence[Day]) -> float:
    """Share of questions that follow one of the same drill."""
    pairs = [(a, b) for d in days for a, b in zip(d.asked, d.asked[1:], strict=False)]
    return sum(a[0] == b[0] for a, b in pairs) / len(pairs)


def back_within(days: Sequence[Day], most: int) -> float:
    """Share of weak skills that are asked within some days."""
    seen = [
        any(k in later.asked for later in days[i : i + most])
        for i, day in enumerate(days[: len(days) - most + 1])
        for k in day.weak
    ]
    return sum(seen) / len(seen) if seen else 1.0


def told(days: Sequence[Day]) -> str:
    """The figures of a course, after the first days, in a line."""
    late, new = days[SETTLED:], [d.new for d in days[1:]]
    return (
        f"right {right_share(late):.3f} (aim {TARGET}); new a day {sum(new) / len(new):.2f}, at most {max(new)}; "
        f"met {len({k for d in days for k in d.asked})}; due {sum(d.due for d in late) / len(late):.1f}, "
        f"asked {sum(d.served for d in late) / len(late):.1f}, longest wait {waited(late):.1f} days; "
        f"weak back within 2 days {back_within(days, 2):.2f}; same drill running {twice_running(days):.3f}"
    )


def waited(days: Sequence[Day]) -> float:
    """How long a due skill waited at most, in days."""
    return max(d.overdue_days for d in days)


def broken(days: Sequence[Day]) -> list[str]:
    """Promises that a course breaks."""
    late, new = days[SETTLED:], [d.new for d in days[1:]]
    share = right_share(late)
    out = [] if 0.8 <= share <= 0.95 else [f"{share:.2f} right"]
    out += [] if sum(new) / len(new) >= 0.8 and max(new) <= 2 else ["new things"]
    out += [] if waited(late) <= 3 else ["due skills starve"]
    out += [] if back_within(days, 2) >= 0.95 else ["weak skills do not come back"]
    return out + ([] if twice_running(days) <= 0.02 else ["the same drill twice running"])


def main(arguments: list[str]) -> int:
    """Run the bench; the exit status."""
    wrong = 0
    for songs in ((), (lanterns(),)):
        for count in [int(arguments[0])] if arguments else [10, 20]:
            for talent in (0.15, 0.4, 0.7):
                days = live(Learner(random.Random(1), talent), drills(), days=30, count=count, seed=2, songs=songs)
                faults = broken(days)
                wrong += bool(faults)
                what = f"{count} a day{', with a song' if songs else ''}, talent {talent}: {told(days)}"
                sys.stdout.write(f"{what}{''.join(f'  BROKEN: {x}' for x in faults)}\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
