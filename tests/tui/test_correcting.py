"""Corrections made on the song screen, by keyboard."""

from __future__ import annotations

from pathlib import Path

from tests.tui import frozen
from tests.tui.conftest import Clock, Running, settle
from tests.tui.walking import frozen_song, show
from tutor.studio import Studio
from tutor.tui.screens.song import SongScreen


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


async def test_damaged_corrections_are_said_and_never_written_over(
    running: Running, clock: Clock, tmp_path: Path
) -> None:
    studio = Studio.open(tmp_path, silent_ports=True, clock=clock, seed=3)
    frozen.furnish(studio.store)
    beside = tmp_path / "corrections" / "frozen.toml"
    beside.parent.mkdir()
    beside.write_text("form = = 1")
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio), at=4)
        await show(app, pilot, screen)
        assert screen.foot.notice.startswith("Your corrections were left out: ")
        await pilot.press("c", *"bVI", "enter")
        await settle(pilot)
        assert screen.foot.bad
        assert screen.foot.notice.startswith(str(beside))
        beside.unlink()
        await pilot.press("enter")
        await settle(pilot)
        assert screen.bars[4].chords[0].corrected
        harmony = tmp_path / "corrections" / "frozen.rntxt"
        harmony.write_text("m1 nonsense")
        await pilot.press("u")
        await settle(pilot)
        assert screen.foot.bad
        assert harmony.read_text() == "m1 nonsense"
        harmony.unlink()
        await pilot.press("u")
        await settle(pilot)
        assert not screen.bars[4].chords[0].corrected
    studio.close()
