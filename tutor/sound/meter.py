"""How loud the input is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tutor.sound.ports import Samples

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


def gate_db(noise_db: float) -> float:
    """Level that singing must reach in a room of this level, both in decibels below full scale."""
    return max(QUIET_DB, noise_db + GATE_DB)


def _db(value: float) -> float:
    return 20.0 * float(np.log10(max(value, 1e-6)))
