"""Getting to know the room and the devices: meter, noise, delay, and when not to listen."""

from __future__ import annotations

import queue
import time
import types
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from tests.sound import vowels
from tutor.sound.calibrate import HEARING, Bleed, chirp, delay, measure_delay, noise_floor
from tutor.sound.meter import Meter, Reading
from tutor.sound.mixer import ClipSource, Mixer
from tutor.sound.ports import RATE, Block, Clip


def test_the_noise_floor_is_measured_and_told() -> None:
    dice = np.random.default_rng(1)
    noise = vowels.room(2 * RATE, dice)
    for db in (-70.0, -45.0, -30.0):
        room = noise_floor((noise * 10 ** (db / 20)).astype(np.float32))
        assert room.noise_db == pytest.approx(db, abs=4)
    assert "quiet enough" in noise_floor((noise * 0.0003).astype(np.float32)).words
    assert "too loud" in noise_floor((noise * 0.03).astype(np.float32)).words
    assert "switched off" in noise_floor(np.zeros(RATE, dtype=np.float32)).words


@pytest.mark.parametrize("late", [0, 137, 4321])
def test_delay_is_found_in_noise(late: int) -> None:
    sound = chirp().samples
    dice = np.random.default_rng(late)
    heard = 0.02 * vowels.room(RATE, dice)
    heard[late : late + len(sound)] += 0.5 * sound
    found = delay(heard.astype(np.float32), sound)
    assert found == pytest.approx(late / RATE, abs=1 / RATE)


def test_delay_is_none_when_nothing_was_heard() -> None:
    sound = chirp().samples
    dice = np.random.default_rng(3)
    assert delay((0.05 * vowels.room(RATE, dice)).astype(np.float32), sound) is None
    assert delay(np.zeros(RATE, dtype=np.float32), sound) is None
    assert delay(sound[:100], sound) is None


def test_listening_pauses_while_the_program_plays() -> None:
    bleed = Bleed(ring_s=0.3)
    assert bleed.may_listen(0.0)
    bleed.playing(1.0)
    assert not bleed.may_listen(1.2)
    assert bleed.may_listen(1.31)
    bleed.headphones = True
    bleed.playing(2.0)
    assert bleed.may_listen(2.0)


def read(*sounds: float, seconds: float = 0.02) -> Reading:
    """The meter after stretches of a steady value each."""
    meter = Meter()
    for sound in sounds:
        meter.feed(np.full(round(seconds * RATE), sound, dtype=np.float32))
    return meter.reading


def test_words_beside_the_meter() -> None:
    assert Meter().reading.word == read(0.0).word == "no input"
    assert read(0.001).word == "too quiet"
    assert read(0.1).word == "good"
    assert read(1.0).word == "too loud"


def test_the_peaks_of_a_noisy_room_are_not_called_good() -> None:
    noise = (vowels.room(RATE, np.random.default_rng(1)) * 10 ** (-40 / 20)).astype(np.float32)
    for known, word in ((-70.0, "good"), (-40.0, "too quiet")):
        meter = Meter(known)
        meter.feed(noise)
        assert meter.reading.word == word


def test_the_meter_holds_its_peak_for_a_while() -> None:
    assert read(0.5, *[0.01] * 20).held_db == pytest.approx(-6.02, abs=0.01)
    assert read(0.5, *[0.01] * 20).peak_db == pytest.approx(-40.0, abs=0.01)
    assert read(1.0, *[0.03] * 40).word == "too loud"
    assert read(1.0, *[0.03] * 90).word == "good"
    assert read(1.0, *[0.0] * 90).word == "no input"


class Loop:
    """A loudspeaker and a microphone that hear each other some time later than either says."""

    name = "loop"

    def __init__(self, late_s: list[float]) -> None:
        self.time_s, self.late_s, self.tries = 0.0, late_s, 0
        self.queue: queue.Queue[Block | None] = queue.Queue()

    def now(self) -> float:
        """A clock of its own."""
        return self.time_s

    def play(self, clip: Clip) -> Any:
        """Heard after a hundredth of a second, as it says."""
        began, late = self.time_s + 0.01, self.late_s[self.tries]
        self.tries += 1
        heard = np.zeros(round(0.85 * RATE), dtype=np.float32)
        if late < 0.5:
            at = round((0.01 + late) * RATE)
            heard[at : at + len(clip.samples)] = clip.samples
        for first in range(0, len(heard), 512):
            self.queue.put(Block(heard[first : first + 512], self.time_s + first / RATE))
        return types.SimpleNamespace(heard_from_s=began)

    def listen(self) -> Iterator[Block]:
        """What was played."""
        while (block := self.queue.get()) is not None:
            yield block

    def close(self) -> None:
        """End listening."""
        self.queue.put(None)

    def sleep(self, seconds: float) -> None:
        """Time passes once everything was fetched."""
        while not self.queue.empty():
            time.sleep(0.001)
        time.sleep(0.005)
        self.time_s += seconds


def test_the_delay_is_what_the_devices_do_not_say_and_the_middle_of_all_tries() -> None:
    loop = Loop([0.18, 0.2, 0.19, 0.9, 0.3])
    found = measure_delay(loop, loop, loop.sleep)
    assert found is not None
    assert found.late_s == pytest.approx(0.2, abs=0.001)
    assert found.spread_s == pytest.approx(0.12, abs=0.001)
    assert found.heard == 4
    deaf = Loop([0.9] * 5)
    assert measure_delay(deaf, deaf, deaf.sleep) is None


def test_the_cursor_goes_by_what_was_measured() -> None:
    now = [0.0]
    mixer = Mixer(lambda: now[0])
    mixer.late_s = 0.2
    voice = mixer.start(ClipSource(Clip(np.ones(RATE, dtype=np.float32))))
    mixer.fill(RATE, 0.0)
    now[0] = 0.5
    assert voice.position_s == pytest.approx(0.3)
    mixer.fill(256, 1.0)
    now[0] = 1.1
    assert not voice.finished
    now[0] = 1.21
    assert voice.finished


def test_the_hearing_caution_names_its_source_and_sends_to_a_doctor() -> None:
    assert "H.870" in HEARING
    assert "80 dB" in HEARING
    assert "audiologist" in HEARING
