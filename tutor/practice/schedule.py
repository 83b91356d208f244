"""When a skill comes back: cards, reviews, and the only use of the spacing library.

A card is one skill of one drill for one singer, never one generated question. Everything is deterministic: the time
is always passed in and the library's own dice are switched off. The library is called without learning steps, so an
interval is at least a day; a session itself repeats what went wrong.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import fsrs

from tutor.music.shape import shaped
from tutor.practice.drill import Item, Mark
from tutor.practice.level import Ladder

ALGORITHM = "fsrs 6"
"""Named in data files: other generations use other curves."""
USUAL = 12
"""How many latest answers count for the usual time and the recent credit."""
QUICK_SHARE = 0.6
"""A right answer in less than this share of the singer's usual time counts as easy (a choice of ours)."""

_SCHEDULER = fsrs.Scheduler(learning_steps=(), relearning_steps=(), enable_fuzzing=False)


@dataclass(frozen=True, slots=True)
class Card:
    """One skill of one singer."""

    singer: str
    drill: str
    """Name of the drill."""
    skill: str
    """One of its skills."""
    state: Mapping[str, Any] = field(default_factory=dict)
    """JSON values: 'memory' (the library's), 'ladder', 'answers', 'credits', 'times'. Empty: never asked."""

    @property
    def key(self) -> tuple[str, str]:
        """Drill and skill."""
        return self.drill, self.skill

    @property
    def new(self) -> bool:
        """True before the first answer."""
        return "memory" not in self.state

    @property
    def due(self) -> datetime | None:
        """When it should come back (aware, UTC); None before the first answer."""
        return None if self.new else datetime.fromisoformat(self.state["memory"]["due"])

    @property
    def last(self) -> datetime | None:
        """When it was last answered."""
        return None if self.new else datetime.fromisoformat(self.state["memory"]["last_review"])

    @property
    def stability_days(self) -> float:
        """Days until recall falls to 90 %; 0 before the first answer."""
        return 0.0 if self.new else float(self.state["memory"]["stability"])

    @property
    def ladder(self) -> Ladder:
        """Difficulty inside the skill."""
        return Ladder(*self.state["ladder"]) if "ladder" in self.state else Ladder()

    @property
    def level(self) -> float:
        """Difficulty of the next question, 0 to 1."""
        return self.ladder.level

    @property
    def answers(self) -> int:
        """How many answers it has seen."""
        return int(self.state.get("answers", 0))

    @property
    def recent(self) -> float | None:
        """Mean credit of the latest answers; None before the first."""
        credits = self.state.get("credits") or ()
        return sum(credits) / len(credits) if credits else None

    @property
    def usual_s(self) -> float | None:
        """Usual response time in seconds; None before the first answer."""
        times = self.state.get("times") or ()
        return sorted(times)[len(times) // 2] if times else None

    def recall(self, now: datetime) -> float:
        """Predicted chance, 0 to 1, that the skill is still there; 0 before the first answer."""
        if self.new:
            return 0.0
        return float(_SCHEDULER.get_card_retrievability(_memory(self, now), _utc(now)))

    def at_level(self, level: float) -> Card:
        """The same card, to be asked at another level (placement)."""
        return replace(self, state={**self.state, "ladder": [round(level, 6), 0, 0]})

    def to_json(self) -> dict[str, Any]:
        """A plain value for storing."""
        return {"singer": self.singer, "drill": self.drill, "skill": self.skill, "state": dict(self.state)}

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Card:
        """Rebuild a card from `to_json`.

        Raises:
            ValueError: the value is no card; other errors of Python where it is none at all.
        """
        card = shaped(cls(raw["singer"], raw["drill"], raw["skill"], dict(raw["state"])))
        at = card.due, card.last, card.usual_s, shaped(card.ladder)  # a card is sound when it can say this
        aware = all(t is None or t.tzinfo is not None for t in at[:2])
        if not (aware and math.isfinite(card.stability_days) and 0 <= (card.recent or 0.0) <= 1 and card.answers >= 0):
            raise ValueError("not a sound card")
        return card


@dataclass(frozen=True, slots=True)
class Review:
    """One answer, as it enters the statistics."""

    singer: str
    drill: str
    skill: str
    at: datetime
    """When (aware, UTC)."""
    seconds: float
    """Time from the question to the answer."""
    credit: float
    """0 to 1."""
    grade: int
    """1 forgotten, 2 hard, 3 good, 4 easy."""
    level: float = 0.0
    """Difficulty of the question."""
    song_id: str = ""
    """The song it was cut from; empty for fresh material."""
    seed: str = ""
    """Seed of the question's dice; with level and song it can be made again."""
    answered: str = ""
    """Label of what was answered."""
    expected: str = ""
    """Label of what was right."""
    withdrawn: bool = False
    """Disputed and set aside: counts nowhere."""

    def to_json(self) -> dict[str, Any]:
        """A plain value for storing."""
        return {**asdict(self), "at": self.at.isoformat()}

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Review:
        """Rebuild a review from `to_json`.

        Raises:
            ValueError: the value is no review; other errors of Python where it is none at all.
        """
        return shaped(cls(**{**raw, "at": datetime.fromisoformat(raw["at"])}))


def grade(credit: float, seconds: float, usual_s: float | None) -> int:
    """Grade an answer for the spacing rule.

    Below half credit counts as forgotten, partial credit as hard, full credit as good; easy is full credit in
    clearly less than the singer's usual time for the skill. The borders are a choice of ours.
    """
    if credit < 0.5:
        return 1
    if credit < 1 - 1e-9:
        return 2
    return 4 if usual_s is not None and 0 < seconds < QUICK_SHARE * usual_s else 3


def review(
    card: Card, mark: Mark, seconds: float, at: datetime, *, item: Item | None = None, seed: str = ""
) -> tuple[Card, Review]:
    """Take an answer in.

    Args:
        card: the skill as it stood.
        mark: the judgement.
        seconds: response time.
        at: when (aware).
        item: the question, for its level and song.
        seed: seed of the question's dice.

    Returns:
        The card as it stands now, and the review to keep.

    Raises:
        ValueError: ``at`` carries no time zone.
    """
    usual = card.usual_s if card.answers >= 5 else None
    given = grade(mark.credit, seconds, usual)
    memory, _ = _SCHEDULER.review_card(_memory(card, at), fsrs.Rating(given), review_datetime=_utc(at))
    ladder = card.ladder.after(mark.credit)
    state = {
        "memory": dict(memory.to_dict()),
        "ladder": [ladder.level, ladder.reversals, ladder.direction],
        "answers": card.answers + 1,
        "credits": [*card.state.get("credits", []), round(mark.credit, 4)][-USUAL:],
        "times": [*card.state.get("times", []), round(seconds, 2)][-USUAL:],
    }
    kept = Review(
        singer=card.singer, drill=card.drill, skill=card.skill, at=_utc(at), seconds=round(seconds, 2),
        credit=mark.credit, grade=given, level=item.level if item else 0.0, song_id=item.song_id if item else "",
        seed=seed, answered=mark.answered, expected=mark.expected,
    )  # fmt: skip
    return replace(card, state=state), kept


def due(cards: Iterable[Card], now: datetime) -> tuple[Card, ...]:
    """The cards whose time has come, longest overdue first."""
    waiting = [(c.due, c.drill, c.skill, c) for c in cards if c.due is not None and c.due <= now]
    return tuple(c for _, _, _, c in sorted(waiting, key=lambda w: w[:3]))


def forecast(cards: Iterable[Card], now: datetime, days: int = 7) -> tuple[int, ...]:
    """How many cards come due on each of the next days; the first figure holds what is overdue too."""
    counts = [0] * days
    for card in cards:
        if card.due is not None:
            day = max(0, (card.due - now) // timedelta(days=1))
            if day < days:
                counts[day] += 1
    return tuple(counts)


def _memory(card: Card, at: datetime) -> fsrs.Card:
    if card.new:
        return fsrs.Card(card_id=1, due=_utc(at))
    return fsrs.Card.from_dict(card.state["memory"])


def _utc(at: datetime) -> datetime:
    if at.tzinfo is None:
        raise ValueError("a time without a time zone")
    return at.astimezone(UTC)
