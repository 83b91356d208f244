"""The hours before a recording: water, silence, a check, a second and shorter warm-up; as a calendar to take along."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from tutor.warmup import limits
from tutor.warmup.model import CAUTION, Plan
from tutor.warmup.words import span

BEFORE_MIN = 5.0
"""Minutes between the end of the last warm-up and recording (a choice of ours)."""
SECOND_MIN = 6.0
"""Length of a second warm-up, minutes (a choice of ours)."""
FAR_MIN = 60.0
"""Recording this many minutes after the first warm-up asks for a second one (a choice of ours)."""
CHECK_MIN = 2.0
"""Time to ask how the voice feels, minutes."""
WATER_H = (4, 2)
"""Hours before recording at which water is called to mind (a choice of ours)."""
_PRACTICE = "common practice"
_WATER = (
    "drinking does not work at once and results are mixed (review table, PMC4157110); singing students sang higher "
    "when well hydrated: van Wyk et al., J. of Voice 2017"
)
_SILENCE = "a choice of ours; 30 minutes of silence after an hour of singing brought symptoms back: Onofre et al. 2021"


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the agenda."""

    start: datetime
    """Aware time."""
    minutes: float
    title: str
    what: str
    """One or two sentences."""
    source: str

    @property
    def end(self) -> datetime:
        """When it ends."""
        return self.start + timedelta(minutes=self.minutes)


def agenda(plan: Plan, recording: datetime, now: datetime, *, record_minutes: float = 30.0) -> tuple[Entry, ...]:
    """Lay out the hours before a recording.

    Args:
        plan: the warm-up.
        recording: when recording starts; aware.
        now: the present; aware. Nothing is planned before it.
        record_minutes: how long recording takes.

    Raises:
        ValueError: a time is not aware.
    """
    if recording.tzinfo is None or now.tzinfo is None:
        raise ValueError("the times of an agenda need a time zone")
    length = plan.seconds / 60
    last_end = recording - timedelta(minutes=BEFORE_MIN)
    far = (recording - now).total_seconds() / 60 >= length + FAR_MIN + SECOND_MIN
    entries = _water(recording) + _after(recording, record_minutes)
    entries += _twice(plan, last_end, now) if far else [_once(plan, max(now, last_end - timedelta(minutes=length)))]
    kept = [e for e in entries if e.start >= now and e.minutes > 0]
    return tuple(sorted(kept, key=lambda e: (e.start, e.title)))


def _once(plan: Plan, start: datetime) -> Entry:
    return Entry(start, plan.seconds / 60, f"Warm up for “{plan.title}”", "The whole plan, once.", _PRACTICE)


def _twice(plan: Plan, last_end: datetime, now: datetime) -> list[Entry]:
    """The whole plan early, silence, a check, and a shorter warm-up just before recording."""
    second = last_end - timedelta(minutes=SECOND_MIN)
    check = second - timedelta(minutes=CHECK_MIN)
    first = _once(plan, max(now, second - timedelta(minutes=FAR_MIN + plan.seconds / 60)))
    quiet = (check - first.end).total_seconds() / 60
    return [
        first,
        Entry(first.end, quiet, "Rest the voice", "Speak little, do not whisper, and do not sing the song.", _SILENCE),
        Entry(
            check, CHECK_MIN, "How does the voice feel?",
            "If it is tired, take the shorter plan for a tired voice. If it is hoarse or anything hurts, do not sing: "
            "put the recording off.",
            _PRACTICE,
        ),
        Entry(
            second, SECOND_MIN, "Warm up again, shorter",
            "Hum, lip trill, five notes, then the phrase with the high note once at half voice.",
            _PRACTICE,
        ),
    ]  # fmt: skip


def _water(recording: datetime) -> list[Entry]:
    return [
        Entry(
            recording - timedelta(hours=h), 5, "Drink water",
            "A glass of water, as you like it. Small sips later on do not make up for hours without.", _WATER,
        )
        for h in WATER_H
    ]  # fmt: skip


def _after(recording: datetime, record_minutes: float) -> list[Entry]:
    end = recording + timedelta(minutes=record_minutes)
    rest = limits.AFTER_HOUR_MIN
    found = [
        Entry(recording, record_minutes, "Recording", "The high note is warmed up. Few takes, with rests.", _PRACTICE),
        Entry(end, 3, "Cool down", "Hum softly downward, as in the last step of the plan.", "Ribeiro et al. 2016"),
    ]
    if record_minutes >= 60:
        found.append(
            Entry(
                end + timedelta(minutes=3), rest.value, "Silence",
                f"{span(rest.value * 60)} without talking, after an hour of singing.", rest.source,
            )
        )  # fmt: skip
    return found


def calendar(entries: Iterable[Entry], *, stamp: datetime, name: str = "warm-up") -> str:
    """The agenda as iCalendar text (RFC 5545).

    Args:
        entries: the agenda.
        stamp: when the calendar is written; aware.
        name: first part of the unique names of the events.

    Returns:
        Text with CRLF line ends, lines folded at 75 octets, times in UTC.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Larkstair//Warm-up//EN", "CALSCALE:GREGORIAN"]
    for number, entry in enumerate(entries, 1):
        lines += [
            "BEGIN:VEVENT",
            f"UID:{_escape(name)}-{_utc(entry.start)}-{number}@larkstair.invalid",
            f"DTSTAMP:{_utc(stamp)}",
            f"DTSTART:{_utc(entry.start)}",
            f"DTEND:{_utc(entry.end)}",
            f"SUMMARY:{_escape(entry.title)}",
            f"DESCRIPTION:{_escape(f'{entry.what} ({entry.source}) {CAUTION}')}",
            "BEGIN:VALARM",
            "ACTION:DISPLAY",
            f"DESCRIPTION:{_escape(entry.title)}",
            "TRIGGER:PT0S",
            "END:VALARM",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return "".join(folded(line) + "\r\n" for line in lines)


def _utc(moment: datetime) -> str:
    """A date-time in UTC, RFC 5545 section 3.3.5 form 2."""
    return moment.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")


def _escape(text: str) -> str:
    """TEXT values, RFC 5545 section 3.3.11."""
    made = text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return made.replace("\r\n", "\\n").replace("\n", "\\n").replace("\r", "\\n")


def folded(line: str) -> str:
    """A content line folded at 75 octets without cutting a character, RFC 5545 section 3.1."""
    parts, size, current = [], 0, ""
    for char in line:
        octets = len(char.encode())
        if size + octets > 75:
            parts.append(current)
            current, size = " ", 1
        current += char
        size += octets
    return "\r\n".join([*parts, current])
