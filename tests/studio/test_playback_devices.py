"""Whole songs on devices that go and come back, on instruments, and through SoundFonts."""

from __future__ import annotations

import random
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tests.sound.fonts import soundfont
from tests.studio.players import Clock, LossyPlayer, Paper, made, song, wait_for
from tutor.errors import PortUnavailable
from tutor.music.phrase import Phrase
from tutor.sound.instrument import InstrumentPlayer
from tutor.sound.synth import SOUNDS
from tutor.sound.tape import TapePlayer
from tutor.store.store import Store
from tutor.studio import Studio
from tutor.studio.outlets import Outlets


def test_a_lost_device_is_told_and_playing_goes_on_when_it_is_back() -> None:
    clock = Clock()
    player = LossyPlayer(clock)
    playback, clock, _ = made(song(), player)
    playback.play(8.0)
    clock.now = 2.0
    player.problem = "The sound output 'box' has gone. Connect it again."
    assert not playback.running
    assert "has gone" in playback.problem
    assert playback.place == pytest.approx(10.0)
    with pytest.raises(PortUnavailable):
        playback.resume()
    assert "has gone" in playback.problem
    player.mended = True
    playback.resume()
    clock.now = 3.0
    assert playback.running
    assert playback.problem == ""
    assert playback.place == pytest.approx(11.0)
    playback.close()


@pytest.fixture
def studio() -> Studio:
    """A studio on tape."""

    def clock() -> datetime:
        return datetime(2026, 3, 3, tzinfo=UTC)

    return Studio(Store.open(None, clock), clock, random.Random(1), Outlets(TapePlayer(Clock())))


def test_an_instrument_plays_in_place_of_the_loudspeaker_and_is_left_silent(
    studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    paper = Paper()
    studio.outlets.instrument = InstrumentPlayer(paper)
    studio.playback.load(song())
    studio.playback.play(4.0)
    wait_for(lambda: paper.sounding == {61, 37})
    studio.stop()
    assert not paper.sounding
    studio.play(Phrase.parse("E4:4"))
    wait_for(lambda: paper.sounding == {64})
    studio.playback.play(0.0)
    wait_for(lambda: paper.sounding == {60, 36})
    tape = studio.outlets.player
    assert isinstance(tape, TapePlayer)
    assert not tape.played
    assert not tape.sources
    paper.gone = True
    studio.playback.set(tempo=1.1)
    wait_for(lambda: not studio.playback.running)
    assert "has gone" in studio.playback.problem
    back = Paper()
    monkeypatch.setattr("tutor.studio.open_instrument", lambda name: InstrumentPlayer(back))
    studio.playback.play(8.0)
    wait_for(lambda: back.sounding == {62, 38})
    assert studio.playback.problem == ""
    studio.close()
    assert not back.sounding
    assert back.closed


def test_one_sound_ends_another(studio: Studio) -> None:
    studio.playback.load(song())
    studio.playback.play(0.0)
    clip = studio.play(Phrase.parse("C4:4"))
    assert not studio.playback.running
    studio.playback.play(0.0)
    assert clip.finished
    assert studio.playback.running
    studio.stop()
    assert not studio.playback.running
    studio.close()


def test_a_soundfont_that_cannot_be_read_leaves_the_built_in_piano(studio: Studio, tmp_path: Path) -> None:
    bad = tmp_path / "bad.sf2"
    bad.write_bytes(b"not a soundfont")
    studio.store.keep_setting("soundfont", str(bad))
    studio.open_sounds()
    assert studio.sounds is SOUNDS
    assert "bad.sf2" in studio.sounds_trouble
    studio.store.keep_setting("soundfont", "built-in")
    studio.open_sounds()
    assert studio.sounds_trouble == ""
    studio.close()


def test_a_soundfont_named_in_setup_plays_everything(studio: Studio, tmp_path: Path) -> None:
    good = tmp_path / "hall.sf2"
    soundfont(good, cents_sharp=0.0)
    phrase = Phrase.parse("A3+E4:2", line="upper")
    before = studio.render(phrase).samples
    studio.choose_soundfont(str(good))
    assert studio.has_soundfont
    assert studio.sounds.piano.name.startswith("Test piano (hall.sf2")
    assert not np.allclose(studio.render(phrase).samples, before)
    studio.playback.load(song())
    studio.playback.play(0.0)
    assert studio.playback.settings.sounds is studio.sounds
    studio.choose_soundfont("built-in")
    studio.playback.play(0.0)
    assert studio.playback.settings.sounds is SOUNDS
    studio.close()
