"""Loudspeaker and microphone through a real sound server."""

from __future__ import annotations

import functools
import os
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from tests.sound import vowels
from tests.sound.audio_loop import AudioLoop
from tutor.errors import PortUnavailable
from tutor.music.phrase import Phrase
from tutor.music.pitch import Pitch
from tutor.sound.calibrate import delay, measure_delay
from tutor.sound.device import Way
from tutor.sound.devices import list_inputs, list_outputs, open_ear, open_player
from tutor.sound.diagnose import diagnose
from tutor.sound.engine import Engine, Settings
from tutor.sound.listen import LivePitch, take
from tutor.sound.meter import Reading
from tutor.sound.mixer import ClipSource, Voice
from tutor.sound.ports import RATE, Block, Clip, Ear, Samples
from tutor.sound.synth import render
from tutor.studio import BUILT_IN, Studio, hearing
from tutor.studio.outlets import open_ear as open_ear_again

pytestmark = [pytest.mark.device, pytest.mark.usefixtures("card")]


class Recording:
    """Blocks heard so far."""

    def __init__(self) -> None:
        self.blocks: list[Block] = []

    @property
    def samples(self) -> Samples:
        """All of them joined."""
        return np.concatenate([b.samples for b in self.blocks] or [np.zeros(0, dtype=np.float32)])


@contextmanager
def recorded(ear: Ear) -> Iterator[Recording]:
    """What an ear hears while the block runs."""
    recording = Recording()

    def work() -> None:
        for block in ear.listen():
            recording.blocks.append(block)

    thread = threading.Thread(target=work)
    thread.start()
    deadline = time.monotonic() + 5
    while not recording.blocks and time.monotonic() < deadline:
        time.sleep(0.02)
    try:
        yield recording
    finally:
        ear.close()
        thread.join(3)


def wait(until: Callable[[], object], seconds: float = 5.0) -> bool:
    """Whether something becomes true in time."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if until():
            return True
        time.sleep(0.01)
    return False


def crowd() -> float:
    """How many programs want each processor now, at least 1: limits of time are for a machine that is free."""
    return max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))


def began(voice: Voice) -> bool:
    """Whether the first sample was handed over."""
    return voice.heard_from_s is not None


def partial(samples: Samples, near_hz: float) -> float:
    """The exact frequency of the strongest partial within a third of a semitone, hertz."""
    size = 1 << 20
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size))
    low, high = (int(near_hz * 2 ** (c / 1200) * size / RATE) for c in (-33, 33))
    k = low + int(spectrum[low:high].argmax())
    a, b, c = np.log(spectrum[k - 1 : k + 2])
    return float((k + 0.5 * (a - c) / (a - 2 * b + c)) * RATE / size)


def there_and_back(clip: Clip, way: Way = "portaudio", *, to: str | None = None, source: str | None = "ear") -> Samples:
    """A clip played and heard again, in time with it.

    On a busy machine the server drops pieces now and then; such a recording is thrown away and made anew.
    """
    player = open_player(to, through=way)  # the same for all tries: it takes larger buffers once it ran dry
    for _ in range(8):
        with recorded(open_ear(source, through="portaudio")) as heard:
            time.sleep(0.2)
            playing = player.play(clip)
            assert wait(lambda playing=playing: playing.finished, clip.length_s + 5)  # type: ignore[misc]
            time.sleep(0.3)
        late = delay(heard.samples, clip.samples[:RATE])
        if late is None:
            continue
        sound = heard.samples[round(late * RATE) :][: len(clip.samples)]
        if len(sound) == len(clip.samples) and np.std(sound - clip.samples) < 0.2 * np.std(clip.samples):
            player.close()
            return sound
    player.close()
    pytest.fail("eight recordings in a row had pieces missing")


@pytest.mark.parametrize("way", ["portaudio", "miniaudio"])
def test_a_chord_that_is_played_comes_back_with_its_pitches(way: Way) -> None:
    names = ["C3", "G3", "E4", "C5"]
    clip = render(Phrase.parse("+".join(names) + ":2", bpm=60, line="upper"))
    sound = there_and_back(clip, way)[: round(1.9 * RATE)]
    for name in names:
        wanted = Pitch.parse(name).hz
        # the bass's own partials lie a hair beside the upper notes
        assert abs(1200 * np.log2(partial(sound[4800:], wanted) / wanted)) < 1.0
    level = float(np.std(sound[4800:48000]) / np.std(clip.samples[4800:48000]))
    assert level == pytest.approx(1.0, abs=0.1)


def test_a_sung_scale_goes_in_and_comes_out_as_notes() -> None:
    midis = [57.0, 59.0, 61.0, 62.0, 64.0]
    sung = vowels.melody(midis, 0.35, snr_db=30)
    heard = there_and_back(Clip(sung.samples), to="singer", source=None)
    judged = take(heard)
    assert judged.problem == ""
    assert [round(n.midi) for n in judged.notes] == midis
    assert max(abs(n.midi - m) for n, m in zip(judged.notes, midis, strict=True)) < 0.03
    live = LivePitch()
    points = [p for at in range(0, len(heard), 256) for p in live.feed(Block(heard[at : at + 256], at / RATE))]
    seen = [p.hz for p in points if p.hz]
    rate = (len(points) - 1) / (points[-1].at_s - points[0].at_s)
    assert rate >= 30
    assert {round(69 + 12 * np.log2(hz / 440)) for hz in seen} >= set(midis)


def test_live_pitch_follows_within_80_ms_from_loudspeaker_to_answer() -> None:
    """Sound on the way out and in, two device buffers, and the tracker, all together."""
    dice = np.random.default_rng(5)
    singer = open_player("singer")
    ear = open_ear()
    answers: list[tuple[float, float]] = []

    def follow() -> None:
        live = LivePitch()
        for block in ear.listen():
            answers.extend((time.monotonic(), p.hz) for p in live.feed(block) if p.hz)

    thread = threading.Thread(target=follow)
    thread.start()
    time.sleep(0.5)
    waits = []
    for hz in (131.0, 196.0, 262.0, 440.0, 784.0):
        note = (0.08 * vowels.sung(vowels.steady(hz, 0.4), "a", dice)).astype(np.float32)
        began = time.monotonic()
        playing = singer.play(Clip(note))

        def right(began: float = began, hz: float = hz) -> list[float]:
            return [at for at, found in answers if at > began and found and abs(1200 * np.log2(found / hz)) < 50]

        assert wait(right), f"{hz} Hz was not followed"
        waits.append(right()[0] - began)
        playing.stop()
        time.sleep(0.15)
    ear.close()
    thread.join(3)
    singer.close()
    assert sorted(waits)[len(waits) // 2] < 0.08 * crowd(), sorted(waits)


def test_any_bar_of_a_five_minute_song_sounds_within_30_ms_of_the_key() -> None:
    text = " ".join(["C2+G3+E4+C5:1 G2+B3+D4+G4:1 A2+C4+E4+A4:1 F2+A3+C4+F4:1"] * 150)
    player = open_player()
    engine = Engine(player)
    engine.load(Phrase.parse(text, bpm=120, line="upper"))
    time.sleep(0.3)
    waits = []
    for bar in range(3, 140, 9):
        key = player.now()
        engine.play(bar * 4.0)
        voice = engine.playing
        assert isinstance(voice, Voice)
        assert wait(functools.partial(began, voice), 2)
        waits.append((voice.heard_from_s or 0.0) - key)
        time.sleep(0.05)
    engine.close()
    player.close()
    assert sorted(waits)[len(waits) // 2] < 0.03 * crowd(), sorted(waits)


def test_the_cursor_keeps_to_the_sound() -> None:
    player = open_player()
    engine = Engine(player, Settings(tempo=1.2))
    engine.load(Phrase.parse("C4:1 D4:1 E4:1 F4:1", bpm=60, line="upper"))
    engine.play()
    assert wait(lambda: engine.position_quarters > 0.2)
    first, at = engine.position_quarters, time.monotonic()
    time.sleep(1.0)
    moved = engine.position_quarters - first
    assert moved == pytest.approx((time.monotonic() - at) * 1.2, abs=0.05 * crowd())
    engine.pause()
    place = engine.position_quarters
    time.sleep(0.2)
    assert engine.position_quarters == place
    engine.close()
    player.close()


def test_the_delay_is_measured_through_the_room_and_nothing_is_late_here() -> None:
    player, ear = open_player(), open_ear("ear")
    found = measure_delay(player, ear, time.sleep, tries=3)
    player.close()
    assert found is not None
    assert found.heard >= 2
    assert abs(found.late_s) < 0.01 * crowd()


@pytest.fixture
def studio() -> Iterator[Studio]:
    """A studio on the real devices that keeps nothing."""
    made = Studio.open(in_memory=True, seed=1)
    made.store.keep_setting("soundfont", BUILT_IN)
    made.open_devices()
    yield made
    made.close()


def test_setup_measures_room_and_delay_on_the_real_devices(studio: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hearing, "ROOM_S", 1.5)
    noise = vowels.room(4 * RATE, np.random.default_rng(1)) * 10 ** (-56 / 20)
    singer, readings = open_player("singer"), list[Reading]()
    singer.play(Clip(noise.astype(np.float32)))
    found = hearing.Check(studio, readings.append).room()
    singer.close()
    assert found is not None
    assert found.noise_db == pytest.approx(-56, abs=3)
    assert len(readings) >= 20
    assert readings[-1].word == "too quiet"

    studio.store.keep_setting("input", "ear")
    measured = hearing.Check(studio, readings.append).delay()
    assert not isinstance(measured, str), measured
    assert measured[0] < 0.01 * crowd()


def test_a_check_ends_when_it_is_told_to(studio: Studio) -> None:
    check = hearing.Check(studio, lambda _reading: None)
    thread = threading.Thread(target=check.watch)
    thread.start()
    time.sleep(0.3)
    check.end()
    thread.join(3)
    assert not thread.is_alive()


def test_a_device_that_goes_away_and_comes_back(card: AudioLoop) -> None:
    player = open_player()
    engine = Engine(player)
    engine.load(Phrase.parse(" ".join(["C4:1 E4:1"] * 30), bpm=60, line="upper"))
    ear = open_ear()
    gone: list[str] = []

    def hear() -> None:
        try:
            for _ in ear.listen():
                pass
        except PortUnavailable as error:
            gone.append(error.line)

    thread = threading.Thread(target=hear)
    thread.start()
    engine.play()
    assert wait(lambda: engine.position_quarters > 0.5)
    card.stop()
    try:
        assert wait(lambda: engine.state == "paused", 6)
        assert "has gone" in engine.problem
        assert "\n" not in engine.problem
        place = engine.position_quarters
        assert place > 0.3
        assert wait(lambda: gone, 6)
        assert "microphone" in gone[0]
        with pytest.raises(PortUnavailable):
            engine.play()
        assert engine.position_quarters == pytest.approx(place)
    finally:
        card.start()
    engine.play()
    assert engine.problem == ""
    assert wait(lambda: engine.position_quarters > place + 0.3)
    engine.close()
    player.close()
    ear.close()
    thread.join(3)


def test_a_loudspeaker_that_came_after_the_start_is_found_by_playing(card: AudioLoop) -> None:
    card.stop()
    made = Studio.open(in_memory=True, seed=1)
    made.store.keep_setting("soundfont", BUILT_IN)
    phrase = Phrase.parse("C4:1 E4:1", bpm=120, line="upper")
    try:
        made.open_devices()
        assert "sound output" in made.trouble
        assert "\n" not in made.trouble
        made.play(phrase)
        assert made.trouble
    finally:
        card.start()
    made.outlets.looked_s = 0.0
    playing = made.play(phrase)
    assert made.trouble == ""
    open_ear_again("ear").close()
    assert wait(lambda: playing.position_s > 0.2)
    made.close()


def test_a_device_that_ran_dry_gets_larger_buffers() -> None:
    class Slow(ClipSource):
        """A source that keeps the device waiting."""

        def read(self, at: int, frames: int) -> Samples:
            """As slow as can be."""
            time.sleep(0.12)
            return super().read(at, frames)

    player = open_player()
    slow = Slow(Clip(np.zeros(5 * RATE, dtype=np.float32)))
    player.play_from(slow)
    assert wait(lambda: player.underruns > 3, 10)
    before = player.latency_s
    playing = player.play(Clip(np.zeros(RATE // 4, dtype=np.float32)))
    assert wait(lambda: playing.finished)
    assert player.latency_s > before
    player.close()


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="open files are counted on Linux alone")
@pytest.mark.parametrize("way", ["portaudio", "miniaudio"])
def test_devices_that_come_and_go_leave_nothing_open(way: Way) -> None:
    """See tests/bench/soak.py for hundreds of them."""
    open_player(through=way).close()
    before = len(list(Path("/proc/self/fd").iterdir()))
    for number in range(8):
        player = open_player(through=way)
        player.play(Clip(np.zeros(RATE, dtype=np.float32)))
        asking = threading.Thread(target=lambda player=player: [player.now() for _ in range(2000)])
        asking.start()
        if number % 2:
            player.reopen()
        player.close()
        asking.join()
    assert wait(lambda: len(list(Path("/proc/self/fd").iterdir())) <= before)


def test_a_wrong_name_is_told_in_one_line() -> None:
    with pytest.raises(PortUnavailable) as caught:
        open_player("harpsichord")
    assert "harpsichord" in caught.value.line
    with pytest.raises(PortUnavailable):
        open_ear("harpsichord")


def test_lists_and_diagnosis() -> None:
    assert {d.name for d in list_outputs()} >= {"singer", "default"}
    assert {d.name for d in list_inputs()} >= {"ear", "default"}
    found = {line.what: line for line in diagnose()}
    assert found["Sound output"].verdict == "works"
    assert found["Microphone"].verdict in ("works", "note")
    for line in found.values():
        assert "\n" not in line.text + line.remedy


@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_a_card_of_another_rate_keeps_the_pitch(card: AudioLoop, rate: int) -> None:
    card.stop()
    card.rate = rate
    card.start()
    try:
        sound = there_and_back(render(Phrase.parse("A4:1", bpm=120, line="upper")))[4800 : round(0.45 * RATE)]
        assert abs(1200 * np.log2(partial(sound, 440.0) / 440.0)) < 1.0
    finally:
        card.stop()
        card.rate = 48_000
        card.start()
