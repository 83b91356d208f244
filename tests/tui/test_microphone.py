"""The microphone's page in Setup, by keyboard, with a microphone that hears what the test says."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from textual.pilot import Pilot

from tests.sound import vowels
from tests.tui.conftest import Running, settle, text_of
from tests.tui.walking import show
from tutor.errors import PortUnavailable
from tutor.sound.calibrate import Delay
from tutor.sound.ports import RATE, Samples
from tutor.sound.tape import TapeEar
from tutor.studio import Studio, hearing
from tutor.tui.app import LarkstairApp
from tutor.tui.ear import OpenEar
from tutor.tui.screens.microphone import MicrophoneScreen
from tutor.tui.screens.outputs import OutputsScreen


def room(seconds: float, decibels: float) -> Samples:
    """A quiet room of a level."""
    noise = vowels.room(round(seconds * RATE), np.random.default_rng(3))
    return (noise * 10 ** (decibels / 20)).astype(np.float32)


async def opened(app: LarkstairApp, pilot: Pilot[Any]) -> MicrophoneScreen:
    screen = MicrophoneScreen()
    await show(app, pilot, screen)
    return screen


async def until(pilot: Pilot[Any], told: Callable[[], bool]) -> None:
    """Wait for something that another thread brings."""
    for _ in range(200):
        await pilot.pause(0.02)
        if told():
            return
    raise AssertionError("it did not come")


async def test_the_quiet_room_is_measured_kept_and_taken_back(running: Running, studio: Studio) -> None:
    studio.outlets.ear = TapeEar(room(4.0, -58.0))
    async with running(studio) as (app, pilot):
        await opened(app, pilot)
        assert "not measured yet" in text_of(app)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert "The room is quiet enough." in text_of(app)
        assert "dB below full scale" in text_of(app)
        assert hearing.noise_db(studio.store) == pytest.approx(-58, abs=3)
        await pilot.press("u")
        await settle(pilot)
        assert hearing.noise_db(studio.store) == hearing.LEAST_NOISE_DB


async def test_a_microphone_that_is_switched_off_is_told_and_nothing_is_kept(running: Running, studio: Studio) -> None:
    studio.outlets.ear = TapeEar(np.zeros(4 * RATE, dtype=np.float32))
    async with running(studio) as (app, pilot):
        await opened(app, pilot)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert "switched off" in text_of(app)
        assert not studio.store.setting("hearing")


@pytest.mark.parametrize(
    ("loudness", "words"), [(0.0, "Nothing comes in"), (0.004, "Too quiet"), (0.2, "Good."), (1.0, "it clips")]
)
async def test_the_meter_says_what_is_wrong_while_it_is_watched(
    running: Running, studio: Studio, loudness: float, words: str
) -> None:
    tone = np.clip(loudness * np.sin(np.arange(20 * RATE) / 30), -0.99, 0.99).astype(np.float32)
    studio.outlets.ear = TapeEar(tone, pace=lambda seconds: time.sleep(seconds / 4))
    async with running(studio) as (app, pilot):
        screen = await opened(app, pilot)
        await pilot.press("enter")
        await until(pilot, lambda: words in text_of(app))
        await pilot.press("escape")
        await until(pilot, lambda: "Stopped." in text_of(app))
        assert screen.is_current


async def test_without_a_microphone_one_line_says_so(
    running: Running, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(_name: str) -> TapeEar:
        raise PortUnavailable("There is no microphone on this machine", remedy="Connect one")

    monkeypatch.setattr(hearing, "open_ear", none)
    async with running(studio) as (app, pilot):
        await opened(app, pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert "There is no microphone on this machine. Connect one." in text_of(app)
        assert "Watch the level" in text_of(app)


class Timed(TapeEar):
    """A microphone with a clock."""

    def now(self) -> float:
        """Its clock."""
        return 0.0


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (Delay(0.18, 0.004, 5), "180 ms later than the device says"),
        (Delay(0.001, 0.002, 5), "nothing that the device does not say"),
        (Delay(0.2, 0.3, 3), "a cable is steadier"),
        (Delay(7.0, 0.0, 5), "does not fit"),
        (None, "was not heard again"),
    ],
)
async def test_the_delay_is_measured_and_told(
    running: Running, studio: Studio, monkeypatch: pytest.MonkeyPatch, found: Delay | None, words: str
) -> None:
    monkeypatch.setattr("tutor.sound.calibrate.measure_delay", lambda *_args, **_more: found)
    monkeypatch.setattr(type(studio.outlets.player), "now", lambda _self: 0.0, raising=False)
    studio.outlets.ear = Timed()
    async with running(studio) as (app, pilot):
        await opened(app, pilot)
        await pilot.press("down", "down", "enter")
        await settle(pilot)
        assert words in " ".join(text_of(app).split())
        kept = hearing.hearing(studio.store).late_s
        assert kept == (found.late_s if found is not None and found.late_s < 1 else None)


async def test_headphones_let_it_listen_while_the_program_plays(running: Running, studio: Studio) -> None:
    tone = (0.2 * np.sin(2 * np.pi * 220 * np.arange(2 * RATE) / RATE)).astype(np.float32)
    heard: list[float] = []

    def listened() -> list[float]:
        heard.clear()
        studio.outlets.ear = TapeEar(tone)
        ear = OpenEar(studio, note=heard.append)
        ear.sounding = True
        ear.listen()
        return heard

    async with running(studio) as (app, pilot):
        await opened(app, pilot)
        assert listened() == []
        await pilot.press("down", "down", "down", "enter")
        await settle(pilot)
        assert "on: it listens while the program plays" in text_of(app)
        assert len(listened()) == 1


def test_what_was_measured_counts_for_its_own_devices_alone(studio: Studio) -> None:
    hearing.keep(studio.store, hearing.Hearing(-50.0, 0.2, True))
    studio.store.keep_setting("input", "another")
    known = hearing.hearing(studio.store)
    assert (known.noise_db, known.late_s, known.headphones) == (None, None, True)
    studio.store.keep_setting("input", "")
    studio.store.keep_setting("output", "another")
    known = hearing.hearing(studio.store)
    assert (known.noise_db, known.late_s, known.headphones) == (-50.0, None, False)


@pytest.mark.parametrize("kept", ["", "x", "[]", "{}", '{"noise_db": "loud", "late_s": 99}', '{"noise_db": true}', "3"])
def test_a_setting_that_cannot_be_read_counts_as_nothing_measured(studio: Studio, kept: str) -> None:
    studio.store.keep_setting("hearing", kept)
    assert hearing.hearing(studio.store) == hearing.Hearing()


async def test_a_loudspeaker_is_chosen_by_name(
    running: Running, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[str] = []
    monkeypatch.setattr(studio, "speakers", lambda: ("hall", "desk"))
    monkeypatch.setattr(studio, "open_devices", lambda: opened.append(studio.store.setting("output")))
    async with running(studio) as (app, pilot):
        await show(app, pilot, OutputsScreen())
        await pilot.press("down", "down", "enter")
        await settle(pilot)
        assert "From now on: desk." in text_of(app)
        await pilot.press("up", "up", "enter")
        await settle(pilot)
        assert "the system’s own loudspeaker" in text_of(app)
    assert opened[-2:] == ["desk", ""]
