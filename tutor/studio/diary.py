"""The diary of warm-ups: what is kept of each, and how it is read again."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Any, get_args

from tutor.music.voice import Condition, Feeling
from tutor.warmup.load import DiaryEntry, Week, run_dose, weeks

if TYPE_CHECKING:
    from tutor.studio import Studio
    from tutor.warmup.run import Run

BEFORE: dict[Condition, Feeling] = {"fresh": "easy", "a little tired": "all right", "tired": "effortful"}
"""How the voice felt before, from what the singer said before the plan was made."""


def keep(studio: Studio, run: Run, after: Feeling | None) -> None:
    """Add a warm-up to the diary of the chosen singer.

    Args:
        studio: clock and store.
        run: the warm-up as it was sung.
        after: how the voice felt after it; None where the singer did not say.
    """
    time_s, cycles = run_dose(run)
    plan = run.plan
    entry = {
        "at": studio.clock().isoformat(), "song": plan.title, "minutes": plan.minutes, "condition": plan.condition,
        "feeling": after, "top": max((t for *_, t in run.sung), default=0), "strained": list(run.strained),
        "time_s": round(time_s, 1), "cycles": round(cycles),
    }  # fmt: skip
    studio.store.keep_diary(studio.singer.name, entry)


def entries(studio: Studio) -> tuple[DiaryEntry, ...]:
    """The diary of the chosen singer, oldest first; what cannot be read is left out."""
    found = (_entry(raw) for raw in studio.store.diary(studio.singer.name))
    return tuple(e for e in found if e is not None)


def loads(studio: Studio) -> tuple[Week, ...]:
    """The weeks up to this one, oldest first."""
    return weeks(entries(studio), today(studio))


def today(studio: Studio) -> date:
    """The local day."""
    return studio.clock().astimezone().date()


def _entry(raw: dict[str, Any]) -> DiaryEntry | None:
    try:
        feeling = raw.get("feeling")
        return DiaryEntry(
            on=datetime.fromisoformat(raw["at"]).astimezone().date(),
            time_s=float(raw.get("time_s", 0.0)),
            cycles=float(raw.get("cycles", 0.0)),
            before=BEFORE.get(raw.get("condition", "")),
            after=feeling if feeling in get_args(Feeling) else None,
            strained_at=tuple(int(n) for n in raw.get("strained", ())),
        )
    except (KeyError, TypeError, ValueError):
        return None
