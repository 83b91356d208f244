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
    raw["measured_on"] = profile.measured_on.isoformat() if profile.measured_on else None
    return json.dumps(raw)


def profile_from_json(text: str) -> SingerProfile:
    """Rebuild a profile from `profile_to_json`."""
    raw = json.loads(text)
    raw["measured_on"] = date.fromisoformat(raw["measured_on"]) if raw["measured_on"] else None
    raw["strained_at"] = tuple(raw["strained_at"])
    return SingerProfile(**raw)
