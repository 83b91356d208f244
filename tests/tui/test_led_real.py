"""The led warm-up with a real loudspeaker and microphone: it goes on when it has heard the turn."""

from __future__ import annotations

import random
import time

import pytest

from tests.sound import vowels
from tests.sound.audio_loop import AudioLoop
from tests.sound.conftest import card  # noqa: F401
from tests.tui import frozen
from tests.tui.conftest import Running, settle, text_of
from tests.tui.singing import leading, to_a_note, until
from tutor.sound.devices import open_player
from tutor.sound.ports import Clip
from tutor.store.store import Store
from tutor.studio import Studio, wall_clock
from tutor.studio.outlets import open_outlets

pytestmark = pytest.mark.device


@pytest.fixture
def real(card: AudioLoop) -> Studio:  # noqa: F811
    """A studio with the sound card's devices and the clock on the wall."""
    made = Studio(Store.open(None, wall_clock), wall_clock, random.Random(7), open_outlets())
    made.set_voice("soprano")
    made.rename_singer("Ada")
    frozen.furnish(made.store)
    return made


async def test_a_turn_that_was_played_and_sung_back_leads_on(running: Running, real: Studio) -> None:
    assert not real.trouble
    async with running(real, size=(100, 45)) as (app, pilot):
        screen = await leading(app, pilot, real)
        await to_a_note(screen, pilot)
        place = (screen.led.step, screen.led.repetition)
        begun = time.monotonic()
        await pilot.press("h")
        await until(pilot, lambda: "Your turn" in text_of(app), tries=1500)
        phrase = screen.led.phrase
        assert phrase is not None
        assert time.monotonic() - begun >= 0.8 * phrase.length_s, "the piano was heard to its end"
        assert (screen.led.step, screen.led.repetition) == place, "its own piano did not lead it on"
        midis = [float(t.midi) for t in phrase.tones if t.line == "voice"]
        singer = open_player("singer")
        try:
            singer.play(Clip(vowels.melody(midis, 0.5, snr_db=30).samples))
            await until(pilot, lambda: (screen.led.step, screen.led.repetition) != place, tries=1500)
        finally:
            singer.close()
        await pilot.press("escape")
        await settle(pilot)
    real.close()
