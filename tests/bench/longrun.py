"""A day of practice in some minutes: the studio with its sound, on a clock that runs fast.

Every simulated minute something is done as the screens do it: a question is heard and answered, a song played from
some bar, the microphone listened to, a warm-up led, notes sent to an instrument, the devices opened anew. Counted are
memory, open files, threads, the store, notes left sounding, and how far the music walks away from the wall's clock.

Run as ``python -m tests.bench.longrun --hours 8``: it starts a sound card of its own (PulseAudio with a null sink, see
`tests.sound.audio_loop`); ``--silent`` does without.
"""

from __future__ import annotations

import argparse
import gc
import os
import random
import sys
import tempfile
import threading
import time
import tracemalloc
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from tests.sound.audio_loop import AudioLoop
from tutor.errors import PortUnavailable
from tutor.practice.drill import Song
from tutor.sound.engine import EventPlayer
from tutor.sound.instrument import InstrumentPlayer
from tutor.sound.stream import Loudspeaker
from tutor.sound.tape import TapePlayer
from tutor.store.store import Store
from tutor.studio import Studio, diary
from tutor.studio.outlets import Outlets
from tutor.warmup.model import Plan
from tutor.warmup.run import begin, run_json, start, tick

STEP = timedelta(minutes=1)
EVERY = 30
"""Minutes between two measurements."""
GROWTH_MB, GROWTH_FILES, GROWTH_THREADS = 24.0, 2, 1
"""Most growth from the first hour to the last."""
DRIFT_MS = 60.0
"""Most that the music may be off the time that went by, in the middle of many short passages and over a long one."""
SILENCE = 1e-4
"""Loudest sample that still counts as silence: -80 dB."""


class Counted:
    """An instrument that counts what it is told."""

    name = "counted"

    def __init__(self) -> None:
        self.sounding: Counter[tuple[int, int]] = Counter()
        self.sent = 0

    def send(self, *message: int) -> None:
        """Take one message."""
        self.sent += 1
        key = (message[0] & 0x0F, message[1])
        if message[0] & 0xF0 == 0x90:
            self.sounding[key] += 1
        elif message[0] & 0xF0 == 0x80:
            self.sounding.pop(key, None)

    def panic(self) -> None:
        """Silence everything."""
        self.sounding.clear()

    def close(self) -> None:
        """Nothing to let go."""


@dataclass(frozen=True, slots=True)
class Sign:
    """What was measured at one moment."""

    minute: int
    memory_mb: float
    """Resident; 0 where the system does not tell."""
    python_mb: float
    """Held by Python objects."""
    files: int
    threads: int
    store_kb: float
    loudest: float
    """Largest sample at the loudspeaker after everything was stopped; 0 without one."""
    sounding: int
    """Notes that the instrument still sounds."""


@dataclass(slots=True)
class Told:
    """What the day showed."""

    signs: list[Sign] = field(default_factory=list)
    answers: int = 0
    played: int = 0
    drift_ms: list[float] = field(default_factory=list)
    """For each passage: position of the music less time gone by."""
    dry: int = 0
    """Passages left out of these, because a busy machine let the sound run dry."""
    long_ms: float = 0.0
    """The same over one long passage at the end of the day."""
    underruns: int = 0
    midi_messages: int = 0

    def faults(self, settled: int = 120) -> list[str]:
        """What is not as it should be, a line each.

        The caches fill and are emptied when devices are opened anew, so peaks are compared: the highest up to minute
        ``settled`` with the highest after it.
        """
        early = [s for s in self.signs if s.minute <= settled]
        late = [s for s in self.signs if s.minute > settled] or self.signs[-1:]

        def grown(what: Callable[[Sign], float]) -> float:
            return max(map(what, late)) - max(map(what, early))

        memory, python = grown(lambda s: s.memory_mb), grown(lambda s: s.python_mb)
        files, threads = grown(lambda s: s.files), grown(lambda s: s.threads)
        found = [
            (memory > GROWTH_MB, f"memory grew by {memory:.1f} MB"),
            (python > GROWTH_MB / 3, f"objects by {python:.1f} MB"),
            (files > GROWTH_FILES, f"open files grew by {files:.0f}"),
            (threads > GROWTH_THREADS, f"threads grew by {threads:.0f}"),
            (any(s.loudest > SILENCE for s in self.signs), "something sounded on after it was stopped"),
            (any(s.sounding for s in self.signs), "a note of the instrument was not released"),
            (abs(float(np.median(self.drift_ms or [0.0]))) > DRIFT_MS, "the position walked away from the sound"),
            (abs(self.long_ms) > DRIFT_MS, f"over a long passage the music was off by {self.long_ms:.0f} ms"),
        ]
        return [line for wrong, line in found if wrong]


class Day:
    """One day of practice on a studio.

    Args:
        studio: its clock must be `clock` of this object.
        songs: what is practised.
        hear_s: how long each sound is let play, seconds of the wall.
    """

    def __init__(self, studio: Studio, songs: Sequence[Song], *, hear_s: float) -> None:
        self.studio, self.songs, self.hear_s = studio, songs, hear_s
        self.told, self.minute = Told(), 0
        self.instrument = Counted()
        self._player = InstrumentPlayer(self.instrument)

    def run(self, minutes: int, on: list[datetime]) -> Told:
        """Live through so many minutes; ``on`` holds the studio's clock and is moved."""
        for self.minute in range(minutes + 1):
            on[0] += STEP
            self._question()
            if self.minute % 5 == 2 and self.songs:
                self._song()
            if self.minute % 15 == 4:
                self._listen()
            if self.minute % 30 == 6 and self.songs:
                self._warm_up()
            if self.minute % 20 == 8:
                self._send()
            if self.minute % 120 == 90:
                self.studio.open_devices()
            if self.minute % EVERY == 0 or self.minute == minutes:
                self._measure()
        self.told.midi_messages = self.instrument.sent
        self._long_passage()
        return self.told

    def close(self) -> None:
        """Let the instrument go."""
        self._player.close()

    def _question(self) -> None:
        rehearsal, studio = self.studio.rehearsal, self.studio
        if rehearsal.current is None:
            rehearsal.begin(studio.singer, songs=[s.id for s in self.songs], count=30)
        asked = rehearsal.current
        if asked is None:
            return
        if asked.question.heard:
            studio.play(asked.question.heard[0].phrase)
            time.sleep(self.hear_s)
            self.told.played += 1
        rehearsal.answer(asked.drill.right(asked.item), 4.0 + self.minute % 7)
        self.told.answers += 1
        if self.minute % 11 == 3:
            rehearsal.undo()
        rehearsal.prepare()
        if self.minute % 60 == 59:
            rehearsal.stop()

    def _song(self) -> None:
        song = self.songs[self.minute // 5 % len(self.songs)]
        if self.minute % 45 == 2:
            self.studio.library.let_go(song.id)
            self.studio.library.get(song.id)
        playback = self.studio.playback
        playback.load(song.table)
        playback.set(tempo=(0.8, 1.0, 1.2)[self.minute % 3], metronome=self.minute % 2 == 0)
        at = song.table.length_quarters * (self.minute % 4) / 5
        playback.play(at)
        engine = playback._engine
        deadline = time.monotonic() + 2
        while engine.playing is not None and engine.playing.position_s <= 0 and time.monotonic() < deadline:
            time.sleep(0.005)
        if engine.playing is not None:
            dry, began, place = self._ran_dry(), time.monotonic(), engine.playing.position_s
            time.sleep(4 * self.hear_s)
            gone, moved = time.monotonic() - began, engine.playing.position_s - place
            if self._ran_dry() > dry:
                self.told.dry += 1
            elif not engine.playing.finished:
                self.told.drift_ms.append(1000 * (moved - gone))
        playback.pause()
        self.told.played += 1

    def _long_passage(self) -> None:
        if not self.songs or not self.hear_s:
            return
        playback, table = self.studio.playback, self.songs[0].table
        playback.load(table)
        playback.set(tempo=1.0, metronome=False)
        playback.loop(0.0, table.length_quarters)
        time.sleep(1.0)
        playing = playback._engine.playing
        if playing is not None:
            dry, began, place = self._ran_dry(), time.monotonic(), playing.position_s
            time.sleep(100 * self.hear_s)
            gone, moved = time.monotonic() - began, playing.position_s - place
            if self._ran_dry() == dry:
                self.told.long_ms = 1000 * (moved - gone)
        playback.pause()

    def _listen(self) -> None:
        if not isinstance(self.studio.outlets.player, Loudspeaker):
            return
        _loudest("default", self.hear_s)

    def _warm_up(self) -> None:
        studio, song = self.studio, self.songs[self.minute // 30 % len(self.songs)]
        given = studio.warmup(song, minutes=10)
        if not isinstance(given, Plan):
            return
        run = begin(start(given))
        number = studio.begin_run(run_json(run))
        while run.state in ("going", "resting"):
            run = tick(run, 20.0)
            studio.keep_run(number, run_json(run), finished=run.state == "finished")
        studio.play(given.steps[-2].phrases[0] if given.steps[-2].phrases else given.steps[1].phrases[0])
        time.sleep(self.hear_s)
        diary.keep(studio, run, "easy")

    def _send(self) -> None:
        assert isinstance(self._player, EventPlayer)
        asked = self.studio.rehearsal.current
        phrases = [e.phrase for e in asked.question.heard] if asked is not None else []
        from tutor.sound.synth import timeline_of

        for phrase in phrases[:1]:
            sent, deadline = self.instrument.sent, time.monotonic() + 2
            playing = self._player.play_events(timeline_of(phrase), phrase.length_s, 0.0)
            while self.instrument.sent == sent and time.monotonic() < deadline:  # its thread may begin late
                time.sleep(0.005)
            time.sleep(self.hear_s)
            playing.stop()

    def _ran_dry(self) -> int:
        player = self.studio.outlets.player
        return player.underruns if isinstance(player, Loudspeaker) else 0

    def _measure(self) -> None:
        self.studio.stop()
        player = self.studio.outlets.player
        loudest = 0.0
        if isinstance(player, Loudspeaker):
            time.sleep(0.5)
            loudest = _loudest("ear", 0.3)
            self.told.underruns = player.underruns
        gc.collect()
        folder = self.studio.store.folder
        kept = sum(f.stat().st_size for f in folder.iterdir() if f.is_file()) / 1024 if folder else 0.0
        python = tracemalloc.get_traced_memory()[0] / 2**20
        threads, sounding = threading.active_count(), sum(self.instrument.sounding.values())
        self.told.signs.append(
            Sign(self.minute, _resident_mb(), python, _open_files(), threads, kept, loudest, sounding)
        )


def _loudest(device: str, seconds: float) -> float:
    """The largest sample that an input hears."""
    from tutor.sound.devices import open_ear

    try:
        ear = open_ear(None if device == "default" else device)
    except PortUnavailable:
        return 0.0
    peak, until = 0.0, time.monotonic() + seconds
    for block in ear.listen():
        peak = max(peak, float(np.max(np.abs(block.samples), initial=0.0)))
        if time.monotonic() > until:
            break
    ear.close()
    return peak


def _resident_mb() -> float:
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except OSError:
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def _open_files() -> int:
    try:
        return sum(1 for _ in Path("/proc/self/fd").iterdir())
    except OSError:
        return 0


def day(
    folder: Path | None, minutes: int, songs: Sequence[Song] | Sequence[str], *, silent: bool, hear_s: float
) -> Told:
    """Open a studio, live through the minutes and close it."""
    on = [datetime(2026, 5, 4, 8, 0, tzinfo=UTC)]
    store = Store.open(folder, lambda: on[0])
    studio = Studio(store, lambda: on[0], random.Random(1), Outlets(TapePlayer(keep=1)) if silent else None)
    tracemalloc.start(1)
    try:
        studio.set_voice("tenor")
        studio.open_devices()
        opened = [s if isinstance(s, Song) else studio.open_song(s) for s in songs]
        whole = Day(studio, opened, hear_s=hear_s)
        told = whole.run(minutes, on)
        whole.close()
        return told
    finally:
        tracemalloc.stop()
        studio.close()


def main() -> int:
    """Live through the hours and print what was measured; the exit status."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=8.0)
    parser.add_argument("--silent", action="store_true", help="without a sound card")
    wanted = parser.parse_args()
    from tutor.lessons import bundled_songs

    began = time.monotonic()
    with tempfile.TemporaryDirectory() as scratch:
        card = AudioLoop(Path(scratch) / "card")
        if not wanted.silent:
            card.start()
            os.environ.update(card.environment)
        try:
            names = [b.name for b in bundled_songs()[:3]]
            told = day(Path(scratch) / "data", round(60 * wanted.hours), names, silent=wanted.silent, hear_s=0.12)
        finally:
            card.stop()
    write = sys.stdout.write
    write("minute  resident MB  objects MB  files  threads  store kB  loudest  sounding\n")
    for s in told.signs:
        write(f"{s.minute:6} {s.memory_mb:12.1f} {s.python_mb:11.1f} {s.files:6} {s.threads:8} {s.store_kb:9.0f} "
              f"{s.loudest:8.5f} {s.sounding:9}\n")  # fmt: skip
    drift = np.array(told.drift_ms or [0.0])
    write(
        f"{told.answers} answers, {told.played} passages heard, {told.midi_messages} MIDI messages, "
        f"{told.underruns} underruns, {time.monotonic() - began:.0f} s\n"
        f"position less time gone by: median {np.median(drift):.1f} ms, worst {drift[np.argmax(np.abs(drift))]:.1f} ms "
        f"({told.dry} passages left out in which the sound ran dry); over a long passage {told.long_ms:.1f} ms\n"
    )
    for line in told.faults():
        write(f"FAULT {line}\n")
    return 1 if told.faults() else 0


if __name__ == "__main__":
    raise SystemExit(main())
