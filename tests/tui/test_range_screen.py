"""The range, found by keys and by voice, and where it is offered."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.singing import PushedEar, finder_of, measuring, until
from tests.tui.walking import show
from tutor.errors import PortUnavailable
from tutor.sound.ports import RATE
from tutor.studio import Studio
from tutor.tui.screens.range import RangeScreen
from tutor.tui.screens.today import TodayScreen, gather
from tutor.tui.screens.today import rows as today_rows
from tutor.tui.screens.welcome import WelcomeScreen
from tutor.tui.widgets.menu import Menu
from tutor.tui.widgets.pitch_meter import PitchMeter


async def test_the_range_is_found_by_keys_and_kept_with_its_date(running: Running, studio: Studio) -> None:
    before = studio.singer
    async with running(studio) as (app, pilot):
        screen = await measuring(app, pilot)
        first = finder_of(screen).asked
        await until(pilot, lambda: bool(studio.outlets.player.played))  # type: ignore[attr-defined]
        await pilot.press("e", "e", "e", "u")
        assert finder_of(screen).asked == first + 2
        await pilot.press(*["e"] * 8, "f")
        assert finder_of(screen).stage == "down", "the first effort ends the way up"
        await pilot.press(*["enter"] * 5, "f")
        assert finder_of(screen).stage == "transitions"
        await pilot.press("down", "right", "up", "enter")
        await settle(pilot)
        assert "comfortable range is" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        kept = studio.singer
        assert kept.measured_on == date(2026, 3, 3)
        assert (kept.low_midi, kept.high_midi) == (first - 5, first + 9)
        assert kept.first_transition == before.first_transition + 1
        await pilot.press("u")
        await settle(pilot)
        assert studio.singer == before


async def test_pain_stops_the_search_and_names_whom_to_see(running: Running, studio: Studio) -> None:
    before = studio.singer
    async with running(studio) as (app, pilot):
        screen = await measuring(app, pilot)
        await pilot.press("e", "h")
        assert finder_of(screen).stage == "stopped"
        assert "laryngologist" in text_of(app)
        await pilot.press("end")
        await settle(pilot)
        assert "not a diagnosis" in text_of(app), "all of it can be read on twenty-four rows"
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, TodayScreen)
        assert studio.singer == before


async def test_a_tired_voice_is_not_measured(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = RangeScreen()
        await show(app, pilot, screen)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("down", "down", "enter")
        await settle(pilot)
        assert screen.finder is None
        assert "when it is rested" in text_of(app)


async def test_the_microphone_tells_the_note_but_is_deaf_while_the_program_plays(
    running: Running, studio: Studio, clock: Clock
) -> None:
    ear = PushedEar()
    studio.outlets.ear = ear
    async with running(studio) as (app, pilot):
        screen = await measuring(app, pilot)
        await pilot.press("m")
        asked = finder_of(screen).asked
        ear.sing(asked)
        await pilot.pause(0.3)
        assert not finder_of(screen).matched, "the program itself was sounding"
        await until(pilot, lambda: len(studio.outlets.player.played) > 1)  # type: ignore[attr-defined]
        clock.pass_s(4)
        await until(pilot, lambda: screen.query_one(PitchMeter).state == "your turn")
        ear.push(np.zeros(RATE, dtype=np.float32))
        ear.sing(asked + 3)
        await until(pilot, lambda: "nearer to" in finder_of(screen).hint)
        ear.sing(asked)
        await until(pilot, lambda: finder_of(screen).matched)
        assert finder_of(screen).asked == asked, "only the singer says how it was"
        ear.sing(asked - 12)
        await until(pilot, lambda: "octave" in finder_of(screen).hint)
        await pilot.press("e")
        assert finder_of(screen).asked == asked, "an octave lower is not taken for it at once"
        assert "answer again" in " ".join(text_of(app).split())
        await pilot.press("e")
        assert finder_of(screen).asked == asked + 1
        await pilot.press("escape")
        await settle(pilot)


async def test_without_a_microphone_the_keys_go_on(
    running: Running, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(device: str = "") -> None:
        raise PortUnavailable("there is no microphone", remedy="Connect one")

    monkeypatch.setattr("tutor.studio.outlets.open_ear", none)
    async with running(studio) as (app, pilot):
        screen = await measuring(app, pilot)
        asked = finder_of(screen).asked
        await pilot.press("m")
        await settle(pilot)
        assert "no microphone" in text_of(app)
        await pilot.press("e")
        assert finder_of(screen).asked == asked + 1


async def test_the_range_is_offered_once_the_singer_has_begun_and_no_longer_when_it_is_fresh(
    running: Running, studio: Studio, clock: Clock
) -> None:
    known = replace(gather(studio), known=3)
    assert "range" in [r.id for r in today_rows(known)]
    assert "range" not in [r.id for r in today_rows(replace(known, known=0))]
    studio.keep_singer(replace(studio.singer, measured_on=clock.now.date()))
    assert "range" not in [r.id for r in today_rows(replace(gather(studio), known=3))]
    clock.now += timedelta(days=100)
    assert "range" in [r.id for r in today_rows(replace(gather(studio), known=3))]


async def test_the_first_run_tells_of_hearing_and_offers_the_range(running: Running, empty_studio: Studio) -> None:
    async with running(empty_studio) as (app, pilot):
        await show(app, pilot, WelcomeScreen())
        await pilot.press("enter")
        await settle(pilot)
        shown = " ".join(text_of(app).split())
        assert "Do you hear" in shown
        assert "H.870" in shown
        assert "audiologist" in shown
        assert "No go on without sound" in shown, "the answers stay in sight"
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("end", "enter")
        await settle(pilot)
        await pilot.press("end", "up", "enter")
        await settle(pilot)
        assert isinstance(app.screen, RangeScreen)
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, WelcomeScreen)


async def test_setup_tells_of_hearing_at_the_sound_check_and_leads_to_the_range(
    running: Running, studio: Studio
) -> None:
    async with running(studio) as (app, pilot):
        app.go("setup")
        await settle(pilot)
        assert "H.870" not in text_of(app)
        screen = app.screen
        menu = screen.query_one(Menu)
        while menu.current is None or menu.current.id != "sound":
            await pilot.press("down")
        await settle(pilot)
        shown = text_of(app)
        assert "H.870" in shown
        assert "Sound check" in shown
        await pilot.press("up", "enter")
        await settle(pilot)
        assert isinstance(app.screen, RangeScreen)
