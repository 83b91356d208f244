"""Tape ports, SoundFonts, files, and devices that misbehave."""

from __future__ import annotations

import struct
import sys
import types
import wave
from collections.abc import Callable
from pathlib import Path
from typing import Any

import mido
import numpy as np
import pytest

from tests.sound.fonts import soundfont
from tests.sound.test_synth import cents_off
from tutor.errors import PortUnavailable
from tutor.music.phrase import Phrase
from tutor.sound import devices, export
from tutor.sound.mixer import ClipSource, Mixer
from tutor.sound.ports import RATE, Clip, Ear, KeyEvent, Keys, Player
from tutor.sound.resample import resample
from tutor.sound.soundfont import sounds_from
from tutor.sound.stream import Loudspeaker
from tutor.sound.synth import CEILING, render
from tutor.sound.tape import TapeEar, TapeKeys, TapePlayer

# --- tape --------------------------------------------------------------------------------------------------------


def test_the_tape_ports_are_ports() -> None:
    assert isinstance(TapePlayer(), Player)
    assert isinstance(TapeEar(), Ear)
    assert isinstance(TapeKeys(), Keys)


def test_the_tape_plays_against_its_clock() -> None:
    now = [10.0]
    player = TapePlayer(lambda: now[0])
    clip = Clip(np.zeros(RATE, dtype=np.float32))
    first = player.play(clip)
    now[0] = 10.4
    assert first.position_s == pytest.approx(0.4)
    second = player.play(clip)
    assert first.finished
    assert first.position_s == pytest.approx(0.4)
    now[0] = 12.0
    assert second.finished
    assert second.position_s == 1.0
    assert player.played == [clip, clip]
    player.close()
    player.close()


def test_the_tape_ear_gives_its_samples_and_stops() -> None:
    samples = np.arange(2000, dtype=np.float32)
    blocks = list(TapeEar(samples, block=512).listen())
    assert np.array_equal(np.concatenate([b.samples for b in blocks]), samples)
    assert [b.at_s for b in blocks] == pytest.approx([0, 512 / RATE, 1024 / RATE, 1536 / RATE])
    ear = TapeEar(samples)
    stream = ear.listen()
    next(stream)
    ear.close()
    assert list(stream) == []


def test_tape_keys_are_heard_only_while_someone_listens() -> None:
    keys, heard = TapeKeys(), list[KeyEvent]()
    keys.press(60)
    keys.listen(heard.append)
    keys.press(60, 64)
    keys.close()
    keys.press(67)
    assert [(e.midi, e.velocity > 0) for e in heard] == [(60, True), (64, True), (60, False), (64, False)]


# --- mixer -------------------------------------------------------------------------------------------------------


def pump(mixer: Mixer, seconds: float, start: int = 0, block: int = 256) -> Any:
    count = round(seconds * mixer.rate) // block
    return np.concatenate([mixer.fill(block, (start + i * block) / mixer.rate) for i in range(count)])


def test_stopping_and_changing_over_do_not_click() -> None:
    tone = Clip((0.5 * np.sin(2 * np.pi * 220 * np.arange(RATE) / RATE)).astype(np.float32))
    mixer = Mixer(lambda: 0.0)
    first = mixer.start(ClipSource(tone))
    before = pump(mixer, 0.1)
    first.stop()
    after = pump(mixer, 0.1)
    joined = np.concatenate((before, after))
    assert np.max(np.abs(np.diff(joined))) < 0.5 * 2 * np.pi * 220 / RATE * 1.2 + 0.5 / 240
    assert not after[512:].any()
    assert first.finished


def test_position_is_what_was_heard_and_not_what_was_handed_over() -> None:
    now = [0.0]
    mixer = Mixer(lambda: now[0])
    voice = mixer.start(ClipSource(Clip(np.ones(RATE, dtype=np.float32))))
    mixer.fill(4800, 0.05)
    assert voice.position_s == 0.0
    now[0] = 0.1
    assert voice.position_s == pytest.approx(0.05)
    now[0] = 9.0
    assert voice.position_s == pytest.approx(0.1)


@pytest.mark.parametrize("rate", [22_050, 44_100, 96_000])
def test_a_device_of_another_rate_hears_the_same_pitch(rate: int) -> None:
    mixer = Mixer(lambda: 0.0, rate)
    tone = Clip((0.5 * np.sin(2 * np.pi * 1000 * np.arange(RATE) / RATE)).astype(np.float32))
    mixer.start(ClipSource(tone))
    got = pump(mixer, 0.5)
    wanted = 0.5 * np.sin(2 * np.pi * 1000 * np.arange(len(got)) / rate)
    assert np.max(np.abs(got - wanted)[200:-200]) < 1e-4


def test_resampling_keeps_a_tone() -> None:
    tone = np.sin(2 * np.pi * 3000 * np.arange(RATE) / RATE).astype(np.float32)
    for rate in (16_000, 44_100):
        back = resample(resample(tone, RATE, rate), rate, RATE)
        assert np.max(np.abs(back - tone[: len(back)])[500:-500]) < 2e-3


# --- devices that misbehave, by a library that does what a broken one would ------------------------------------------


class FakePortAudio(types.ModuleType):
    """Enough of sounddevice to refuse."""

    class PortAudioError(Exception):
        """As the library raises."""

    def __init__(self, *, rates: tuple[int, ...] = (48_000,), error: str = "", own_rate: int = 44_100) -> None:
        super().__init__("sounddevice")
        outer = self
        self.opened: list[int] = []
        self.default = types.SimpleNamespace(device=(0, 0))

        class Stream:
            """A stream that never runs."""

            def __init__(self, *, samplerate: int, callback: Callable[..., None], **_: object) -> None:
                if error:
                    raise outer.PortAudioError(error)
                if samplerate not in rates:
                    raise outer.PortAudioError("Invalid sample rate [PaErrorCode -9997]")
                outer.opened.append(samplerate)
                self.samplerate, self.latency, self.time, self.active = samplerate, 0.01, 0.0, True

            def start(self) -> None:
                """Nothing runs."""

            abort = start

            def close(self, ignore_errors: bool = True) -> None:
                """Nothing to close."""

        self.OutputStream = self.InputStream = Stream
        self.own_rate = own_rate

    def query_devices(self, number: int | None = None, kind: str = "") -> Any:
        """One device."""
        row = {"name": "box", "max_output_channels": 2, "max_input_channels": 1, "default_samplerate": self.own_rate}
        return [row] if number is None and not kind else row


@pytest.fixture
def no_miniaudio(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "miniaudio", None)


@pytest.mark.usefixtures("no_miniaudio")
def test_a_busy_device_is_told_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    fake = FakePortAudio(error="Error opening OutputStream: Device unavailable [PaErrorCode -9985]")
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    with pytest.raises(PortUnavailable, match="is busy") as caught:
        devices.open_player()
    assert "Close the program" in caught.value.line
    with pytest.raises(PortUnavailable, match="is busy"):
        devices.open_ear()


@pytest.mark.usefixtures("no_miniaudio")
def test_a_device_that_refuses_48_khz_is_opened_at_its_own_rate(monkeypatch: pytest.MonkeyPatch) -> None:
    fake = FakePortAudio(rates=(44_100,))
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    player = devices.open_player()
    assert fake.opened == [44_100]
    player.close()
    fake = FakePortAudio(rates=(8000,))
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    with pytest.raises(PortUnavailable, match="cannot be opened"):
        devices.open_player()


@pytest.mark.usefixtures("no_miniaudio")
def test_without_any_library_the_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    assert devices.list_outputs() == devices.list_inputs() == ()
    for opened in (devices.open_player, devices.open_ear):
        with pytest.raises(PortUnavailable) as caught:
            opened()
        assert "\n" not in caught.value.line
        if sys.platform.startswith("linux"):
            assert "libportaudio2" in caught.value.line


def test_a_loudspeaker_that_went_away_says_so_and_comes_back() -> None:
    class Line:
        """A stream the test can unplug."""

        name, rate, latency_s, here = "box", RATE, 0.01, True

        def now(self) -> float:
            """No time passes."""
            return 0.0

        def alive(self) -> bool:
            """As the test says."""
            return self.here

        def close(self) -> None:
            """Nothing to close."""

    lines: list[Line] = []

    def opener(*_: object) -> Line:
        if lines and not plugged:
            raise PortUnavailable("There is no sound output on this machine")
        lines.append(Line())
        return lines[-1]

    plugged = True
    speaker = Loudspeaker(opener)
    playing = speaker.play(Clip(np.zeros(RATE, dtype=np.float32)))
    assert speaker.problem == ""
    plugged = lines[0].here = False
    assert "'box' has gone" in speaker.problem
    assert playing.finished
    assert "has gone" in playing.problem
    with pytest.raises(PortUnavailable):
        speaker.play(Clip(np.zeros(RATE, dtype=np.float32)))
    plugged = True
    again = speaker.play(Clip(np.zeros(RATE, dtype=np.float32)))
    assert not again.finished
    assert speaker.problem == ""
    speaker.close()


# --- files -------------------------------------------------------------------------------------------------------


def test_a_passage_is_written_and_read_back(tmp_path: Path) -> None:
    phrase = Phrase.parse("C4:1 E4:1", bpm=120, line="upper")
    path = tmp_path / "passage.wav"
    export.export([phrase, phrase], path, gap_s=0.5)
    with wave.open(str(path)) as file:
        assert (file.getframerate(), file.getnchannels(), file.getsampwidth()) == (RATE, 1, 2)
        samples = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2") / 32767
    one = render(phrase).samples
    assert len(samples) == 2 * len(one) + RATE // 2
    assert np.max(np.abs(samples[: len(one)] - one)) < 2 / 32767
    assert not samples[len(one) : len(one) + RATE // 2].any()


def test_a_warm_up_becomes_a_midi_file_at_each_phrase_s_own_tempo(tmp_path: Path) -> None:
    slow, fast = Phrase.parse("C4:2", bpm=60), Phrase.parse("D4:2", bpm=120)
    path = tmp_path / "warm.mid"
    export.export([slow, fast], path, gap_s=1.0)
    assert mido.MidiFile(path).length == pytest.approx(2 + 1 + 1, abs=0.01)


@pytest.mark.parametrize("kind", [".flac", ".ogg"])
def test_other_sound_files_where_the_package_is_there(tmp_path: Path, kind: str) -> None:
    soundfile = pytest.importorskip("soundfile")
    path = tmp_path / f"passage{kind}"
    export.export([Phrase.parse("A4:1", line="upper")], path)
    samples, rate = soundfile.read(path)
    assert rate == RATE
    assert np.max(np.abs(samples)) > 0.02


def test_files_that_cannot_be_written_say_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    phrase = Phrase.parse("A4:1")
    with pytest.raises(PortUnavailable, match="nothing to write"):
        export.export([], tmp_path / "a.wav")
    with pytest.raises(PortUnavailable, match="cannot be written as"):
        export.export([phrase], tmp_path / "a.mp3")
    with pytest.raises(PortUnavailable, match="cannot be written"):
        export.export([phrase], tmp_path / "nowhere" / "a.wav")
    monkeypatch.setitem(sys.modules, "soundfile", None)
    with pytest.raises(PortUnavailable, match="needs the package soundfile"):
        export.export([phrase], tmp_path / "a.flac")


# --- SoundFonts --------------------------------------------------------------------------------------------------


def test_a_soundfont_is_read_and_retuned(tmp_path: Path) -> None:
    path = tmp_path / "test.sf2"
    soundfont(path, cents_sharp=12.0)
    sounds = sounds_from(path)
    assert sounds.piano.name.startswith("Test piano (test.sf2")
    for midi in (57, 69, 76):
        assert abs(cents_off(sounds.piano.note(midi, 3.0, 0.7), midi)) < 1.0
    clip = render(Phrase.parse("A3+C#4+E4:2", bpm=60, line="upper"), timbre=sounds)
    assert 0.02 < float(np.max(np.abs(clip.samples))) <= CEILING
    note = sounds.piano.note(60, 0.5, 0.7)
    assert note[0] == note[-1] == 0.0


def test_a_sample_without_a_loop_ends(tmp_path: Path) -> None:
    path = tmp_path / "test.sf2"
    soundfont(path, cents_sharp=0.0, looped=False)
    note = sounds_from(path).piano.note(69, 4.0, 0.7)
    assert note[: RATE // 2].any()
    assert not note[2 * RATE :].any()


@pytest.mark.parametrize("data", [b"", b"RIFF", b"RIFF\x10\0\0\0sfbkLIST", b"not a soundfont at all", b"\0" * 4000])
def test_what_is_no_soundfont_is_refused_in_one_line(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "bad.sf2"
    path.write_bytes(data)
    with pytest.raises(PortUnavailable) as caught:
        sounds_from(path)
    assert "\n" not in caught.value.line
    with pytest.raises(PortUnavailable):
        sounds_from(tmp_path / "none.sf2")


def test_a_cut_off_soundfont_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "test.sf2"
    soundfont(path, cents_sharp=0.0)
    whole = path.read_bytes()
    for size in range(88_500, len(whole) - 1, 37):
        path.write_bytes(whole[:size])
        with pytest.raises(PortUnavailable):
            sounds_from(path)


def test_a_soundfont_of_absurd_rate_and_tuning_takes_no_more_than_its_share(tmp_path: Path) -> None:
    path = tmp_path / "test.sf2"
    soundfont(path, cents_sharp=0.0)
    whole = path.read_bytes()
    at = whole.rindex(b"a4".ljust(20, b"\0")) + 36  # the rate of the only sample
    path.write_bytes(whole[:at] + struct.pack("<I", 3_900_000_000) + whole[at + 4 :])
    with pytest.raises(PortUnavailable, match="holds no sounds"):
        sounds_from(path)
    root = whole.index(struct.pack("<HH", 58, 69))
    path.write_bytes(whole[: root + 2] + struct.pack("<H", 32_000) + whole[root + 4 :])
    assert len(sounds_from(path).piano.note(60, 0.2, 0.7))
