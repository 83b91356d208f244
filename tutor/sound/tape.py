"""Ports without devices: they record what was played and replay what was prepared."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from tutor.sound.mixer import Source
from tutor.sound.ports import RATE, Block, Clip, KeyEvent, Playing, Samples

Clock = Callable[[], float]
"""Seconds, never running backwards."""


class TapePlaying:
    """Something 'playing' against a clock.

    Args:
        length_s: seconds until it ends; infinite for a loop.
        clock: where seconds come from.
    """

    def __init__(self, length_s: float, clock: Clock) -> None:
        self._length_s = length_s
        self._clock = clock
        self._started_s = clock()
        self._stopped_s: float | None = None

    @property
    def position_s(self) -> float:
        """Seconds of the clip already heard, by the tape's clock."""
        now = self._clock() if self._stopped_s is None else self._stopped_s
        return min(max(now - self._started_s, 0.0), self._length_s)

    @property
    def finished(self) -> bool:
        """True once the clip has ended or was stopped."""
        return self._stopped_s is not None or self._clock() - self._started_s >= self._length_s

    def stop(self) -> None:
        """End it here."""
        if not self.finished:
            self._stopped_s = self._clock()


class TapePlayer:
    """A loudspeaker that only keeps the record.

    Args:
        clock: where seconds come from; the machine's steady clock if not given.
        keep: how many of the latest clips and sources are remembered.
    """

    name = "no sound"

    def __init__(self, clock: Clock = time.monotonic, *, keep: int = 64) -> None:
        self._clock = clock
        self._keep = keep
        self._playing: TapePlaying | None = None
        self.played: list[Clip] = []
        """The clips played so far, latest last."""
        self.sources: list[Source] = []
        """The sources played so far, latest last."""
        self.closed = False
        """True after `close`."""

    def play(self, clip: Clip) -> Playing:
        """Start a clip at once, ending the one before it."""
        self.played.append(clip)
        del self.played[: -self._keep]
        return self._begin(clip.length_s)

    def play_from(self, source: Source) -> Playing:
        """Start a source at once, ending what was played before; it is kept in `sources`, not read."""
        self.sources.append(source)
        del self.sources[: -self._keep]
        return self._begin(math.inf if source.frames is None else source.frames / RATE)

    def _begin(self, length_s: float) -> TapePlaying:
        if self._playing is not None:
            self._playing.stop()
        self._playing = TapePlaying(length_s, self._clock)
        return self._playing

    def close(self) -> None:
        """Stop and let go; safe to call twice."""
        if self._playing is not None:
            self._playing.stop()
        self.closed = True


class TapeEar:
    """A microphone that hears prepared samples.

    Args:
        samples: mono, shape (n,).
        rate: samples a second; other than `RATE` they are resampled in a straight line.
        block: samples a block.
        pace: None gives everything at once; a function that sleeps (``time.sleep``) gives it in real time.
    """

    name = "no microphone"

    def __init__(
        self,
        samples: Samples | None = None,
        *,
        rate: int = RATE,
        block: int = 512,
        pace: Callable[[float], None] | None = None,
    ) -> None:
        heard = np.zeros(0, dtype=np.float32) if samples is None else np.asarray(samples, dtype=np.float32)
        if rate != RATE and len(heard):
            count = round(len(heard) * RATE / rate)
            heard = np.interp(np.arange(count) * rate / RATE, np.arange(len(heard)), heard).astype(np.float32)
        self._samples = heard
        self._block = block
        self._pace = pace
        self._closed = threading.Event()

    def listen(self) -> Iterator[Block]:
        """Yield the samples in blocks until they end or `close` is called."""
        for at in range(0, len(self._samples), self._block):
            if self._closed.is_set():
                return
            block = self._samples[at : at + self._block]
            if self._pace is not None:
                self._pace(len(block) / RATE)
            yield Block(block, at / RATE)

    def close(self) -> None:
        """Stop listening; safe to call twice and from another thread."""
        self._closed.set()


@dataclass(slots=True)
class TapeKeys:
    """A music keyboard played by a test, a script or the computer keyboard."""

    name: str = "no keyboard"
    """Port name for the user."""
    prepared: Iterable[KeyEvent] = ()
    """Events given as soon as someone listens."""
    _heard: Callable[[KeyEvent], None] | None = None

    def listen(self, heard: Callable[[KeyEvent], None]) -> None:
        """Give the prepared events, then every one that is pressed."""
        self._heard = heard
        for event in self.prepared:
            heard(event)

    def press(self, *midis: int, velocity: int = 80, at_s: float = 0.0) -> None:
        """Press and release keys together; nothing happens while nobody listens."""
        for event in [*(KeyEvent(m, velocity, at_s) for m in midis), *(KeyEvent(m, 0, at_s) for m in midis)]:
            if self._heard is not None:
                self._heard(event)

    def close(self) -> None:
        """Let the port go; safe to call twice."""
        self._heard = None
