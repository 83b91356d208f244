"""Pictures of every screen, at two sizes, in both themes."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.tui import frozen
from tests.tui.conftest import settle
from tutor.studio import Studio
from tutor.tui.app import LarkstairApp
from tutor.tui.look import Look, ThemeName
from tutor.tui.screens.practice import PracticeScreen
from tutor.tui.screens.song import SongScreen
from tutor.tui.screens.warmup import WarmupScreen

pytestmark = pytest.mark.skipif(
    sys.version_info[:2] != (3, 11), reason="pictures are compared on one version of Python only"
)

Walk = Callable[[Pilot[Any]], Awaitable[None]]


def app_of(pilot: Pilot[Any]) -> LarkstairApp:
    app = pilot.app
    assert isinstance(app, LarkstairApp)
    return app


async def today(pilot: Pilot[Any]) -> None:
    await settle(pilot)


def going(name: str) -> Walk:
    async def walk(pilot: Pilot[Any]) -> None:
        await settle(pilot)
        app_of(pilot).go(name)
        await settle(pilot)

    return walk


async def song(pilot: Pilot[Any]) -> None:
    await settle(pilot)
    app = app_of(pilot)
    found = app.studio.library.get(frozen.CARD.id)
    assert found is not None
    app.push_screen(SongScreen(found))
    await settle(pilot)
    await pilot.press("n", "n")
    await settle(pilot)


async def song_staff(pilot: Pilot[Any]) -> None:
    await song(pilot)
    await pilot.press("enter")
    await settle(pilot)


async def ask(pilot: Pilot[Any], drill: str) -> None:
    await ask_silently(pilot, drill)
    await sounding(pilot)


async def ask_silently(pilot: Pilot[Any], drill: str) -> None:
    await settle(pilot)
    app = app_of(pilot)
    app.studio.rehearsal.begin(app.studio.singer, count=10, skills=[(drill, "one")])
    app.push_screen(PracticeScreen())
    await settle(pilot)


async def sounding(pilot: Pilot[Any]) -> None:
    """Wait until the loudspeaker has begun, so that the picture is always the same."""
    for _ in range(200):
        if app_of(pilot).studio.outlets.player.played:  # type: ignore[attr-defined]
            break
        await asyncio.sleep(0.01)
    await pilot.pause(0.15)


async def question(pilot: Pilot[Any]) -> None:
    await ask(pilot, "choosing")


async def answered(pilot: Pilot[Any]) -> None:
    await ask(pilot, "choosing")
    await pilot.press("1")
    await settle(pilot)


async def notes(pilot: Pilot[Any]) -> None:
    await ask(pilot, "playing")
    await pilot.press("a", "d")
    await sounding(pilot)
    await settle(pilot)


async def taps(pilot: Pilot[Any]) -> None:
    await ask_silently(pilot, "tapping")


async def singing(pilot: Pilot[Any]) -> None:
    await ask(pilot, "singing")


async def plan(pilot: Pilot[Any]) -> None:
    await settle(pilot)
    app = app_of(pilot)
    app.push_screen(WarmupScreen(song=app.studio.library.get(frozen.CARD.id)))
    await settle(pilot)
    await pilot.press("enter")
    await settle(pilot)
    await pilot.press("enter")
    await settle(pilot)


async def led(pilot: Pilot[Any]) -> None:
    await plan(pilot)
    await pilot.press("enter")
    await settle(pilot)
    await pilot.press("space", "s", "s", "s")
    await settle(pilot)
    await sounding(pilot)


async def lesson(pilot: Pilot[Any]) -> None:
    await going("lessons")(pilot)
    await pilot.press("enter")
    await settle(pilot)


async def help_(pilot: Pilot[Any]) -> None:
    await song(pilot)
    await pilot.press("question_mark")
    await settle(pilot)


WALKS: dict[str, Walk] = {
    "today": today, "songs": going("songs"), "song": song, "song-staff": song_staff, "begin": going("practice"),
    "question": question, "answered": answered, "notes": notes, "taps": taps, "singing": singing,
    "warmup": going("warmup"), "plan": plan, "led": led, "lessons": going("lessons"), "lesson": lesson,
    "progress": going("progress"), "setup": going("setup"), "help": help_,
}  # fmt: skip


@pytest.mark.parametrize("theme", ["night", "day"])
@pytest.mark.parametrize("size", [(80, 24), (140, 45)], ids=["80x24", "140x45"])
@pytest.mark.parametrize("name", WALKS)
def test_the_screen_looks_as_it_did(
    snap_compare: Any, still: None, studio: Studio, name: str, size: tuple[int, int], theme: ThemeName
) -> None:
    app = LarkstairApp(studio)
    app.set_look(Look(theme))
    assert snap_compare(app, terminal_size=size, run_before=WALKS[name])


def test_the_welcome_looks_as_it_did(snap_compare: Any, still: None, empty_studio: Studio) -> None:
    async def walk(pilot: Pilot[Any]) -> None:
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)

    assert snap_compare(LarkstairApp(empty_studio), terminal_size=(80, 24), run_before=walk)
