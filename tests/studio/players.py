"""Players on tape and paper, and a song for them, against a clock that the test turns."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from tutor.errors import PortUnavailable
from tutor.music.pitch import Pitch
from tutor.music.table import MeasureRow, NoteRow, NoteTable, OrderRow, PartRow, TempoRow
from tutor.sound.ahead import AheadSource
from tutor.sound.mixer import Source
from tutor.sound.ports import RATE, Playing, Samples
from tutor.sound.synth import SOUNDS
from tutor.sound.tape import TapePlayer
from tutor.studio.playback import Playback


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


def wait_for(what: object) -> None:
    deadline = time.monotonic() + 5
    while not what() and time.monotonic() < deadline:  # type: ignore[operator]
        time.sleep(0.01)
    assert what()  # type: ignore[operator]
