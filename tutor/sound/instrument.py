"""Playing on an external instrument: notes sent at their time, and never one left sounding."""

from __future__ import annotations

import atexit
import heapq
import itertools
import math
import threading
import time
from collections.abc import Callable, Iterator
from typing import Protocol

from tutor.errors import PortUnavailable
from tutor.sound.ahead import Loop
from tutor.sound.midi import CHANNELS
from tutor.sound.ports import RATE, Clip, Playing
from tutor.sound.synth import Timeline
from tutor.sound.timeline import Event


class Sender(Protocol):
    """What messages are sent to; `tutor.sound.midi.MidiInstrument` is one."""

    name: str
    """Its name for the user."""

    def send(self, *message: int) -> None:
        """Send one MIDI message."""

    def panic(self) -> None:
        """Silence everything."""

    def close(self) -> None:
        """Silence it and let it go."""


class InstrumentPlayer:
    """A `tutor.sound.engine.EventPlayer` on a MIDI instrument.

    Args:
        sender: the instrument.
        clock: steady seconds.
    """

    def __init__(self, sender: Sender, clock: Callable[[], float] = time.monotonic) -> None:
        self._sender, self._clock = sender, clock
        self.name = sender.name
        """Its name for the user."""
        self.problem = ""
        """One line when the instrument has gone, else empty."""
        self._playing: NotesPlaying | None = None
        atexit.register(self.close)

    def play(self, clip: Clip) -> Playing:
        """Refuse: an instrument plays notes, not recorded sound.

        Raises:
            PortUnavailable: always.
        """
        raise PortUnavailable(
            f"'{self.name}' plays notes, not recorded sound", remedy="Choose a sound output in Setup for this"
        )

    def play_events(self, music: Timeline | Loop, length_s: float | None, offset_s: float) -> Playing:
        """Start notes at once, ending what was played before.

        Args:
            music: the notes.
            length_s: where the music ends, counted from its own beginning; None for a loop.
            offset_s: place in the music to start at.
        """
        if self._playing is not None:
            self._playing.stop()
        left = math.inf if length_s is None else max(0.0, length_s - offset_s)
        self._playing = NotesPlaying(messages(music, offset_s), left, self._sender, self._clock, self._lost)
        return self._playing

    def close(self) -> None:
        """Silence the instrument and let it go; safe to call twice."""
        atexit.unregister(self.close)
        if self._playing is not None:
            self._playing.stop()
        self._sender.close()

    def _lost(self, line: str) -> None:
        self.problem = line


class NotesPlaying:
    """Notes being sent by a thread of their own."""

    def __init__(
        self,
        todo: Iterator[tuple[float, tuple[int, int, int]]],
        length_s: float,
        sender: Sender,
        clock: Callable[[], float],
        lost: Callable[[str], None],
    ) -> None:
        self._todo, self._length_s, self._sender, self._clock, self._lost = todo, length_s, sender, clock, lost
        self._sounding: set[tuple[int, int]] = set()
        self._ended = threading.Event()
        self._held_s: float | None = None
        self._lock = threading.Lock()
        self._started_s = clock()
        self._thread = threading.Thread(target=self._run, name="midi-out", daemon=True)
        self._thread.start()

    @property
    def position_s(self) -> float:
        """Seconds played so far."""
        now = self._clock() - self._started_s if self._held_s is None else self._held_s
        return min(now, self._length_s)

    @property
    def finished(self) -> bool:
        """True once all is played or it was stopped."""
        return self._ended.is_set() or self.position_s >= self._length_s

    def stop(self) -> None:
        """Stop and release every note."""
        with self._lock:
            if self._held_s is None:
                self._held_s = self.position_s
            self._ended.set()
        if threading.current_thread() is not self._thread:
            self._thread.join(1.0)
        self._release()

    def _run(self) -> None:
        try:
            for at_s, message in self._todo:
                if self._ended.wait(max(0.0, self._started_s + at_s - self._clock())):
                    return
                with self._lock:
                    if self._ended.is_set():
                        return
                    note = (message[0] & 0x0F, message[1])
                    (self._sounding.add if message[0] & 0xF0 == 0x90 else self._sounding.discard)(note)
                    self._sender.send(*message)
        except PortUnavailable as error:
            self._held_s = self.position_s
            self._ended.set()
            self._lost(error.line)
        finally:
            self._release()

    def _release(self) -> None:
        with self._lock:
            left, self._sounding = self._sounding, set()
            try:
                for channel, midi in left:
                    self._sender.send(0x80 | channel, midi, 0)
            except PortUnavailable as error:
                self._lost(error.line)


def messages(music: Timeline | Loop, offset_s: float = 0.0) -> Iterator[tuple[float, tuple[int, int, int]]]:
    """MIDI messages in the order of their time, in seconds from ``offset_s``; endless for a loop.

    A note that began before the offset is left out. A key struck again is released first.
    """
    pending: list[tuple[float, int, tuple[int, int, int]]] = []
    number = itertools.count()
    for start, event in _events(music):
        at_s = start / RATE - offset_s
        if at_s < -0.001:
            continue
        while pending and pending[0][0] <= at_s + 1e-6:
            due = heapq.heappop(pending)
            yield due[0], due[2]
        channel = CHANNELS[event.line]
        midi = min(max(event.midi, 0), 127)
        for again in [p for p in pending if p[2][0] & 0x0F == channel and p[2][1] == midi]:
            pending.remove(again)
            heapq.heapify(pending)
            yield at_s, again[2]
        yield max(at_s, 0.0), (0x90 | channel, midi, min(127, max(1, round(event.velocity * 127))))
        heapq.heappush(pending, (at_s + max(0.02, event.held_s), next(number), (0x80 | channel, midi, 0)))
    while pending:
        due = heapq.heappop(pending)
        yield due[0], due[2]


def _events(music: Timeline | Loop) -> Iterator[tuple[int, Event]]:
    if isinstance(music, Timeline):
        yield from ((e.at, e) for e in music.notes.events())
        return
    yield from ((e.at, e) for e in music.lead_in.notes.events())
    one = tuple(music.round.notes.events())
    for turn in itertools.count() if one else ():
        yield from ((music.begin + turn * music.period + e.at, e) for e in one)
