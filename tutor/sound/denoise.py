"""Taking the even noise of a room (fan, street, computer) out of singing before its pitch is looked for.

The noise is learnt from the sound itself: in each band the quietest quarter of the time is taken for noise. What
sticks out of it is kept, the rest is turned down. How far a moment sticks out also tells whether anybody sings.

Sources: gains by the a priori ratio of signal to noise and its smoothing: Y. Ephraim and D. Malah, IEEE Trans. ASSP
32(6), 1984, 1109-1121; presence by the mean likelihood ratio: J. Sohn, N. Kim and W. Sung, IEEE Signal Processing
Letters 6(1), 1999, 1-3; noise by quantiles: V. Stahl, A. Fischer and R. Bippus, Proc. ICASSP 2000, 1875-1878. All
recalled, not looked up. The numbers are ours, from tests/bench/pitch.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]

PRESENT = 0.16
"""Presence from which a moment is rather sung than room; noise alone stays under 0.12 nineteen times in twenty."""

NOISY_DB = 8.0
"""With less than this of signal over noise the pitch is looked for in what was cleaned."""

CLEAN_DB = 15.0
"""Where a voice stands out of the noise by more than this, nothing is cleaned: it would only be smeared."""

_QUANTILE = 25
_WITH_HZ = 190.0
"""A band's noise is the median over this much to either side: partials of a held note stick out of it."""
_UP_TO_HZ = 4500.0
_FLOOR = 0.05
_KEEP = 0.92
_LEAST = 1e-12


def noise_of(power: Array, band_hz: float) -> NDArray[np.float64]:
    """Power of the even noise in each band.

    Args:
        power: of moments and bands, shape (n, bands).
        band_hz: hertz from one band to the next.

    Returns:
        Mean power of the noise, shape (bands,).
    """
    share = -np.log(1.0 - _QUANTILE / 100.0)  # where that quantile of an exponential distribution of mean 1 lies
    low = np.percentile(power, _QUANTILE, axis=0) / share
    reach = max(1, round(_WITH_HZ / band_hz))
    # at the ends the window is cut, not padded: the lowest bands carry most of a room's noise
    padded = np.pad(low, reach, constant_values=np.nan)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    return np.asarray(np.nanmedian(around, axis=1) + _LEAST)


class Sieve:
    """Moment after moment, what is kept of each band."""

    def __init__(self, bands: int, band_hz: float) -> None:
        self._before = np.zeros(bands)
        self._judged = slice(2, int(_UP_TO_HZ / band_hz))
        self.presence = 0.0
        """How far the last moment stuck out of the noise: about 0.07 for noise alone."""

    def gains(self, power: Array, noise: Array) -> NDArray[np.float64]:
        """What to multiply each band of the next moment with, 0.05 to 1; each of shape (bands,)."""
        ratio = power / noise
        ahead = _KEEP * self._before + (1.0 - _KEEP) * np.maximum(ratio - 1.0, 0.0)
        gain = ahead / (1.0 + ahead)
        judged = self._judged
        self.presence = float(np.mean(ratio[judged] * gain[judged] - np.log1p(ahead[judged])))
        gain = np.maximum(gain, _FLOOR)
        self._before = gain * gain * ratio
        return np.asarray(gain)


def over_noise_db(power: Array, noise: Array) -> NDArray[np.float64]:
    """Signal over noise of each moment, decibels; power of shape (..., bands), noise of shape (bands,)."""
    return np.asarray(10.0 * np.log10(np.maximum(power.sum(axis=-1) / noise.sum() - 1.0, 0.01)))


def cleaned(samples: Array, rate: int, hop_s: float) -> tuple[NDArray[np.float32], Array, Array]:
    """A whole take without the even noise of the room.

    Args:
        samples: mono, shape (n,).
        rate: samples a second.
        hop_s: seconds from one moment to the next.

    Returns:
        Samples, shape (n,); the presence of a voice and the signal over noise in decibels at each moment, both of
        shape (1 + n // hop,).
    """
    hop = round(hop_s * rate)
    width = 1 << round(np.log2(0.064 * rate))
    bell = np.sqrt(np.hanning(width + 1)[:-1]).astype(np.float32)
    count, half = len(samples), width // 2
    padded = np.pad(np.asarray(samples, dtype=np.float32), (half, half + hop))
    moments = np.lib.stride_tricks.sliding_window_view(padded, width)[::hop][: 1 + count // hop]
    spectra = np.fft.rfft(moments * bell, axis=1)
    power = spectra.real**2 + spectra.imag**2
    # the first and last moments reach into the silence that was put around the take
    inner = power[half // hop + 1 : -(half // hop) - 1]
    noise = noise_of(inner if len(inner) > 3 else power, rate / width)
    sieve = Sieve(power.shape[1], rate / width)
    presence = np.zeros(len(power))
    out = np.zeros(len(padded) + width, dtype=np.float32)
    for i, row in enumerate(power):
        spectra[i] *= sieve.gains(row, noise)
        presence[i] = sieve.presence
    for start in range(0, len(power), 256):
        for i, piece in enumerate(np.fft.irfft(spectra[start : start + 256], width) * bell, start):
            out[i * hop : i * hop + width] += piece
    kept = (out[half : half + count] * (2.0 * hop / width)).astype(np.float32)
    return kept, presence, over_noise_db(power, noise)
