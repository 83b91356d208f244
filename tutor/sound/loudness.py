"""How loud a recording is to the ear, so that clips made one by one sound alike.

Source: Recommendation ITU-R BS.1770-4, for one channel: K-weighting, blocks of 400 ms that overlap by three quarters,
an absolute gate at -70 and a relative one at -10. The weighting filters are taken as their analogue prototypes (a shelf
of 4 dB above 1682 Hz and a high pass at 38 Hz, recalled as the values from which the Recommendation's coefficients
follow; the tests hold them to its reference level) and laid over the spectrum of each block, so any rate will do.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_BLOCK_S, _HOP_S = 0.4, 0.1
_SHELF_HZ, _SHELF_Q, _SHELF_DB = 1681.974450955533, 0.7071752369554196, 3.999843853973347
_PASS_HZ, _PASS_Q = 38.13547087602444, 0.5003270373238773
_OFFSET = -0.691
_SILENCE = -70.0


def loudness(samples: NDArray[np.float32], rate: int) -> float:
    """Integrated loudness in LUFS; minus infinity for silence.

    Args:
        samples: one channel, full scale 1.
        rate: samples a second.
    """
    block, hop = int(_BLOCK_S * rate), int(_HOP_S * rate)
    if len(samples) < block:
        samples = np.pad(samples, (0, block - len(samples)))
    weights = _weights(np.asarray(np.fft.rfftfreq(block, 1 / rate), np.float64))
    powers = np.array([_power(samples[i : i + block], weights) for i in range(0, len(samples) - block + 1, hop)])
    heard = powers[_lufs(powers) > _SILENCE]
    if not len(heard):
        return -np.inf
    heard = heard[_lufs(heard) > _lufs(heard.mean()) - 10]
    return float(_lufs(heard.mean()))


def _power(block: NDArray[np.float32], weights: NDArray[np.float64]) -> float:
    """Mean square of a block after weighting, by Parseval's theorem."""
    spectrum = np.abs(np.fft.rfft(block)) ** 2 * weights
    return float((2 * spectrum.sum() - spectrum[0] - spectrum[-1]) / len(block) ** 2)


def _lufs(power: NDArray[np.float64] | np.float64) -> NDArray[np.float64]:
    return np.asarray(_OFFSET + 10 * np.log10(np.maximum(power, 1e-20)))


def _weights(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Power gain of the K-weighting at each frequency."""
    s = 1j * hz / _SHELF_HZ
    high = 10 ** (_SHELF_DB / 20)
    middle = high**0.4996667741545416
    shelf = (high * s**2 + middle * s / _SHELF_Q + 1) / (s**2 + s / _SHELF_Q + 1)
    s = 1j * hz / _PASS_HZ
    return np.asarray(np.abs(shelf * s**2 / (s**2 + s / _PASS_Q + 1)) ** 2)
