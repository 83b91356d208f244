"""Sound made a little ahead of the moment it is heard."""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np

from tutor.sound.ports import RATE, Samples
from tutor.sound.synth import Mixable, Timbre, Timeline, window

FIRST = RATE // 8
"""Samples made before playing starts: an eighth of a second."""
CHUNK = RATE // 2
"""Samples made at a time after that."""
AHEAD = 8
"""Chunks kept ready."""

_FADE = 240


@dataclass(frozen=True, slots=True)
class Loop:
    """A passage that comes round again and again, its last notes ringing into the next round.

    `begin` samples of `lead_in` are heard once, before the first round.
    """

    lead_in: Timeline
    """What is heard before the loop: the count-in."""
    begin: int
    """Where the first round starts, samples."""
    round: Timeline
    """One round, from its own sample 0."""
    period: int
    """Length of a round, samples."""

    def mix(self, begin: int, end: int) -> Samples:
        """Samples ``begin`` to ``end``, not yet limited."""
        out = self.lead_in.mix(begin, end)
        ring = RATE
        first = max(0, (begin - self.begin - ring) // self.period)
        last = (end - self.begin) // self.period
        for turn in range(first, last + 1):
            shift = self.begin + turn * self.period
            # what rings over may last one second; a round shorter than that is mixed more than once
            start, stop = max(begin - shift, 0), min(end - shift, self.period + ring)
            if start < stop:
                out[start + shift - begin : stop + shift - begin] += self.round.mix(start, stop)
        return out


class Maker:
    """One thread that makes sound ahead for whichever source is heard, from the first until `close`."""

    def __init__(self) -> None:
        self._wake = threading.Condition()
        self._source: AheadSource | None = None
        self._notes: list[tuple[Timbre, int, float]] = []
        self._thread: threading.Thread | None = None
        self._closed = False

    def serve(self, source: AheadSource) -> None:
        """Make this source from now on, and no other."""
        with self._wake:
            self._source = source
            self._begin()

    def prepare(self, notes: list[tuple[Timbre, int, float]]) -> None:
        """Make the beginnings of notes (timbre, MIDI number, velocity) in idle moments, so that they start at once."""
        with self._wake:
            self._notes = list(reversed(notes))
            self._begin()

    def nudge(self) -> None:
        """Look whether there is something to do."""
        with self._wake:
            self._wake.notify()

    def close(self) -> None:
        """End the thread; safe to call twice."""
        with self._wake:
            self._closed = True
            self._source = None
            self._wake.notify()

    def _begin(self) -> None:
        if self._thread is None and not self._closed:
            self._thread = threading.Thread(target=self._work, name="sound-ahead", daemon=True)
            self._thread.start()
        self._wake.notify()

    def _work(self) -> None:
        while True:
            with self._wake:
                if self._closed:
                    return
                source = self._source
                chunk = source.missing() if source is not None else None
                note = self._notes.pop() if chunk is None and self._notes else None
                if chunk is None and note is None:
                    self._wake.wait(1.0)
                    continue
            if source is not None and chunk is not None:
                source.make(chunk)
            elif note is not None:
                note[0].note(note[1], 0.3, note[2])


class AheadSource:
    """A `tutor.sound.mixer.Source` that a maker fills while it is heard.

    Args:
        music: what to play.
        frames: its length in samples; None for a loop.
        maker: who makes it.
        gain: loudness, 0 to 1.
        offset: sample of ``music`` that is heard first; it is faded in over 5 ms.
    """

    def __init__(self, music: Mixable, frames: int | None, maker: Maker, *, gain: float = 1.0, offset: int = 0) -> None:
        self._music, self._gain, self._offset, self._maker = music, gain, offset, maker
        self._frames = None if frames is None else max(0, frames - offset)
        self._last = None if self._frames is None else max(0, self._frames - FIRST) // CHUNK
        self._chunks: dict[int, Samples] = {}
        self._wanted = 0
        self.late = 0
        """Blocks that were asked for before they were made."""
        head = window(music, offset, offset + FIRST, gain).copy()
        if offset:
            head[:_FADE] *= np.linspace(0.0, 1.0, _FADE, dtype=np.float32)
        self._head: Samples = head

    @property
    def frames(self) -> int | None:
        """Length in samples; None for a loop."""
        return self._frames

    def read(self, at: int, frames: int) -> Samples:
        """Samples ``at`` to ``at + frames``; silence where the maker has not been yet."""
        out = np.zeros(frames, dtype=np.float32)
        place = max(at, 0)
        while place < at + frames:
            part, skip = (self._head, place) if place < FIRST else self._part(place)
            step = min(at + frames - place, (len(part) if part is not None else CHUNK) - skip)
            if part is None:
                self.late += 1
            else:
                out[place - at : place - at + step] = part[skip : skip + step]
            place += step
        wanted = max(0, at - FIRST) // CHUNK
        if wanted != self._wanted:
            self._wanted = wanted
            self._maker.nudge()
        return out

    def all(self) -> Samples:
        """Everything, made now; for a loop its first minute."""
        count = 60 * RATE if self._frames is None else self._frames
        out = window(self._music, self._offset, self._offset + count, self._gain).copy()
        out[: len(self._head)] = self._head[: len(out)]
        return out

    def missing(self) -> int | None:
        """The next chunk to make; None when enough is ready."""
        for i in range(self._wanted, self._wanted + AHEAD):
            if i not in self._chunks and (self._last is None or i <= self._last):
                return i
        return None

    def make(self, chunk: int) -> None:
        """Make a chunk, and forget those that were heard."""
        for old in [i for i in self._chunks if i < self._wanted - 1]:
            del self._chunks[old]
        start = self._offset + FIRST + chunk * CHUNK
        self._chunks[chunk] = window(self._music, start, start + CHUNK, self._gain)

    def _part(self, place: int) -> tuple[Samples | None, int]:
        index, skip = divmod(place - FIRST, CHUNK)
        return self._chunks.get(index), skip
