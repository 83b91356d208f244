"""Whole songs from any bar, against a clock that the test turns."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tests.sound.fonts import soundfont
from tutor.errors import PortUnavailable
from tutor.music.phrase import Line, Phrase
from tutor.music.pitch import Pitch
from tutor.music.table import MeasureRow, NoteRow, NoteTable, OrderRow, PartRow, TempoRow
from tutor.sound.ahead import AheadSource
from tutor.sound.instrument import InstrumentPlayer
from tutor.sound.mixer import Source
from tutor.sound.ports import RATE, Playing, Samples
from tutor.sound.synth import SOUNDS
from tutor.sound.tape import TapePlayer
from tutor.store.store import Store
from tutor.studio import Studio
from tutor.studio.outlets import Outlets
from tutor.studio.playback import Playback, piece, spans, tempo_step


class Clock:
    """Seconds that pass when the test says so."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        """Seconds."""
        return self.now


def song(bars: int = 8, *, tempos: tuple[TempoRow, ...] = (TempoRow(0.0, 60.0),), order: tuple[OrderRow, ...] = (),
         waltz_from: int = 999) -> NoteTable:  # fmt: skip
    """A song whose every bar holds a sung note of its own and a bass note."""
    measures, notes, at = [], [], 0.0
    for i in range(bars):
        length = 3.0 if i >= waltz_from else 4.0
        measures.append(MeasureRow(str(i + 1), at, length, int(length), 4, 0))
        sung, bass = Pitch.from_midi(60 + i), Pitch.from_midi(36 + i)
        notes.append(NoteRow(at, length, bass.step, bass.alter, bass.octave, 1, i))
        notes.append(NoteRow(at, length, sung.step, sung.alter, sung.octave, 0, i))
        at += length
    parts = (PartRow("P1", "Voice", "voice"), PartRow("P2", "Piano", "accompaniment"))
    return NoteTable("Nightsong", "", "musicxml", "0" * 64, parts, tuple(measures), tuple(notes), tempos, (), order)


REPEATED = (OrderRow(0.0, 16.0, 1), OrderRow(0.0, 8.0, 2), OrderRow(16.0, 32.0, 1))
"""Bars 1 to 4, then 1 and 2 again, then 5 to 8."""


class LossyPlayer(TapePlayer):
    """A tape that can be torn, and comes back when it is asked to play again once mended."""

    def __init__(self, clock: Callable[[], float]) -> None:
        super().__init__(clock)
        self.problem = ""
        self.mended = False

    def play_from(self, source: Source) -> Playing:
        """Refuse while the device is away."""
        if self.problem and not self.mended:
            raise PortUnavailable("The sound output 'box' has gone", remedy="Connect it again")
        self.problem = ""
        return super().play_from(source)


def made(table: NoteTable, player: TapePlayer | None = None) -> tuple[Playback, Clock, TapePlayer]:
    clock = Clock()
    player = player or TapePlayer(clock)
    player._clock = clock
    out = Playback(lambda: player, lambda: SOUNDS, lambda: None)
    out.load(table)
    return out, clock, player


def heard(player: TapePlayer, seconds: float, at_s: float = 0.0) -> Samples:
    """What the latest source gives, waiting for its maker."""
    source = player.sources[-1]
    assert isinstance(source, AheadSource)
    out = []
    for start in range(round(at_s * RATE), round((at_s + seconds) * RATE), 4800):
        late, deadline = source.late, time.monotonic() + 10
        part = source.read(start, 4800)
        while source.late > late and time.monotonic() < deadline:
            late = source.late
            time.sleep(0.005)
            part = source.read(start, 4800)
        out.append(part)
    return np.concatenate(out)


def loudest_hz(samples: Samples) -> float:
    """The strongest partial, hertz."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return float(np.fft.rfftfreq(len(samples), 1 / RATE)[int(np.argmax(spectrum))])


def state(playback: Playback) -> str:
    """What is going on."""
    return playback.state


# -- laying out


def test_repeats_are_laid_out_and_lead_back_to_the_page() -> None:
    laid = piece(song(order=REPEATED))
    sung = [t.midi for t in laid.phrase.tones if t.line == "voice"]
    assert sung == [60, 61, 62, 63, 60, 61, 64, 65, 66, 67]
    assert laid.phrase.length_quarters == pytest.approx(40.0)
    assert [laid.written(at) for at in (0.0, 15.0, 16.0, 21.0, 24.0, 39.0)] == [0.0, 15.0, 0.0, 5.0, 16.0, 31.0]
    assert laid.heard(4.0) == 4.0
    assert laid.heard(4.0, near=23.0) == 20.0
    printed = piece(song(order=REPEATED), in_order=False)
    assert printed.phrase.length_quarters == pytest.approx(32.0)
    assert printed.written(20.0) == 20.0


def test_a_stretch_that_runs_on_is_not_cut() -> None:
    rows = (OrderRow(0.0, 16.0, 1), OrderRow(16.0, 32.0, 2))
    assert spans(song(order=rows), in_order=True) == [(0.0, 32.0)]
    assert spans(song(), in_order=True) == [(0.0, 32.0)]


def test_a_change_of_tempo_is_heard_and_its_place_found() -> None:
    slow = song(tempos=(TempoRow(0.0, 120.0), TempoRow(16.0, 60.0)))
    laid = piece(slow)
    assert laid.phrase.bpm == 120.0
    assert laid.phrase.length_s == pytest.approx(16 / 2 + 16)
    assert laid.heard(20.0) == pytest.approx(24.0)
    assert laid.written(24.0) == pytest.approx(20.0)
    assert laid.written(8.0) == pytest.approx(8.0)
    there = piece(slow, at=20.0)
    assert there.phrase.bpm == 60.0
    assert there.phrase.length_s == pytest.approx(24.0)


def test_the_metronome_follows_the_metre() -> None:
    clicks = [t for t in piece(song(4, waltz_from=2)).phrase.tones if t.line == "click"]
    assert [t.onset_quarters for t in clicks] == [float(n) for n in range(14)]
    assert [t.onset_quarters for t in clicks if t.pitch.octave == 6] == [0.0, 4.0, 8.0, 11.0]


# -- playing


def test_it_plays_from_any_bar_to_the_end_of_the_song() -> None:
    playback, clock, player = made(song(order=REPEATED))
    playback.set(mute=("upper", "lower"))
    playback.play(12.0)
    partial = loudest_hz(heard(player, 1.0, 0.2)) / Pitch.from_midi(63).hz
    assert round(partial) >= 1
    assert partial == pytest.approx(round(partial), abs=0.03)
    clock.now = 3.0
    assert playback.place == pytest.approx(15.0)
    clock.now = 5.0
    assert playback.place == pytest.approx(1.0), "the repeat begins"
    clock.now = 27.5
    assert playback.running
    assert playback.place == pytest.approx(31.5)
    clock.now = 29.0
    assert playback.state == "stopped"
    playback.close()


def test_it_goes_on_where_it_was_paused_and_seeks_while_it_plays() -> None:
    playback, clock, _ = made(song())
    playback.play(4.0)
    clock.now = 1.5
    playback.pause()
    clock.now = 100.0
    assert playback.state == "paused"
    assert playback.place == pytest.approx(5.5)
    playback.resume()
    clock.now = 101.0
    assert playback.place == pytest.approx(6.5)
    playback.seek(20.0)
    clock.now = 101.5
    assert playback.running
    assert playback.place == pytest.approx(20.5)
    playback.close()


def test_a_passage_goes_round_and_is_left_by_going_elsewhere() -> None:
    playback, clock, _ = made(song(order=REPEATED))
    playback.set(count_in=1)
    playback.loop(8.0, 16.0)
    assert state(playback) == "counting in"
    clock.now = 4.0 + 9.0
    assert playback.place == pytest.approx(9.0)
    playback.seek(12.0)
    clock.now += 5.0
    assert playback.place == pytest.approx(9.0), "still inside the loop"
    playback.seek(20.0)
    clock.now += 1.0
    assert state(playback) == "playing", "not counted in again"
    assert playback.place == pytest.approx(21.0)
    assert playback.settings.count_in == 1
    clock.now += 10.0
    assert playback.place == pytest.approx(31.0)
    playback.close()


def test_counting_in_takes_the_tempo_and_metre_of_the_place() -> None:
    playback, clock, _ = made(song(tempos=(TempoRow(0.0, 60.0), TempoRow(16.0, 120.0)), waltz_from=4))
    playback.set(count_in=1)
    playback.play(19.0)
    clock.now = 1.4
    assert state(playback) == "counting in"
    clock.now = 1.5 + 0.5
    assert state(playback) == "playing"
    assert playback.place == pytest.approx(20.0)
    playback.close()


def test_tempo_lines_and_clicks_change_while_it_plays() -> None:
    playback, clock, player = made(song())
    playback.play(0.0)
    clock.now = 1.0
    playback.set(tempo=0.5)
    clock.now = 3.0
    assert playback.place == pytest.approx(2.0)
    playback.set(mute=("upper", "lower", "voice"))
    assert np.max(np.abs(heard(player, 0.4, 0.2))) < 1e-4
    playback.set(metronome=True)
    assert np.max(np.abs(heard(player, 2.1))) > 0.02
    playback.set(metronome=False, mute=())
    assert np.max(np.abs(heard(player, 0.4, 0.2))) > 0.02
    sources = len(player.sources)
    playback.set(mute=(), tempo=0.5)
    assert len(player.sources) == sources, "nothing changed, nothing begins anew"
    playback.close()


@pytest.mark.parametrize(("mute", "line"), [(("upper", "lower"), "voice"), (("voice",), "lower")])
def test_voice_and_piano_are_heard_alone(mute: tuple[Line, ...], line: str) -> None:
    playback, _, player = made(song())
    playback.set(mute=mute)
    playback.play(0.0)
    partial = loudest_hz(heard(player, 1.0, 0.2)) / Pitch.from_midi(60 if line == "voice" else 36).hz
    assert partial == pytest.approx(round(partial), abs=0.03)
    alone = piece(song()).phrase.only("voice", "lower")
    assert {t.line for t in alone.tones if t.line not in mute} == {line}
    playback.close()


def test_tempo_moves_by_tenths_within_limits() -> None:
    assert tempo_step(1.0, -1) == 0.9
    assert tempo_step(0.4, -1) == 0.4
    assert tempo_step(1.6, 1) == 1.6


# -- devices


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


class Paper:
    """An instrument that remembers what it was sent."""

    name = "paper synthesizer"

    def __init__(self) -> None:
        self.got: list[tuple[int, ...]] = []
        self.gone = self.closed = False

    def send(self, *message: int) -> None:
        """Remember."""
        if self.gone:
            raise PortUnavailable("The MIDI instrument 'paper synthesizer' has gone")
        self.got.append(message)

    def panic(self) -> None:
        """Note that it was asked for."""

    def close(self) -> None:
        """Note that it was let go."""
        self.closed = True

    @property
    def sounding(self) -> set[int]:
        """Keys struck and not released."""
        down: set[int] = set()
        for status, midi, velocity in self.got:
            (down.add if status & 0xF0 == 0x90 and velocity else down.discard)(midi)
        return down


@pytest.fixture
def studio() -> Studio:
    """A studio on tape."""

    def clock() -> datetime:
        return datetime(2026, 3, 3, tzinfo=UTC)

    return Studio(Store.open(None, clock), clock, random.Random(1), Outlets(TapePlayer(Clock())))


def wait_for(what: object) -> None:
    deadline = time.monotonic() + 5
    while not what() and time.monotonic() < deadline:  # type: ignore[operator]
        time.sleep(0.01)
    assert what()  # type: ignore[operator]


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
