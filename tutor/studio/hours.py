"""The hours before a recording: laid out from a plan, and written as a calendar."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from tutor import errors
from tutor.warmup.agenda import Entry, agenda, calendar
from tutor.warmup.model import Given, Plan


def hours(plan: Plan, now: datetime, minutes: float) -> tuple[Entry, ...]:
    """The entries before a recording.

    Args:
        plan: the warm-up.
        now: the present; aware.
        minutes: minutes until recording.
    """
    return agenda(plan, recording_at(now, minutes), now)


def recording_at(now: datetime, minutes: float) -> datetime:
    """When a recording in so many minutes begins, at a full minute."""
    whole = now if not now.second and not now.microsecond else now + timedelta(minutes=1)
    return whole.replace(second=0, microsecond=0) + timedelta(minutes=minutes)


def write_calendar(given: Given, now: datetime, minutes: float | None, path: Path) -> None:
    """Write the hours before a recording as an iCalendar file.

    Raises:
        TutorError: there is no plan, the time until recording is not told, or the file cannot be written.
    """
    if not isinstance(given, Plan):
        raise errors.TutorError(
            "there is no warm-up to put into a calendar for this voice today",
            remedy="Run the command without --out to read why",
        )
    if minutes is None or minutes <= 0:
        raise errors.TutorError(
            "a calendar needs the time of the recording", where="--recording-in", remedy="Give the minutes until it"
        )
    if path.exists():
        raise errors.TutorError("there is a file of that name already", where=str(path), remedy="Choose another name")
    text = calendar(hours(given, now, minutes), stamp=now, name=f"warm-up {given.title}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode("utf-8"))
    except OSError as error:
        raise errors.TutorError(
            f"the file cannot be written ({error.strerror})", where=str(path), remedy="Choose another folder"
        ) from None
