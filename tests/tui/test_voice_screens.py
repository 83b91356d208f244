"""The signs before singing, the led run, the range, the diary and the hours before a recording, by keyboard."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.walking import frozen_song, show
from tutor.studio import Studio, diary
from tutor.tui.app import LarkstairApp
from tutor.tui.look import Glyphs
from tutor.tui.screens.diary import DiaryScreen, week_lines
from tutor.tui.screens.gate import GateScreen
from tutor.tui.screens.led import LedScreen
from tutor.tui.screens.today import TodayScreen
from tutor.tui.screens.warmup import WarmupScreen
from tutor.warmup.gate import QUESTIONS
from tutor.warmup.model import Plan


async def gate(app: LarkstairApp, pilot: Pilot[Any], studio: Studio) -> GateScreen:
    await show(app, pilot, WarmupScreen(song=frozen_song(studio)))
    await settle(pilot)
    screen = app.screen
    assert isinstance(screen, GateScreen)
    return screen


async def planned(app: LarkstairApp, pilot: Pilot[Any], studio: Studio) -> WarmupScreen:
    await gate(app, pilot, studio)
    await pilot.press("enter")
    await settle(pilot)
    await pilot.press("enter")
    await settle(pilot)
    screen = app.screen
    assert isinstance(screen, WarmupScreen)
    return screen


async def leading(app: LarkstairApp, pilot: Pilot[Any], studio: Studio) -> LedScreen:
    await planned(app, pilot, studio)
    await pilot.press("enter")
    await settle(pilot)
    screen = app.screen
    assert isinstance(screen, LedScreen)
    return screen


# -- the signs


async def test_every_sign_is_asked_before_a_plan_and_only_once_a_day(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = await gate(app, pilot, studio)
        shown = " ".join(text_of(app).split())
        for question in QUESTIONS:
            assert question.text in shown
        assert "Pain" in shown, "all fits on eighty columns by twenty-four rows"
        await pilot.press("enter")
        await settle(pilot)
        assert "How many minutes" in text_of(app)
        await pilot.press("escape")
        await settle(pilot)
        screen = app.screen  # type: ignore[assignment]
        assert isinstance(screen, GateScreen)
        assert QUESTIONS[0].text not in text_of(app)
        assert "How does the voice feel" in text_of(app)
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, TodayScreen)
        clock.now = datetime(2026, 3, 4, 8, 30, tzinfo=UTC)
        await gate(app, pilot, studio)
        assert QUESTIONS[0].text in text_of(app)


@pytest.mark.parametrize("name", [q.name for q in QUESTIONS if q.kind == "warning"])
async def test_a_warning_sign_gives_no_plan_however_fresh_the_voice(
    running: Running, studio: Studio, name: str
) -> None:
    at = [q.name for q in QUESTIONS].index(name)
    async with running(studio) as (app, pilot):
        screen = await gate(app, pilot, studio)
        await pilot.press(*["up"] * (len(QUESTIONS) - at), "space")
        assert f"[x] {QUESTIONS[at].text[:30]}" in text_of(app)
        await pilot.press(*["down"] * (len(QUESTIONS) - at), "enter")
        await settle(pilot)
        assert app.screen is screen
        assert screen.refused
        assert "see a doctor before you sing" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, TodayScreen)
        await gate(app, pilot, studio)
        assert QUESTIONS[0].text in text_of(app), "it is asked again after a sign"
        assert "[x]" not in text_of(app), "and the marks were not kept"


async def test_a_mark_can_be_taken_back(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await gate(app, pilot, studio)
        await pilot.press("up", "enter", "u")
        assert "[x]" not in text_of(app)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert "How many minutes" in text_of(app)


async def test_a_sign_of_tiredness_makes_the_plan_careful(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await gate(app, pilot, studio)
        await pilot.press("up", "space", "down", "enter")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, WarmupScreen)
        assert isinstance(screen.given, Plan)
        assert screen.given.condition == "tired"


async def test_a_hoarse_voice_is_asked_how_long_and_sent_on(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await gate(app, pilot, studio)
        await pilot.press("down", "down", "down", "enter")
        await settle(pilot)
        assert "How long has it been hoarse" in text_of(app)
        await pilot.press("end", "enter")
        await settle(pilot)
        assert screen.refused
        assert "laryngologist" in text_of(app)
        assert "28 days" in text_of(app)


async def test_a_warm_up_left_yesterday_first_asks_how_the_voice_is(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        await leading(app, pilot, studio)
        await pilot.press("space", "escape")
        await settle(pilot)
        clock.now = datetime(2026, 3, 4, 8, 30, tzinfo=UTC)
        await show(app, pilot, WarmupScreen(resume=True))
        assert isinstance(app.screen, GateScreen)
        await pilot.press("down", "down", "enter")
        await settle(pilot)
        assert "Plan one for today" in text_of(app)
        assert studio.unfinished_run() is None


async def test_the_caution_stands_on_the_plan_and_before_the_first_step(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await planned(app, pilot, studio)
        assert "not a diagnosis" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert "not a diagnosis" in text_of(app)
        assert "Space begins" in text_of(app)


# -- the run


async def to_a_note(screen: LedScreen, pilot: Pilot[Any]) -> int:
    """Go to a turn that is sung, and give its highest note."""
    await pilot.press("space")
    while not screen.led.top:
        await pilot.press("n")
    return screen.led.top


async def test_a_note_that_strains_is_remembered_and_the_next_plan_stays_below_it(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        assert max(s.top_midi or 0 for s in screen.led.plan.steps) > 74
        await pilot.press("space")
        while screen.led.top < 74:
            await pilot.press("n")
        top = screen.led.top
        await pilot.press("t")
        await settle(pilot)
        assert screen.led.state == "strained"
        assert "remembered" in text_of(app)
        assert studio.singer.strained_at == (top,)
        await pilot.press("end", "up", "enter")
        await settle(pilot)
        assert "How did it feel" in text_of(app)
        await pilot.press("4")
        await settle(pilot)
        assert isinstance(app.screen, TodayScreen)
        again = studio.warmup(frozen_song(studio), minutes=10)
        assert max((s.top_midi or 0 for s in getattr(again, "steps", ())), default=0) < top


async def test_a_slip_of_the_strain_key_is_forgotten(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_a_note(screen, pilot)
        before = screen.led
        await pilot.press("t")
        await settle(pilot)
        await pilot.press("end", "enter")
        await settle(pilot)
        assert studio.singer.strained_at == ()
        assert screen.led.strained == ()
        assert (screen.led.state, screen.led.step) == ("paused", before.step)


async def test_the_diary_keeps_how_it_felt_and_how_long_was_sung(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_a_note(screen, pilot)
        await pilot.press("n", "n", "t")
        await settle(pilot)
        await pilot.press("down", "down", "enter")
        await settle(pilot)
        await pilot.press("2")
        await settle(pilot)
        (entry,) = diary.entries(studio)
        assert (entry.before, entry.after) == ("easy", "all right")
        assert entry.time_s > 1
        assert 200 * entry.time_s < entry.cycles < 1000 * entry.time_s
        app.go("warmup")
        await settle(pilot)
        await pilot.press("d")
        await settle(pilot)
        shown = text_of(app)
        assert "1 warm-up" in shown
        assert "before it easy, after it all right" in " ".join(shown.split())


async def test_leaving_the_last_question_keeps_the_warm_up_without_a_feeling(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_a_note(screen, pilot)
        await pilot.press("n", "t")
        await settle(pilot)
        await pilot.press("down", "down", "enter")
        await settle(pilot)
        await pilot.press("escape")
        await settle(pilot)
        assert [e.after for e in diary.entries(studio)] == [None]
        assert isinstance(app.screen, TodayScreen)


async def test_a_jump_of_the_load_is_told(running: Running, studio: Studio, clock: Clock) -> None:
    for days, seconds in ((21, 700.0), (14, 700.0), (7, 700.0), (0, 2400.0)):
        at = (clock.now - timedelta(days=days)).isoformat()
        studio.store.keep_diary("Ada", {"at": at, "condition": "fresh", "feeling": "easy", "time_s": seconds})
    async with running(studio) as (app, pilot):
        await show(app, pilot, DiaryScreen())
        shown = " ".join(text_of(app).split())
        assert "You sang 40 minutes this week, against your usual 11½ minutes" in shown
        weeks = diary.loads(studio)
        assert [round(w.time_s) for w in weeks] == [700, 700, 700, 2400]
        lines = week_lines(weeks, Glyphs())
        assert lines[0].count("█") == 16
        assert lines[1].count("█") == 5
