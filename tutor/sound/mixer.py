"""What a device callback asks for: the next samples, and where in the music they are.

One source sounds at a time. Starting another, or stopping, fades the old one out over 5 ms, so nothing clicks. The
callback side does no more than slice, fade and add.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Protocol

import numpy as np

from tutor.sound.ports import RATE, Clip, Samples
from tutor.sound.resample import sinc_at

FADE_S = 0.005
"""How long a stopped source takes to fall silent."""


class Source(Protocol):
    """Sound that can be read from any place, in the device's own time."""

    def read(self, at: int, frames: int) -> Samples:
        """Samples ``at`` to ``at + frames``; zeros where none are ready. Must not block."""

    @property
    def frames(self) -> int | None:
        """Length in samples; None while it has no end (a loop)."""


class ClipSource:
    """A rendered clip as a source, brought to `RATE`."""

    def __init__(self, clip: Clip) -> None:
        self._samples = clip.samples
        if clip.rate != RATE and len(clip.samples):
            count = round(len(clip.samples) * RATE / clip.rate)
            self._samples = sinc_at(clip.samples, np.arange(count) * (clip.rate / RATE))

    def read(self, at: int, frames: int) -> Samples:
        """Samples of the clip, zeros outside it."""
        if at >= 0 and at + frames <= len(self._samples):
            return self._samples[at : at + frames]
        out = np.zeros(frames, dtype=np.float32)
        first, last = max(at, 0), min(at + frames, len(self._samples))
        if first < last:
            out[first - at : last - at] = self._samples[first:last]
        return out

    @property
    def frames(self) -> int:
        """Length in samples."""
        return len(self._samples)


class Voice:
    """One source being played (a `tutor.sound.ports.Playing`)."""

    def __init__(self, source: Source, clock: Callable[[], float], rate: int, late_s: float = 0.0) -> None:
        self.source = source
        self._late_s = late_s
        self.problem = ""
        """Why it ended early, in one line; empty when all is well."""
        self.heard_from_s: float | None = None
        """Stream time at which its first sample is heard; None before it was handed over."""
        self.sent = 0
        """Device frames handed over so far."""
        self._clock = clock
        self._rate = rate
        self._anchor: tuple[int, float] | None = None
        self._fade_left: int | None = None
        self._ended = False
        self._held_s: float | None = None

    @property
    def position_s(self) -> float:
        """Seconds of the source already heard, by the stream's clock."""
        if self._held_s is not None:
            return self._held_s
        anchor = self._anchor
        if anchor is None:
            return 0.0
        frame, at_s = anchor
        heard = frame + (self._clock() - at_s - self._late_s) * self._rate
        return max(0.0, min(heard, self.sent)) / self._rate

    @property
    def finished(self) -> bool:
        """True once the source has ended or was stopped, and everything handed over has been heard."""
        return self._ended and (self._held_s is not None or self.position_s >= self.sent / self._rate - 0.002)

    def stop(self) -> None:
        """Fade out within one buffer."""
        if self._held_s is None:
            self._held_s = self.position_s
        if self._fade_left is None:
            self._fade_left = max(1, round(FADE_S * self._rate))

    def lose(self, problem: str) -> None:
        """The device is gone: hold the position and say why."""
        if self._held_s is None and not self.finished:
            self.problem = problem
            self._held_s = self.position_s
        self._ended = True

    def pull(self, frames: int, at_s: float) -> Samples | None:
        """The next ``frames`` samples, to be heard from ``at_s`` on; None when there are no more."""
        if self._ended:
            return None
        self._anchor = (self.sent, at_s)
        if self.heard_from_s is None:
            self.heard_from_s = at_s
        out = _read(self.source, self.sent, frames, self._rate)
        self.sent += frames
        total = self.source.frames
        if total is not None and self.sent >= total * self._rate / RATE:
            self.sent = round(total * self._rate / RATE)
            self._ended = True
        if self._fade_left is not None:
            whole = max(1, round(FADE_S * self._rate))
            ramp = np.clip((self._fade_left - np.arange(frames, dtype=np.float32)) / whole, 0.0, 1.0)
            out = out * ramp.astype(np.float32)
            self._fade_left -= frames
            self._ended = self._ended or self._fade_left <= 0
        return out


class Mixer:
    """Holds what sounds now and what is fading out.

    Args:
        clock: the stream's clock, seconds.
        rate: the device's samples a second.
    """

    def __init__(self, clock: Callable[[], float], rate: int = RATE) -> None:
        self.rate = rate
        self.late_s = 0.0
        """How much later a sample is heard than the device says, seconds."""
        self._clock = clock
        self._lock = threading.Lock()
        self._voices: list[Voice] = []

    def start(self, source: Source) -> Voice:
        """Begin a source with the next block, fading out the one before it."""
        voice = Voice(source, self._clock, self.rate, self.late_s)
        with self._lock:
            for old in self._voices:
                old.stop()
            self._voices.append(voice)
        return voice

    def fill(self, frames: int, at_s: float) -> Samples:
        """The next block, which will be heard from stream time ``at_s`` on."""
        out = np.zeros(frames, dtype=np.float32)
        if not self._voices:
            return out
        with self._lock:
            for voice in list(self._voices):
                part = voice.pull(frames, at_s)
                if part is None:
                    self._voices.remove(voice)
                else:
                    out += part
        return np.clip(out, -1.0, 1.0)

    def lose(self, problem: str) -> None:
        """The device is gone: end everything with a reason."""
        with self._lock:
            for voice in self._voices:
                voice.lose(problem)
            self._voices.clear()


def _read(source: Source, at: int, frames: int, rate: int) -> Samples:
    if rate == RATE:
        return source.read(at, frames)
    places = (at + np.arange(frames)) * (RATE / rate)
    first = int(places[0]) - 16
    return sinc_at(source.read(first, int(places[-1]) - first + 18), places - first)
