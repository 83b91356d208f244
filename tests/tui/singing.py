"""Steps that the tests of warm-up and range take, and an ear that hears what is pushed into it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from queue import Queue
from typing import Any

import numpy as np
from textual.pilot import Pilot

from tests.tui.conftest import settle, text_of
from tests.tui.walking import frozen_song, show
from tutor.sound.ports import RATE, Block, Samples
from tutor.studio import Studio
from tutor.tui.app import LarkstairApp
from tutor.tui.screens.gate import GateScreen
from tutor.tui.screens.led import LedScreen
from tutor.tui.screens.range import RangeScreen
from tutor.tui.screens.warmup import WarmupScreen
from tutor.warmup import run as runs
from tutor.warmup.rangefinder import Finder


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


async def to_a_note(screen: LedScreen, pilot: Pilot[Any], least: int = 1) -> int:
    """Go to a turn that is sung, at least so high, and give its highest note."""
    return await to_where(screen, pilot, lambda run: run.top >= least)


async def to_where(screen: LedScreen, pilot: Pilot[Any], met: Callable[[runs.Run], bool]) -> int:
    """Begin and go on, turn by turn, to where something is so; the screen is told of the end of the way only."""
    await pilot.press("space")
    run = screen.led
    while not met(run):
        assert not run.over
        run = runs.next_(run) if run.singing or not run.top else runs.tick(run, 0.5)
    screen._move(run)
    await settle(pilot)
    return run.top


class PushedEar:
    """A microphone that hears what a test pushes."""

    name = "pushed"

    def __init__(self) -> None:
        self._blocks: Queue[Block | None] = Queue()
        self._at_s = 0.0

    def listen(self) -> Iterator[Block]:
        """What was pushed, until it is closed."""
        while (block := self._blocks.get()) is not None:
            yield block

    def sing(self, *midis: float, seconds: float = 1.0, rest_s: float = 0.2) -> None:
        """Notes with a voice's overtones, a rest after each."""
        for midi in midis:
            time = np.arange(round(seconds * RATE)) / RATE
            hertz = 440.0 * 2 ** ((midi - 69) / 12)
            tone = sum(0.3 / k * np.sin(2 * np.pi * hertz * k * time) for k in (1, 2, 3))
            self.push(np.asarray(tone, dtype=np.float32) * np.minimum(1.0, time * 20).astype(np.float32))
            self.push(np.zeros(round(rest_s * RATE), dtype=np.float32))

    def push(self, samples: Samples) -> None:
        """Anything else."""
        for at in range(0, len(samples), 1024):
            block = samples[at : at + 1024]
            self._blocks.put(Block(block, self._at_s))
            self._at_s += len(block) / RATE

    def close(self) -> None:
        """End."""
        self._blocks.put(None)


async def until(pilot: Pilot[Any], met: Callable[[], bool], *, tries: int = 400) -> None:
    for _ in range(tries):
        await pilot.pause(0.02)
        if met():
            return
    raise AssertionError("it did not come to that")


async def measuring(app: LarkstairApp, pilot: Pilot[Any]) -> RangeScreen:
    screen = RangeScreen()
    await show(app, pilot, screen)
    assert "not a diagnosis" in text_of(app)
    await pilot.press("enter")
    await settle(pilot)
    assert isinstance(app.screen, GateScreen), "the signs are asked before the voice is measured"
    await pilot.press("enter")
    await settle(pilot)
    assert screen.is_current
    assert screen.finder is not None
    return screen


def finder_of(screen: RangeScreen) -> Finder:
    assert screen.finder is not None
    return screen.finder
