"""Loudness against the levels that the Recommendation itself gives."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from tutor.sound.loudness import loudness


def sine(hz: float, seconds: float, rate: int, level: float = 1.0) -> NDArray[np.float32]:
    return (level * np.sin(2 * np.pi * hz * np.arange(int(seconds * rate)) / rate)).astype(np.float32)


@pytest.mark.parametrize("rate", [24_000, 48_000])
@pytest.mark.parametrize("level", [0.0, -20.0])
def test_a_full_sine_of_997_hertz_reads_minus_three(rate: int, level: float) -> None:
    """ITU-R BS.1770-4: a 0 dB full-scale sine of 997 Hz in one front channel indicates -3.01."""
    assert loudness(sine(997, 3, rate, 10 ** (level / 20)), rate) == pytest.approx(-3.01 + level, abs=0.05)


def test_silence_between_notes_does_not_count() -> None:
    """The relative gate: a tone keeps its loudness when as much near silence follows."""
    tone = sine(997, 4, 24_000, 0.1)
    long = np.concatenate([tone, tone * 1e-3])
    assert loudness(long, 24_000) == pytest.approx(loudness(tone, 24_000), abs=0.3)


def test_the_ear_is_duller_below_and_keener_above() -> None:
    assert loudness(sine(30, 2, 24_000), 24_000) < loudness(sine(997, 2, 24_000), 24_000) - 2
    assert loudness(sine(5_000, 2, 24_000), 24_000) == pytest.approx(
        loudness(sine(997, 2, 24_000), 24_000) + 3.3, abs=0.3
    )


def test_silence_and_next_to_nothing() -> None:
    assert loudness(np.zeros(48_000, np.float32), 24_000) == -np.inf
    assert np.isfinite(loudness(sine(440, 0.05, 24_000), 24_000))
