"""How loud the input is."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tutor.sound.ports import RATE, Samples

QUIET_DB = -55.0
"""Below this level nothing is taken for singing, whatever the room."""
GATE_DB = 3.0
"""So much above the quiet room something must be to be taken for singing; equal voice and noise are 3 dB above it."""

_CLIP = 0.985


@dataclass(frozen=True, slots=True)
class Level:
    """How loud the input is, for the meter and for the words beside it."""

    rms_db: float
    """Average level, decibels below full scale; -120 for silence."""
    peak_db: float
    """Highest sample, decibels below full scale."""
    clipped: float
    """Share of the samples at the limit, 0 to 1."""
    dead: bool
    """True when every sample is exactly zero: no microphone gives that, so it is switched off or refused."""


NOTHING = Level(-120.0, -120.0, 0.0, True)
"""Before anything was heard."""


def level(samples: Samples) -> Level:
    """Measure samples, shape (n,)."""
    if not len(samples):
        return NOTHING
    top = float(np.max(np.abs(samples)))
    rms = float(np.sqrt(np.mean(np.square(samples, dtype=np.float64))))
    return Level(_db(rms), _db(top), float(np.mean(np.abs(samples) >= _CLIP)), top == 0.0)


Word = Literal["no input", "too quiet", "good", "too loud"]
"""What the meter says."""

TOO_QUIET_DB, TOO_LOUD_DB = -36.0, -1.0
"""A peak below is too quiet for a voice near the microphone, one above is about to be cut off (choices of ours)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What an input meter shows."""

    peak_db: float
    """Highest sample of the last tenth of a second, decibels below full scale."""
    held_db: float
    """Highest of the last one and a half seconds."""
    word: Word
    """Verdict on what is held."""


class Meter:
    """An input meter with peak hold: feed what was heard, read it when it is drawn.

    Args:
        noise_db: level of the quiet room, decibels below full scale; its own peaks are no singing.
    """

    HOLD_S = 1.5
    """How long a peak stays, seconds."""

    def __init__(self, noise_db: float = -70.0) -> None:
        # the peaks of a room's noise stand some 13 dB above its level
        self._quiet_db = max(TOO_QUIET_DB, noise_db + 18.0)
        self._parts: deque[tuple[float, Level]] = deque()
        self._heard_s = 0.0

    def feed(self, samples: Samples) -> None:
        """Take in the latest samples, shape (n,), at `RATE`."""
        self._heard_s += len(samples) / RATE
        self._parts.append((self._heard_s, level(samples)))
        while self._parts[0][0] < self._heard_s - self.HOLD_S:
            self._parts.popleft()

    @property
    def reading(self) -> Reading:
        """What to show now."""
        if not self._parts:
            return Reading(-120.0, -120.0, "no input")
        latest = [one for at, one in self._parts if at > self._heard_s - 0.1]
        held = max(one.peak_db for _, one in self._parts)
        word: Word = "good"
        if all(one.dead for _, one in self._parts):
            word = "no input"
        elif held > TOO_LOUD_DB or any(one.clipped > 0 for _, one in self._parts):
            word = "too loud"
        elif held < self._quiet_db:
            word = "too quiet"
        return Reading(max(one.peak_db for one in latest), held, word)


def gate_db(noise_db: float) -> float:
    """Level that singing must reach in a room of this level, both in decibels below full scale."""
    return max(QUIET_DB, noise_db + GATE_DB)


def _db(value: float) -> float:
    return 20.0 * float(np.log10(max(value, 1e-6)))
