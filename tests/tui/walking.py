"""Steps that several tests of the terminal take."""

from __future__ import annotations

from typing import Any

from textual.pilot import Pilot

from tests.tui import frozen
from tests.tui.conftest import Clock, Running, settle
from tutor.practice.drill import Song
from tutor.studio import Studio
from tutor.tui.app import LarkstairApp
from tutor.tui.screens.led import LedScreen
from tutor.tui.screens.practice import PracticeScreen
from tutor.tui.stage import Stage


def frozen_song(studio: Studio) -> Song:
    """The frozen song, open."""
    song = studio.library.get(frozen.CARD.id)
    assert song is not None
    return song


async def show(app: LarkstairApp, pilot: Pilot[Any], screen: Stage) -> None:
    """Show a screen."""
    app.push_screen(screen)
    await settle(pilot)


async def ask(app: LarkstairApp, pilot: Pilot[Any], drill: str) -> PracticeScreen:
    """Begin a session of one drill."""
    app.studio.rehearsal.begin(app.studio.singer, count=5, skills=[(drill, "one")])
    screen = PracticeScreen()
    await show(app, pilot, screen)
    return screen


def state_of(screen: LedScreen) -> str:
    """State of a led warm-up."""
    return screen.led.state


async def practised(running: Running, studio: Studio, clock: Clock, keys: str) -> None:
    """Answer with some keys, a day apart."""
    async with running(studio) as (app, pilot):
        await ask(app, pilot, "choosing")
        for key in keys:
            clock.pass_s(4)
            await pilot.press(key)
            await settle(pilot)
            clock.pass_s(86_400)
            await pilot.press("enter")
            await settle(pilot)
