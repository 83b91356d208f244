"""The signs before singing, the led run, the range, the diary and the hours before a recording, by keyboard."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.walking import frozen_song, show
from tutor.studio import Studio
from tutor.tui.app import LarkstairApp
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
