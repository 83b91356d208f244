"""SoundFonts through FluidSynth, where it is installed, and without it."""

from __future__ import annotations

import gc
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tests.sound.fonts import soundfont
from tests.sound.test_synth import cents_off
from tutor.music.phrase import Phrase
from tutor.sound import fluid
from tutor.sound.ports import RATE
from tutor.sound.sf2 import read
from tutor.sound.soundfont import FontTimbre, find_soundfonts, sounds_from
from tutor.sound.synth import CEILING, render

needs_it = pytest.mark.skipif(fluid.library() is None, reason="FluidSynth is not installed")


@pytest.fixture(scope="module")
def font(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("font") / "test.sf2"
    soundfont(path, cents_sharp=12.0)
    return path


@needs_it
def test_fluidsynth_plays_a_soundfont_in_tune_and_as_loud_as_our_own_player(font: Path) -> None:
    assert fluid.version()[0].isdigit()
    sounds, own = sounds_from(font), FontTimbre(read(font))
    assert sounds.piano.name == "Test piano (test.sf2, FluidSynth)"
    for midi in (57, 69, 76):
        note = sounds.piano.note(midi, 3.0, 0.7)
        assert abs(cents_off(note, midi)) < 1.0
        assert note[0] == note[-1] == 0.0
        level = np.std(note[: RATE // 2]) / np.std(own.note(midi, 3.0, 0.7)[: RATE // 2])
        assert abs(20 * np.log10(level)) < 2.0


@needs_it
def test_the_velocity_sets_the_loudness_without_steps(font: Path) -> None:
    piano = sounds_from(font).piano
    loud = [float(np.std(piano.note(69, 0.5, v / 20))) for v in range(2, 21)]
    assert all(a < b for a, b in pairwise(loud))
    assert max(b / a for a, b in pairwise(loud)) < 1.5


@needs_it
def test_a_phrase_is_rendered_the_same_twice_and_within_the_ceiling(font: Path) -> None:
    sounds = sounds_from(font)
    phrase = Phrase.parse("C2+G2+E3+C4+E4+G4+C5+E5+G5+C6:2", bpm=60, line="upper")
    one, two = render(phrase, timbre=sounds).samples, render(phrase, timbre=sounds).samples
    assert np.array_equal(one, two)
    assert 0.05 < float(np.max(np.abs(one))) <= CEILING


@needs_it
def test_our_own_player_is_as_loud_as_fluidsynth_on_every_key_of_a_real_font() -> None:
    """Some fonts darken a note after its beginning; both players must follow."""
    fonts = [f for f in find_soundfonts() if f.name == "TimGM6mb.sf2"]
    if not fonts:
        pytest.skip("this SoundFont is not installed")
    theirs, ours = sounds_from(fonts[0]).piano, FontTimbre(read(fonts[0]))
    for midi in range(36, 97, 12):
        levels = [float(np.std(timbre.note(midi, 1.0, 0.7))) for timbre in (theirs, ours)]
        assert abs(20 * np.log10(levels[0] / levels[1])) < 2.0, midi


@needs_it
def test_synthesizers_are_let_go(font: Path) -> None:
    for _ in range(8):
        fluid.FluidTimbre(read(font)).note(60, 0.1, 0.7)
        gc.collect()


def test_without_fluidsynth_our_own_player_plays(font: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fluid, "library", lambda: None)
    assert sounds_from(font).piano.name == "Test piano (test.sf2)"
    assert fluid.version() == ""
