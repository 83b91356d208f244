"""The hours before recording, and the calendar."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise

import icalendar
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.warmup.songs import LANTERN, reading_of, table_of
from tutor.music.voice import SingerProfile
from tutor.warmup.agenda import agenda, calendar, folded
from tutor.warmup.model import CAUTION, Plan
from tutor.warmup.plan import plan

RECORDING = datetime(2026, 3, 14, 18, 0, tzinfo=timezone(timedelta(hours=1)))


def planned() -> Plan:
    table = table_of(LANTERN, title="Lantern, the; one\\two")
    found = plan(table, reading_of(table), SingerProfile.default("Robin", "tenor"), minutes=12)
    assert isinstance(found, Plan)
    return found


PLAN = planned()


def test_far_ahead_there_is_water_silence_a_check_and_a_second_warm_up() -> None:
    found = agenda(PLAN, RECORDING, RECORDING - timedelta(hours=8))
    titles = [e.title for e in found]
    assert titles.count("Drink water") == 2
    assert {"Rest the voice", "How does the voice feel?", "Warm up again, shorter", "Recording", "Cool down"} <= set(
        titles
    )
    second = next(e for e in found if e.title.startswith("Warm up again"))
    assert second.end == RECORDING - timedelta(minutes=5)


def test_at_once_there_is_one_warm_up() -> None:
    found = agenda(PLAN, RECORDING, RECORDING - timedelta(minutes=30))
    assert [e.title for e in found if e.title.startswith("Warm up")] == [f"Warm up for “{PLAN.title}”"]
    assert found[0].end <= RECORDING


def test_an_hour_of_singing_asks_for_half_an_hour_of_silence() -> None:
    """Onofre et al., Eur. Arch. Oto-Rhino-Laryngol. 278, 2021 (seen): 30 minutes of silence after 60 of singing."""
    found = agenda(PLAN, RECORDING, RECORDING - timedelta(hours=2), record_minutes=60)
    assert next(e for e in found if e.title == "Silence").minutes == 30
    assert not any(e.title == "Silence" for e in agenda(PLAN, RECORDING, RECORDING - timedelta(hours=2)))


@settings(max_examples=200)
@given(before=st.floats(0.2, 2000), length=st.floats(1, 180))
def test_nothing_is_in_the_past_and_singing_does_not_overlap(before: float, length: float) -> None:
    now = RECORDING - timedelta(minutes=before)
    found = agenda(PLAN, RECORDING, now, record_minutes=length)
    assert all(e.start >= now and e.minutes > 0 for e in found)
    assert [e.start for e in found] == sorted(e.start for e in found)
    singing = [e for e in found if e.title.startswith(("Warm up", "Rest the", "How does", "Cool"))]
    if before > PLAN.seconds / 60 + 5:
        assert all(a.end <= b.start for a, b in pairwise(singing))


def test_times_without_a_zone_are_refused() -> None:
    with pytest.raises(ValueError, match="zone"):
        agenda(PLAN, datetime(2026, 3, 14, 18), RECORDING)  # noqa: DTZ001 - the point of the test


def test_another_reader_finds_the_same_events() -> None:
    """RFC 5545, read back with an independent library."""
    entries = agenda(PLAN, RECORDING, RECORDING - timedelta(hours=8))
    text = calendar(entries, stamp=datetime(2026, 3, 1, tzinfo=UTC))
    events = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert len(events) == len(entries)
    for event, entry in zip(events, entries, strict=True):
        assert event["SUMMARY"] == entry.title
        assert event.decoded("DTSTART") == entry.start.replace(microsecond=0)
        assert entry.what in str(event["DESCRIPTION"])
        assert CAUTION in str(event["DESCRIPTION"])
    assert len({str(e["UID"]) for e in events}) == len(events)


def test_lines_end_and_fold_as_the_standard_asks() -> None:
    """RFC 5545, section 3.1: CRLF, no line above 75 octets."""
    text = calendar(agenda(PLAN, RECORDING, RECORDING - timedelta(hours=8)), stamp=RECORDING)
    assert text.endswith("END:VCALENDAR\r\n")
    lines = text.split("\r\n")
    assert all("\n" not in line for line in lines)
    assert all(len(line.encode()) <= 75 for line in lines)


@given(text=st.text(alphabet=st.characters(exclude_categories=("Cs", "Cc")), max_size=300))
def test_folding_loses_nothing(text: str) -> None:
    made = folded(text)
    assert made.replace("\r\n ", "") == text
    assert all(len(line.encode()) <= 75 for line in made.split("\r\n"))
