"""The diary of warm-ups: what is kept of each, and how it is read again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, get_args

from tutor.errors import plain
from tutor.music.voice import Condition, Feeling
from tutor.studio.keeping import no_backup
from tutor.warmup.load import DiaryEntry, Week, run_dose, weeks
from tutor.warmup.strains import Held, held
from tutor.warmup.strains import forget as unstrained

if TYPE_CHECKING:
    from tutor.studio import Studio
    from tutor.warmup.run import Run

BEFORE: dict[Condition, Feeling] = {"fresh": "easy", "a little tired": "all right", "tired": "effortful"}
"""How the voice felt before, from what the singer said before the plan was made."""


def left(studio: Studio) -> tuple[Run, int] | None:
    """The warm-up that was left in the middle, and its number; one that cannot be read any more is closed."""
    from tutor.warmup.run import run_from_json

    found = studio.unfinished_run()
    if found is None:
        return None
    number, body = found
    try:
        return run_from_json(body), number
    except ValueError:
        studio.keep_run(number, body, finished=True)
        return None


def put_aside(studio: Studio) -> None:
    """Close the warm-up that was left in the middle; what was sung of it goes into the diary, on its own day."""
    kept, found = studio.store.unfinished(studio.singer.name, "warmup"), left(studio)
    if kept is None or found is None:
        return
    run, number = found
    if run.sung:
        keep(studio, run, None, at=kept.changed_at)
    studio.keep_run(number, kept.body, finished=True)


def keep(studio: Studio, run: Run, after: Feeling | None, *, at: datetime | None = None) -> None:
    """Add a warm-up to the diary of the chosen singer.

    Args:
        studio: clock and store.
        run: the warm-up as it was sung.
        after: how the voice felt after it; None where the singer did not say.
        at: when it was sung; now, if not given.
    """
    time_s, cycles = run_dose(run)
    plan = run.plan
    entry = {
        "at": (at or studio.clock()).isoformat(), "song": plan.title,
        "minutes": plan.minutes, "condition": plan.condition,
        "feeling": after, "top": max((t for *_, t in run.sung), default=0), "strained": list(run.strained),
        "time_s": round(time_s, 1), "cycles": round(cycles),
    }  # fmt: skip
    studio.store.keep_diary(studio.singer.name, entry)


def entries(studio: Studio) -> tuple[DiaryEntry, ...]:
    """The diary of the chosen singer, oldest first; what cannot be read is left out."""
    found = (_entry(number, raw) for number, raw in studio.store.diary_entries(studio.singer.name))
    return tuple(e for e in found if e is not None)


def loads(studio: Studio) -> tuple[Week, ...]:
    """The weeks up to this one, oldest first."""
    return weeks(entries(studio), today(studio))


def forget(studio: Studio, number: int) -> Callable[[], None]:
    """Delete one entry, in the backup too; gives what brings it back."""
    row = studio.store.forget_diary(number)
    no_backup(studio)
    return lambda: studio.store.restore_diary(row) if row is not None else None


def strains(studio: Studio) -> tuple[Held, ...]:
    """The notes that strained, with what each takes away today, lowest first."""
    return held(studio.singer, today(studio))


def forget_strain(studio: Studio, midi: int) -> Callable[[], None]:
    """Take a note off the list of those that strained; gives what brings it back."""
    before = studio.singer
    studio.store.keep_singer(unstrained(before, midi))
    no_backup(studio)

    def back() -> None:
        now = next((s for s in studio.store.singers() if s.name == before.name), before)
        studio.store.keep_singer(replace(now, strained_at=before.strained_at, strained_on=before.strained_on))

    return back


def days_since(studio: Studio) -> int | None:
    """Whole days since the singer's last warm-up here; None where none is kept."""
    days = [e.on for e in entries(studio)]
    return max(0, (today(studio) - max(days)).days) if days else None


def today(studio: Studio) -> date:
    """The local day."""
    return studio.clock().astimezone().date()


def _entry(number: int, raw: dict[str, Any]) -> DiaryEntry | None:
    try:
        feeling = raw.get("feeling")
        return DiaryEntry(
            on=datetime.fromisoformat(raw["at"]).astimezone().date(),
            time_s=float(raw.get("time_s", 0.0)),
            cycles=float(raw.get("cycles", 0.0)),
            before=BEFORE.get(raw.get("condition", "")),
            after=feeling if feeling in get_args(Feeling) else None,
            strained_at=tuple(int(n) for n in raw.get("strained", ())),
            song=plain(str(raw.get("song", ""))),
            number=number,
        )
    except (KeyError, TypeError, ValueError):
        return None
