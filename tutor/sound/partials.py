"""Whether a pitch has partials of its own, or only borrows those of a tone an octave or a twelfth above it.

Where talk or a piano sounds below a voice, a frame is as much alike to itself after two or three cycles as after one,
and the lower octave would be taken. The spectrum tells them apart: between the partials of the true tone lies noise.
(After the comparison of harmonics with what lies between them, D. Hermes, J. Acoust. Soc. Am. 83, 1988, 257-264;
recalled. The numbers are ours, from tests/bench/pitch.py.)
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]

FROM_HZ = 60.0
"""Below, the partials lie too close to be told from what is between them."""
OWN = 1.2
"""From this on the partials are surely there (natural logarithm of power, partial over what lies beside it)."""
_UP_TO_HZ = 4500.0
_MULTIPLES = np.arange(1, 9)
_FACTORS = (2, 3)


def power_of(frames: Array) -> NDArray[np.float64]:
    """Power spectra of frames, shape (n, w), in steps of a quarter of what w can tell apart."""
    width = frames.shape[1]
    size = 4 * (1 << int(np.ceil(np.log2(width))))
    spectra = np.fft.rfft(frames * np.hanning(width), size, axis=1)
    return np.asarray(spectra.real**2 + spectra.imag**2)


def own_partials(power: Array, rate: float, hertz: Array) -> NDArray[np.float64]:
    """How clearly each pitch has those partials that the octave or the twelfth above it has not.

    Args:
        power: from `power_of`, shape (n, bands).
        rate: samples a second of the frames.
        hertz: pitches asked about in each frame, shape (n, c); 0 for none.

    Returns:
        Mean logarithm of partial over surroundings, shape (n, c): about 0 or less for a pitch that is not there;
        infinite where it cannot be told.
    """
    band_hz = rate / 2 / (power.shape[1] - 1)
    level = np.log(power + 1e-12)
    rows = np.arange(len(power))[:, None]

    def at(multiple: float) -> NDArray[np.float64]:
        place = np.round(multiple * hertz / band_hz).astype(np.intp)
        return np.asarray(level[rows, np.minimum(place, power.shape[1] - 1)])

    halves = [at(k + 0.5) for k in range(len(_MULTIPLES) + 1)]
    over = np.stack([at(float(k)) - np.logaddexp(halves[k - 1], halves[k]) + np.log(2.0) for k in _MULTIPLES])
    heard = _MULTIPLES[:, None, None] * hertz[None] < _UP_TO_HZ
    out = np.full(hertz.shape, np.inf)
    for factor in _FACTORS:
        asked = heard & (_MULTIPLES % factor != 0)[:, None, None]
        mean = np.sum(np.where(asked, over, 0.0), axis=0) / np.maximum(asked.sum(axis=0), 1)
        out = np.minimum(out, mean)
    return np.where(hertz < FROM_HZ, np.inf, out)


def lacking(frames: Array, rate: float, hertz: Array) -> NDArray[np.float64]:
    """How much the partials of pitches are missing: 0 where they are there, 1 where only noise is, at most 1.5.

    Args:
        frames: shape (n, w).
        rate: samples a second of the frames.
        hertz: pitches asked about in each frame, shape (n, c); 0 for none.
    """
    out = np.zeros(hertz.shape)
    for start in range(0, len(frames), 256):
        part = np.asarray(frames[start : start + 256], dtype=np.float64)
        power = power_of(part - part.mean(axis=1, keepdims=True))
        own = own_partials(power, rate, hertz[start : start + 256])
        out[start : start + 256] = np.clip((OWN - own) / OWN, 0.0, 1.5)
    return out
