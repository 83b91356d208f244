"""The song with a real loudspeaker: another program takes it, gives it back, and Space goes on."""

from __future__ import annotations

import random

import pytest

from tests.sound.audio_loop import AudioLoop
from tests.sound.conftest import card  # noqa: F401
from tests.tui import frozen
from tests.tui.conftest import Running, settle
from tests.tui.singing import until
from tests.tui.walking import frozen_song, show
from tutor.store.store import Store
from tutor.studio import Studio, wall_clock
from tutor.studio.outlets import open_outlets
from tutor.tui.screens.song import SongScreen

pytestmark = pytest.mark.device


async def test_space_goes_on_where_a_loudspeaker_was_taken_and_given_back(
    running: Running,
    card: AudioLoop,  # noqa: F811
) -> None:
    studio = Studio(Store.open(None, wall_clock), wall_clock, random.Random(7), open_outlets())
    studio.set_voice("soprano")
    frozen.furnish(studio.store)
    assert not studio.trouble
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        await pilot.press("space")
        await until(pilot, lambda: studio.playback.place > 0.5)
        card.suspend(taken=True)
        try:
            await until(pilot, lambda: screen.foot.bad)
            assert "has gone" in screen.foot.notice
            assert "Space goes on" in screen.foot.notice
            assert "\n" not in screen.foot.notice
            assert not screen._sounding
            place = studio.playback.place
            await pilot.press("right", "left")
            assert app.screen is screen, "the session goes on"
        finally:
            card.suspend(taken=False)
        await pilot.press("space")
        await settle(pilot)
        assert screen._sounding
        await until(pilot, lambda: studio.playback.place > place + 0.3)
        await pilot.press("space")
        assert not screen._sounding
    studio.close()
