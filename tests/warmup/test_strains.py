"""Notes that strained: dated, easing by a stated rule, and taken off."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from tests.warmup.songs import LANTERN, reading_of, table_of
from tutor.music.voice import SingerProfile
from tutor.warmup import limits
from tutor.warmup.model import Plan
from tutor.warmup.plan import plan
from tutor.warmup.strains import forget, held, lowest, remember, sentence

DAY = date(2026, 11, 12)
TENOR = replace(SingerProfile.default("Robin", "tenor"), high_midi=73)
TABLE = table_of(LANTERN, fifths=1)
READING = reading_of(TABLE)


def made(singer: SingerProfile, on: date | None) -> Plan:
    found = plan(TABLE, READING, singer, minutes=12, on=on)
    assert isinstance(found, Plan)
    return found


def test_a_strained_note_holds_two_weeks_and_eases_by_a_semitone_a_week() -> None:
    """14 days, then 7 a semitone: limits.STRAIN_HOLD_DAYS and STRAIN_EASE_DAYS (choices of ours)."""
    singer = remember(TENOR, 69, DAY)
    tops = {days: held(singer, DAY + timedelta(days=days))[0].top for days in (0, 13, 14, 20, 21, 27, 28, 35)}
    assert tops == {0: 68, 13: 68, 14: 68, 20: 68, 21: 69, 27: 69, 28: 70, 35: 71}
    assert held(singer, DAY)[0].rises == DAY + timedelta(days=21)
    assert held(singer, DAY - timedelta(days=400))[0].top == 68, "a clock that was set back eases nothing"


def test_the_plan_says_which_note_strained_and_when_it_may_rise() -> None:
    singer = remember(TENOR, 68, DAY)
    early = made(singer, DAY + timedelta(days=3))
    assert early.top_midi <= 67
    assert any(n.startswith("A♭4 strained on 12 November, so nothing goes above G4 today.") for n in early.notes)
    assert any("From 3 December it may rise by a semitone a week" in n for n in early.notes)


def test_while_the_note_comes_back_full_voice_is_tried_once() -> None:
    singer = remember(TENOR, 69, DAY)
    back = made(singer, DAY + timedelta(days=21))
    assert back.top_midi <= 69
    assert back.reaches_target
    assert back.full_tries <= limits.STRAIN_TRIES.value
    assert any("It is back, lightly" in n for n in back.notes)
    assert not any("strained" in n for n in made(singer, DAY + timedelta(days=70)).notes)


def test_undated_and_often_strained_notes_wait_for_a_measurement() -> None:
    late = DAY + timedelta(days=400)
    undated = replace(TENOR, strained_at=(69,))
    assert held(undated, late)[0].top == 68
    assert "until you have measured your range again" in sentence(held(undated, late)[0])
    often = TENOR
    for days in (0, 30, 60):
        often = remember(often, 69, DAY + timedelta(days=days))
    (found,) = held(often, late)
    assert (found.top, found.times, found.rises) == (68, 3, None)
    assert "Show it to your teacher" in sentence(found)
    assert held(remember(TENOR, 69, DAY), None)[0].top == 68, "nothing eases where the day is not known"


def test_a_note_is_taken_off_without_the_others() -> None:
    singer = remember(remember(remember(TENOR, 69, DAY), 66, DAY), 69, DAY)
    assert [s.midi for s in forget(singer, 69).strains] == [66]
    assert forget(forget(singer, 69), 66) == TENOR


@given(
    st.lists(st.tuples(st.integers(60, 76), st.integers(0, 120)), max_size=25), st.integers(0, 200), st.integers(60, 76)
)
def test_what_strained_lately_is_never_allowed_and_more_strains_never_allow_more(
    strained: list[tuple[int, int]], today: int, more: int
) -> None:
    singer, on = TENOR, DAY + timedelta(days=today)
    for midi, day in strained:
        singer = remember(singer, midi, DAY + timedelta(days=day))
    found = lowest(singer, on, 90)
    top = found.top if found else 90
    for midi, day in strained[-20:]:
        if today - day < 21:
            assert top < midi
    again = lowest(remember(singer, more, on), on, 90)
    assert again is not None
    if len(strained) < 20:
        assert again.top <= min(top, more - 1)
