"""What the store keeps that belongs to no other room."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

from tutor.errors import plain
from tutor.music.shape import shaped
from tutor.music.voice import SingerProfile
from tutor.practice.schedule import Card, Review

UNREADABLE = (ValueError, TypeError, KeyError, AttributeError, IndexError, ArithmeticError, RecursionError)
"""What a row raises that was damaged or never kept by this program; it is passed over."""


@dataclass(frozen=True, slots=True)
class SongCard:
    """A song in the library."""

    id: str
    """SHA-256 of the file."""
    title: str
    composer: str
    path: str
    """Where it was last opened from; the name of the file for a bundled song."""
    bundled: bool
    opened_at: datetime | None
    """Aware UTC; None for a bundled song that was never opened."""
    blurb: str = ""
    """One line about a bundled song."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A practice session or a warm-up run as it stood after the last answer."""

    id: int
    kind: str
    """'practice' or 'warmup'."""
    started_at: datetime
    changed_at: datetime
    body: dict[str, Any]


def profile_to_json(profile: SingerProfile) -> str:
    """A profile as JSON text."""
    raw = asdict(profile)
    raw["measured_on"] = _day_text(profile.measured_on)
    raw["strained_on"] = [_day_text(on) for on in profile.strained_on]
    return json.dumps(raw)


def profile_from_json(name: str, text: str) -> SingerProfile:
    """Rebuild a profile from `profile_to_json`.

    Raises:
        UNREADABLE: the text is no profile.
    """
    raw = json.loads(text) | {"name": name}
    raw["measured_on"] = _day(raw["measured_on"])
    raw["strained_at"] = tuple(raw["strained_at"])
    raw["strained_on"] = tuple(_day(text) for text in raw.get("strained_on", ()))
    return shaped(SingerProfile(**raw))


def card_from_json(singer: str, drill: str, skill: str, text: str) -> Card:
    """Rebuild a card; what the columns say counts.

    Raises:
        UNREADABLE: the text is no card.
    """
    return replace(Card.from_json(json.loads(text)), singer=singer, drill=drill, skill=skill)


def review_from_json(singer: str, text: str) -> Review:
    """Rebuild a review; whose it is the column says.

    Raises:
        UNREADABLE: the text is no review.
    """
    return replace(Review.from_json(json.loads(text)), singer=singer)


def song_from_row(song: str, title: str, composer: str, path: str, bundled: int, at: str) -> SongCard:
    """A song in the library.

    Raises:
        UNREADABLE: the row is none that was kept here.
    """
    if not Path(path).name or (bundled and (Path(path).name != path or "\\" in path)):
        raise ValueError("no path of a song")
    return SongCard(song, plain(title), plain(composer), path, bool(bundled), _moment(at))


def kept_from_row(number: int, kind: str, started_at: str, changed_at: str, body: str) -> Kept:
    """A session or run.

    Raises:
        UNREADABLE: the row is none that was kept here.
    """
    return Kept(number, kind, _moment(started_at), _moment(changed_at), mapping(body))


def mapping(text: str) -> dict[str, Any]:
    """A JSON object.

    Raises:
        UNREADABLE: the text is none.
    """
    raw = json.loads(text)
    if not isinstance(raw, dict):
        raise TypeError("not an object")
    return raw


def _moment(text: str) -> datetime:
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        raise ValueError("a moment without a zone")
    return at


def _day_text(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None
