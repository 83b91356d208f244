"""A studio without devices, a clock that moves only when told, and songs that are read once for all tests."""

from __future__ import annotations

import os

os.environ["TEXTUAL_ANIMATIONS"] = "none"

import random
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.tui import frozen
from tutor.sound.tape import TapePlayer
from tutor.store.store import Store
from tutor.studio import Studio
from tutor.studio.outlets import Outlets
from tutor.tui.app import LarkstairApp
from tutor.tui.look import Look, ThemeName


@dataclass
class Clock:
    """Time that moves only when told."""

    now: datetime = datetime(2026, 3, 3, 8, 30, tzinfo=UTC)
    sound_s: float = 0.0
    """The loudspeaker's clock."""

    def __call__(self) -> datetime:
        """The time now."""
        return self.now

    def pass_s(self, seconds: float) -> None:
        """Let time pass."""
        self.now += timedelta(seconds=seconds)
        self.sound_s += seconds


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def empty_studio(clock: Clock) -> Iterator[Studio]:
    """A newcomer's studio."""
    made = make_studio(clock)
    yield made
    made.close()


def make_studio(clock: Clock, seed: int = 7) -> Studio:
    player = TapePlayer(clock=lambda: clock.sound_s)
    return Studio(Store.open(None, clock), clock, random.Random(seed), Outlets(player))


@pytest.fixture
def studio(clock: Clock) -> Iterator[Studio]:
    """A studio whose singer is known and which has one song open."""
    made = make_studio(clock)
    made.set_voice("soprano")
    made.rename_singer("Ada")
    frozen.furnish(made.store)
    yield made
    made.close()


@pytest.fixture
def still(monkeypatch: pytest.MonkeyPatch) -> None:
    """Drills, lessons, bundled songs and plans that stay as they are."""
    freeze(monkeypatch)


def freeze(monkeypatch: pytest.MonkeyPatch) -> None:
    """Put the frozen material in place of the program's own."""
    # What takes the drills' name for its own on import must have the true one, whichever test comes first.
    import tutor.quiz.gather
    import tutor.studio.quizzes  # noqa: F401

    drills = frozen.pretend_drills()
    monkeypatch.setattr("tutor.studio.rehearsal.drills", lambda: drills)
    monkeypatch.setattr("tutor.practice.catalogue.drills", lambda: drills)
    monkeypatch.setattr("tutor.studio.library.bundled_songs", frozen.bundled)
    monkeypatch.setattr("tutor.tui.screens.lessons.lessons", frozen.lessons)
    monkeypatch.setattr("tutor.tui.screens.lessons.lesson", lambda name: frozen.lessons()[0])
    monkeypatch.setattr(Studio, "warmup", lambda *args, **more: frozen.plan())
    monkeypatch.setattr("tutor.studio.quizdesk.secrets.token_hex", lambda _: "0a1b2c3d")


Running = Callable[..., AbstractAsyncContextManager[tuple[LarkstairApp, Pilot[Any]]]]


@asynccontextmanager
async def run(
    studio: Studio, *, size: tuple[int, int] = (80, 24), theme: ThemeName = "night", ascii: bool = False
) -> AsyncIterator[tuple[LarkstairApp, Pilot[Any]]]:
    """The app, headless, with faults raised."""
    app = LarkstairApp(studio)
    app.strict = True
    app.set_look(Look(theme, ascii))
    async with app.run_test(size=size) as pilot:
        await settle(pilot)
        yield app, pilot


@pytest.fixture
def running() -> Running:
    """Runs the app headless."""
    return run


async def settle(pilot: Pilot[Any]) -> None:
    """Wait until no work is under way; sound may go on."""
    for _ in range(400):
        await pilot.pause()
        busy = [w for w in pilot.app.workers if w.is_running and w.group in ("work", "studio", "devices")]
        if not busy:
            await pilot.pause()
            return
        await pilot.pause(0.01)
    raise AssertionError(f"still working: {busy}")


def text_of(app: LarkstairApp) -> str:
    """What stands on the screen, line by line."""
    width, height = app.size
    lines = app.screen._compositor.render_strips()
    return "\n".join(strip.text.rstrip() for strip in lines[:height]) if width else ""
