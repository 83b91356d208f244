"""Samples between samples: a windowed sinc."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.sound.ports import Samples

_HALF = 16


def sinc_at(samples: Samples, places: NDArray[np.floating[Any]]) -> Samples:
    """The value of a sampled sound at fractional places.

    Args:
        samples: mono, shape (n,).
        places: positions in samples, shape (m,), evenly spaced; steps over 1 lower the rate and are filtered.

    Returns:
        Shape (m,). Outside the samples everything is taken as silence.
    """
    step = float(places[1] - places[0]) if len(places) > 1 else 1.0
    band = min(1.0, 1.0 / max(step, 1e-9)) * 0.97
    padded = np.pad(samples, _HALF)
    out = np.empty(len(places), dtype=np.float32)
    for start in range(0, len(places), 16384):
        part = places[start : start + 16384]
        whole = np.floor(part).astype(np.int64)
        reach = np.arange(1 - _HALF, _HALF + 1)
        distance = reach[None, :] - (part - whole)[:, None]
        weights = band * np.sinc(band * distance) * (0.5 + 0.5 * np.cos(np.pi * distance / _HALF))
        index = np.clip(whole[:, None] + reach[None, :] + _HALF, 0, len(padded) - 1)
        out[start : start + len(part)] = np.einsum("ij,ij->i", padded[index], weights)
    return out


def resample(samples: Samples, rate: float, wanted: float) -> Samples:
    """The same sound at another rate."""
    if rate == wanted or not len(samples):
        return samples
    count = round(len(samples) * wanted / rate)
    return sinc_at(samples, np.arange(count) * (rate / wanted))
