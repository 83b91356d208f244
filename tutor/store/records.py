"""What the store keeps that belongs to no other room."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from tutor.music.voice import SingerProfile


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


def profile_from_json(text: str) -> SingerProfile:
    """Rebuild a profile from `profile_to_json`."""
    raw = json.loads(text)
    raw["measured_on"] = _day(raw["measured_on"])
    raw["strained_at"] = tuple(raw["strained_at"])
    raw["strained_on"] = tuple(_day(text) for text in raw.get("strained_on", ()))
    return SingerProfile(**raw)


def _day_text(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None
