"""The led warm-up and the diary, by keyboard and hands-free."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.singing import PushedEar, leading, to_a_note, to_where, until
from tests.tui.walking import frozen_song, show
from tutor.errors import PortUnavailable
from tutor.sound.ports import RATE
from tutor.studio import Studio, diary
from tutor.tui.look import Glyphs
from tutor.tui.screens.diary import DiaryScreen, week_lines
from tutor.tui.screens.today import TodayScreen


async def test_a_note_that_strains_is_remembered_and_the_next_plan_stays_below_it(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        assert max(s.top_midi or 0 for s in screen.led.plan.steps) > 74
        top = await to_where(screen, pilot, lambda run: run.top >= 74 and run.singing)
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


async def test_single_warm_ups_and_strained_notes_are_deleted_and_brought_back(
    running: Running, studio: Studio, clock: Clock
) -> None:
    for days in (9, 2, 1):
        at = (clock.now - timedelta(days=days)).isoformat()
        studio.store.keep_diary(
            "Ada", {"at": at, "song": f"Song {days}", "condition": "fresh", "feeling": "easy", "time_s": 300.0}
        )
    studio.remember_strain(76)
    before = studio.singer
    async with running(studio) as (app, pilot):
        await show(app, pilot, DiaryScreen())
        shown = " ".join(text_of(app).split())
        assert "E5 on 3 March; nothing above E♭5 until 24 March" in shown
        await pilot.press("x")
        await settle(pilot)
        assert studio.singer.strained_at == ()
        await pilot.press("down", "x")
        await settle(pilot)
        assert [e.song for e in diary.entries(studio)] == ["Song 9", "Song 1"]
        await pilot.press("u")
        await settle(pilot)
        assert [e.song for e in diary.entries(studio)] == ["Song 9", "Song 2", "Song 1"]
        await pilot.press("u")
        await settle(pilot)
        assert studio.singer == before
        assert "is back" in text_of(app)


# -- hands-free


async def test_the_run_goes_on_once_the_turn_was_heard(running: Running, studio: Studio, clock: Clock) -> None:
    ear = PushedEar()
    studio.outlets.ear = ear
    async with running(studio, size=(100, 45)) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_a_note(screen, pilot)
        await pilot.press("h")
        await pilot.pause(0.1)
        place = (screen.led.step, screen.led.repetition)
        clock.pass_s(60)
        await until(pilot, lambda: "Your turn" in text_of(app))
        assert (screen.led.step, screen.led.repetition) == place, "time alone does not go on"
        ear.push(np.zeros(RATE, dtype=np.float32))
        ear.sing(40, 41, seconds=0.6)
        await pilot.pause(0.5)
        clock.pass_s(1)
        await pilot.pause(0.3)
        assert (screen.led.step, screen.led.repetition) == place, "something else was sung"
        phrase = screen.led.phrase
        assert phrase is not None
        ear.sing(*[t.midi for t in phrase.tones if t.line == "voice"], seconds=0.5, rest_s=0.1)
        ear.push(np.zeros(2 * RATE, dtype=np.float32))
        await until(pilot, lambda: screen.led.heard_now or (screen.led.step, screen.led.repetition) != place)
        clock.pass_s(0.2)
        await until(pilot, lambda: (screen.led.step, screen.led.repetition) != place)
        await pilot.press("h")
        assert not screen.led.waits
        await pilot.press("escape")
        await settle(pilot)


async def test_without_a_microphone_the_run_goes_by_time(
    running: Running, studio: Studio, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(device: str = "") -> None:
        raise PortUnavailable("there is no microphone", remedy="Connect one")

    monkeypatch.setattr("tutor.studio.outlets.open_ear", none)
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_a_note(screen, pilot)
        place = (screen.led.step, screen.led.repetition)
        await pilot.press("h")
        await settle(pilot)
        assert "no microphone" in text_of(app)
        assert not screen.led.waits
        clock.pass_s(60)
        await until(pilot, lambda: (screen.led.step, screen.led.repetition) != place)
