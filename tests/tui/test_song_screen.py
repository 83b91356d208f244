"""The song and the warm-up, with the keyboard alone."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.widgets import Static

from tests.tui import frozen
from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.walking import frozen_song, show, state_of
from tutor.studio import Studio
from tutor.tui.screens.led import LedScreen
from tutor.tui.screens.song import SongScreen
from tutor.tui.screens.warmup import WarmupScreen
from tutor.tui.widgets.climb import Climb
from tutor.tui.widgets.songmap import SongMap

# -- song


async def test_the_song_is_walked_by_bar_phrase_section_and_finding(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        await pilot.press("right", "right", "left")
        assert screen.at == 1
        await pilot.press("right_square_bracket")
        assert screen.bars[screen.at].section != screen.bars[1].section
        await pilot.press("down")
        assert screen.bars[screen.at].phrase != screen.bars[screen.at - 1].phrase
        await pilot.press("home", "n")
        bar = screen.bars[screen.at]
        assert bar.borrowed or bar.rubs or bar.changes or bar.climax
        await pilot.press("end")
        assert screen.at == len(screen.bars) - 1
        await pilot.press("enter")
        assert screen.query_one(SongMap).mini
        await pilot.press("d")
        await pilot.pause()
        assert "Bar 36" in text_of(app)


async def test_the_song_plays_loops_compares_and_transposes(running: Running, studio: Studio, clock: Clock) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        player = studio.outlets.player
        await pilot.press("t")
        assert "a semitone" in screen.foot.notice or "1 semitone" in screen.foot.notice
        for key in ("space", "l", "b"):
            before = len(player.played)  # type: ignore[attr-defined]
            await pilot.press(key)
            for _ in range(100):
                await pilot.pause(0.02)
                if len(player.played) > before:  # type: ignore[attr-defined]
                    break
            assert len(player.played) > before, key  # type: ignore[attr-defined]
            screen.hush()
            await pilot.pause(0.1)
        back = next(b.index for b in screen.bars if b.back is not None)
        screen._go(back)
        await pilot.press("equals_sign")
        assert "then bars" in screen.foot.notice


async def test_the_cursor_follows_the_sound(running: Running, studio: Studio, clock: Clock) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        await pilot.press("space")
        for _ in range(100):
            await pilot.pause(0.02)
            if screen._sounding:
                break
        clock.pass_s(4)
        await pilot.pause(0.2)
        assert screen.at >= 1


async def test_a_chord_is_corrected_and_the_correction_undone(running: Running, clock: Clock, tmp_path: Path) -> None:
    studio = Studio.open(tmp_path, silent_ports=True, clock=clock, seed=3)
    studio.set_voice("soprano")
    frozen.furnish(studio.store)
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio), at=4)
        await show(app, pilot, screen)
        was = screen.bars[4].chords[0].figure
        await pilot.press("c", *"bVI", "enter")
        await settle(pilot)
        assert screen.bars[4].chords[0].figure == "bVI", screen.foot.notice
        assert screen.bars[4].chords[0].corrected
        await pilot.press("u")
        await settle(pilot)
        assert screen.bars[4].chords[0].figure == was
        await pilot.press("c", *"nonsense", "enter")
        await settle(pilot)
        assert screen.foot.bad
        await pilot.press("escape")
        assert app.screen is screen
    studio.close()


# -- warm-up


async def test_a_warm_up_is_led_paused_lowered_and_stopped_at_a_strain(
    running: Running, still: None, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        await show(app, pilot, WarmupScreen(song=frozen_song(studio)))
        await pilot.press("enter", "enter")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, LedScreen)
        assert "Space begins" in screen.foot.notice
        await pilot.press("space")
        assert state_of(screen) == "going"
        while not screen.led.current.keys:
            await pilot.press("s")
        await pilot.press("space")
        assert state_of(screen) == "paused"
        clock.pass_s(60)
        await pilot.pause(0.3)
        assert state_of(screen) == "paused", "nothing moves in a pause"
        await pilot.press("space", "n", "n")
        top = screen.led.top
        await pilot.press("t")
        await settle(pilot)
        assert state_of(screen) == "strained"
        assert studio.singer.strained_at == (top,)
        await pilot.press("enter")
        await settle(pilot)
        assert screen.led.top < top
        await pilot.press("l")
        assert screen.led.lowered in (0, 1, 2)
        assert screen.query_one(Climb).ascent is not None
        for _ in range(40):
            await pilot.press("s")
            await settle(pilot)
            if screen.led.over:
                break
        assert "How did it feel" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert studio.store.diary("Ada")[-1]["feeling"] == "easy"
        assert studio.unfinished_run() is None


@pytest.mark.parametrize("rows", [3, 4])
async def test_a_hoarse_or_hurting_voice_gets_rest_and_not_a_plan(running: Running, studio: Studio, rows: int) -> None:
    async with running(studio) as (app, pilot):
        await show(app, pilot, WarmupScreen(song=frozen_song(studio)))
        await pilot.press(*["down"] * rows, "enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, WarmupScreen)
        assert screen.asking == "refused"
        assert not isinstance(app.screen, LedScreen)
        text = str(screen.query_one("#text", Static).render())
        assert "laryngologist" in text or "speech-language" in text
