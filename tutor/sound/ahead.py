"""Sound made a little ahead of the moment it is heard."""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np

from tutor.sound.ports import RATE, Samples
from tutor.sound.synth import Mixable, Timeline, window

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


class AheadSource:
    """A `tutor.sound.mixer.Source` that a worker fills while it is heard.

    Args:
        music: what to play.
        frames: its length in samples; None for a loop.
        gain: loudness, 0 to 1.
        offset: sample of ``music`` that is heard first; it is faded in over 5 ms.
    """

    def __init__(self, music: Mixable, frames: int | None, *, gain: float = 1.0, offset: int = 0) -> None:
        self._music, self._gain, self._offset = music, gain, offset
        self._frames = None if frames is None else max(0, frames - offset)
        self._chunks: dict[int, Samples] = {}
        self._wanted = 0
        self._wake = threading.Condition()
        self._closed = False
        self.late = 0
        """Blocks that were asked for before they were made."""
        head = window(music, offset, offset + FIRST, gain).copy()
        if offset:
            head[:_FADE] *= np.linspace(0.0, 1.0, _FADE, dtype=np.float32)
        self._head: Samples = head
        self._worker = threading.Thread(target=self._work, name="sound-ahead", daemon=True)
        self._worker.start()

    @property
    def frames(self) -> int | None:
        """Length in samples; None for a loop."""
        return self._frames

    def read(self, at: int, frames: int) -> Samples:
        """Samples ``at`` to ``at + frames``; silence where the worker has not been yet."""
        out = np.zeros(frames, dtype=np.float32)
        place = at
        while place < at + frames:
            if place < 0:
                place = min(0, at + frames)
                continue
            part, skip = (self._head, place) if place < FIRST else self._part(place)
            step = min(at + frames - place, (len(part) if part is not None else CHUNK) - skip)
            if part is None:
                self.late += 1
            else:
                out[place - at : place - at + step] = part[skip : skip + step]
            place += step
        wanted = max(0, at - FIRST) // CHUNK
        if wanted != self._wanted:
            with self._wake:
                self._wanted = wanted
                self._wake.notify()
        return out

    def all(self) -> Samples:
        """Everything, made now; for a loop its first minute."""
        count = 60 * RATE if self._frames is None else self._frames
        out = window(self._music, self._offset, self._offset + count, self._gain).copy()
        out[: len(self._head)] = self._head[: len(out)]
        return out

    def close(self) -> None:
        """End the worker; what was made can still be read."""
        with self._wake:
            self._closed = True
            self._wake.notify()

    def _part(self, place: int) -> tuple[Samples | None, int]:
        index, skip = divmod(place - FIRST, CHUNK)
        return self._chunks.get(index), skip

    def _work(self) -> None:
        last = None if self._frames is None else max(0, self._frames - FIRST) // CHUNK
        while True:
            with self._wake:
                todo = [
                    i
                    for i in range(self._wanted, self._wanted + AHEAD)
                    if i not in self._chunks and (last is None or i <= last)
                ]
                if self._closed:
                    return
                if not todo:
                    self._wake.wait(0.5)
                    continue
                for old in [i for i in self._chunks if i < self._wanted - 1]:
                    del self._chunks[old]
            start = self._offset + FIRST + todo[0] * CHUNK
            self._chunks[todo[0]] = window(self._music, start, start + CHUNK, self._gain)
