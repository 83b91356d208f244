"""A loudspeaker and a microphone on a running device stream.

The streams themselves come from `tutor.sound.devices`; here is what the rest of the program holds in its hands, and
what happens when a device goes away and comes back.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from typing import Protocol

from tutor.errors import PortUnavailable
from tutor.sound.mixer import ClipSource, Mixer, Source, Voice
from tutor.sound.ports import RATE, Block, Clip, Samples
from tutor.sound.resample import resample

Fill = Callable[[int, float], Samples]
Hear = Callable[[Samples, float], None]

SILENT_FOR_S = 1.5
"""A stream that asks for nothing this long is taken for lost."""


class Line(Protocol):
    """A running stream of one of the libraries."""

    name: str
    """Device name for the user."""
    rate: int
    """Samples a second, as the device runs."""
    latency_s: float
    """From a sample handed over to a sample heard, or the other way round."""

    def now(self) -> float:
        """The stream's clock, seconds."""

    def alive(self) -> bool:
        """False once the device has gone."""

    def close(self) -> None:
        """Let the device go."""


class Ending:
    """A stream that is let go once, from any thread, without waiting for ever for a device that is lost."""

    def __init__(self) -> None:
        self._gate = threading.Lock()
        self._closed = False

    def close(self) -> None:
        """Let the device go; safe to call twice and from another thread."""
        with self._gate:
            if self._closed:
                return
            self._closed = True
        ending = threading.Thread(target=self._end, daemon=True)
        ending.start()
        ending.join(1.0)  # a lost device can hold on for ever; it is then left to the system

    def _end(self) -> None:
        """Close the stream of the library."""
        raise NotImplementedError


class Loudspeaker:
    """A `tutor.sound.ports.Player` on a real device.

    Args:
        opener: opens the device; takes what fills it, what to call when it runs dry, and whether to use calm (large)
            buffers. Raises PortUnavailable.
        look_again: makes the system list its devices anew; False when that is not possible.
    """

    def __init__(
        self, opener: Callable[[Fill, Callable[[], None], bool], Line], look_again: Callable[[], bool] = lambda: False
    ) -> None:
        self._opener, self._look_again = opener, look_again
        self.underruns = 0
        """How often the device ran dry since it was opened."""
        self.name = "sound output"
        """Device name for the user."""
        self._calm = False
        self._dry: deque[float] = deque(maxlen=4)
        self._line: Line | None = None
        self._late_s = 0.0
        self._mixer = Mixer(self.now)
        self._open()

    @property
    def latency_s(self) -> float:
        """What the device says it takes from a sample handed over to a sample heard."""
        return self._line.latency_s if self._line else 0.0

    @property
    def problem(self) -> str:
        """One line when the device has gone, else empty. Ask now and then while something plays."""
        if self._line is not None and self._line.alive():
            return ""
        line = PortUnavailable(
            f"The sound output '{self.name}' has gone",
            remedy="Connect it again or choose another in Setup; everything else goes on",
        ).line
        self._mixer.lose(line)
        return line

    def play(self, clip: Clip) -> Voice:
        """Start a clip at once, ending the one before it.

        Raises:
            PortUnavailable: the device is gone and does not come back.
        """
        return self.play_from(ClipSource(clip))

    def play_from(self, source: Source) -> Voice:
        """Start a source that is read while it plays; otherwise as `play`."""
        if self.problem or self._runs_dry():
            self.reopen()
        return self._mixer.start(source)

    def reopen(self) -> None:
        """Open the device again: after a loss, or with larger buffers once it ran dry too often.

        Raises:
            PortUnavailable: it cannot be had.
        """
        self._calm = self._calm or self._runs_dry()
        self._dry.clear()
        self.underruns = 0
        self.close()
        try:
            self._open()
        except PortUnavailable:
            if not self._look_again():
                raise
            self._open()

    def close(self) -> None:
        """Let the device go; safe to call twice."""
        self._mixer.lose("")
        line, self._line = self._line, None
        if line is not None:
            line.close()

    @property
    def late_s(self) -> float:
        """How much later everything is heard than the device says, as measured in Setup; seconds."""
        return self._late_s

    @late_s.setter
    def late_s(self, seconds: float) -> None:
        self._late_s = self._mixer.late_s = seconds

    def _open(self) -> None:
        self._mixer = Mixer(self.now)
        self._mixer.late_s = self._late_s
        line = self._opener(self._mixer.fill, self._ran_dry, self._calm)
        self._mixer.rate = line.rate
        self.name = line.name
        self._line = line

    def now(self) -> float:
        """The stream's clock, seconds."""
        line = self._line
        return line.now() if line is not None else 0.0

    def _ran_dry(self) -> None:
        self.underruns += 1
        self._dry.append(time.monotonic())

    def _runs_dry(self) -> bool:
        """Whether the device ran dry four times within the last half minute."""
        return len(self._dry) == 4 and time.monotonic() - self._dry[0] < 30.0


class Microphone:
    """A `tutor.sound.ports.Ear` on a real device. Nothing it hears is kept.

    Args:
        opener: opens the device; takes what hears its samples and what to call when some were lost.
    """

    def __init__(self, opener: Callable[[Hear, Callable[[], None]], Line]) -> None:
        self._queue: queue.Queue[Block | None] = queue.Queue(maxsize=2048)
        self._closed = threading.Event()
        self.overruns = 0
        """How often samples were lost because nobody fetched them in time."""
        self._line: Line | None = None
        self._line = opener(self._hear, self._lost)
        self.name = self._line.name
        """Device name for the user."""
        self.latency_s = self._line.latency_s
        """What the device says it takes from sound to sample."""

    def listen(self) -> Iterator[Block]:
        """Yield blocks until `close`; call from a worker thread.

        Raises:
            PortUnavailable: the device went away.
        """
        heard_s = time.monotonic()
        while not self._closed.is_set():
            try:
                block = self._queue.get(timeout=0.1)
            except queue.Empty:
                if time.monotonic() - heard_s > SILENT_FOR_S and not self._alive():
                    raise PortUnavailable(
                        f"The microphone '{self.name}' has gone",
                        remedy="Connect it again or choose another in Setup; everything else goes on",
                    ) from None
                continue
            heard_s = time.monotonic()
            if block is None:
                return
            yield block

    def now(self) -> float:
        """The stream's clock, seconds."""
        return self._line.now() if self._line is not None else 0.0

    def close(self) -> None:
        """Stop listening; safe to call twice and from another thread."""
        if not self._closed.is_set():
            self._closed.set()
            if self._line is not None:
                self._line.close()
            with contextlib.suppress(queue.Full):
                self._queue.put_nowait(None)

    def _alive(self) -> bool:
        return self._line is not None and self._line.alive()

    def _hear(self, samples: Samples, at_s: float) -> None:
        line = self._line
        if line is None:
            return
        try:
            self._queue.put_nowait(Block(resample(samples, line.rate, RATE), at_s))
        except queue.Full:
            self.overruns += 1

    def _lost(self) -> None:
        self.overruns += 1
