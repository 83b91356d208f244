"""The pitch of a voice, frame by frame: the normalised square difference of a window with itself.

Source: P. McLeod and G. Wyvill, "A smarter way to find pitch", Proc. ICMC 2005, 138-141 (recalled). The choice of
window and thresholds is ours, from tests/bench/pitch.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.sound.denoise import CLEAN_DB, NOISY_DB, PRESENT, cleaned
from tutor.sound.partials import lacking
from tutor.sound.ports import RATE, Samples
from tutor.sound.resample import resample

LOW_HZ, HIGH_HZ = 65.0, 1200.0
"""Pitches outside are not looked for: C2 is 65.4 Hz, D6 1175 Hz."""
HOP_S = 0.01
"""Seconds between two frames of a take."""
WINDOW_S = 0.05
"""Length of a frame of a take."""

HALF_RATE = RATE // 2
"""Trackers work at this rate: voices carry their pitch well below 4.5 kHz."""

Array = NDArray[np.floating[Any]]


def halved(samples: Samples) -> NDArray[np.float32]:
    """Samples at `RATE` filtered at 4.5 kHz and brought to `HALF_RATE`."""
    return np.convolve(samples, _LOWPASS, "same")[::2].astype(np.float32)


def _lowpass(taps: int = 49, corner_hz: float = 4500.0) -> NDArray[np.float32]:
    n = np.arange(taps) - (taps - 1) / 2
    h = np.sinc(2 * corner_hz / RATE * n) * np.hanning(taps + 2)[1:-1]
    return np.asarray(h / h.sum(), dtype=np.float32)


_LOWPASS = _lowpass()


def likeness(frames: Array) -> NDArray[np.float64]:
    """How alike each frame is to itself, shifted.

    Args:
        frames: shape (n, w).

    Returns:
        Normalised square difference, shape (n, w // 2 + 1): 1 where a shift repeats the frame, -1 where it opposes it.
    """
    x = np.asarray(frames, dtype=np.float64)
    width = x.shape[1]
    lags = width // 2 + 1
    size = 1 << int(np.ceil(np.log2(width + lags)))
    spectrum = np.fft.rfft(x, size)
    product = np.fft.irfft(spectrum.real**2 + spectrum.imag**2, size)[:, :lags]
    power = np.cumsum(x * x, axis=1)
    total = power[:, -1:]
    energy = np.repeat(2.0 * total, lags, axis=1)
    energy[:, 1:] -= power[:, : lags - 1]
    energy[:, 1:] -= total - power[:, width - 2 : width - lags - 1 : -1]
    return np.asarray(2.0 * product / np.maximum(energy, 1e-12))


def peak(curve: NDArray[np.float64], rate: float) -> tuple[float, float]:
    """Pitch and clarity from one row of `likeness`: the first high peak after the curve has gone below zero.

    Args:
        curve: shape (lags,).
        rate: samples a second of the frame it came from.

    Returns:
        (hertz, clarity 0 to 1); (0, 0) where there is no pitch.
    """
    found = _first_lobe_left(curve, rate)
    if not len(found):
        return 0.0, 0.0
    # In a clear tone a lower bar errs an octave up; in noise, which roughens the peaks, a higher one errs downwards.
    highest = float(curve[found].max())
    bar = (0.93 - 0.4 * max(0.0, 0.95 - highest)) * highest
    place = found[np.flatnonzero(curve[found] >= bar)[0]]
    lag, height = _refined(curve, place)
    return rate / float(lag), min(float(height), 1.0)


def peaks(curve: NDArray[np.float64], rate: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Hertz and clarity of every peak after the curve has gone below zero; see `peak`."""
    found = _first_lobe_left(curve, rate)
    if not len(found):
        return np.zeros(0), np.zeros(0)
    lag, height = _refined(curve, found)
    return np.asarray(rate / lag), np.minimum(height, 1.0)


def _first_lobe_left(curve: NDArray[np.float64], rate: float) -> NDArray[np.intp]:
    """Places of the peaks after the curve has gone below zero."""
    low, high = max(2, int(rate / HIGH_HZ) - 1), min(len(curve) - 2, int(rate / LOW_HZ) + 1)
    below = np.flatnonzero(curve[:high] < 0)
    start = max(low, int(below[0])) if len(below) else high
    return _tops(curve, start, high, 0.0) if start < high else np.zeros(0, dtype=np.intp)


def _tops(curve: NDArray[np.float64], start: int, stop: int, floor: float) -> NDArray[np.intp]:
    w = curve[start : stop + 1]
    return np.flatnonzero((w[1:-1] > w[:-2]) & (w[1:-1] >= w[2:]) & (w[1:-1] > floor)) + 1 + start


def _refined(curve: NDArray[np.float64], place: Any) -> tuple[Any, Any]:
    """Lag and height of a peak by a parabola through its neighbours."""
    a, b, c = curve[place - 1], curve[place], curve[place + 1]
    shift = 0.5 * (a - c) / (a - 2 * b + c - 1e-12)
    return place + shift, b - 0.25 * (a - c) * shift


def level_db(frames: Array) -> NDArray[np.float64]:
    """Level of each frame in decibels below full scale, shape (n,)."""
    x = np.asarray(frames, dtype=np.float64)
    return np.asarray(10.0 * np.log10(np.mean(x * x, axis=-1) + 1e-12))


def follow(
    samples: Samples, rate: int = RATE
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Pitch of a whole take: the best path through the candidates of all frames.

    The path weighs height of the peaks, a small preference for the higher octave, jumps, and starts and ends of
    voicing (after P. Boersma, Proc. IFA Amsterdam 17, 1993, 97-110, recalled; here on the square difference).

    Args:
        samples: mono, shape (n,).
        rate: samples a second.

    Returns:
        Times in seconds (frame centres), hertz (0 where nothing is sung), clarity, level in decibels; each (frames,).
    """
    x = halved(resample(np.asarray(samples, dtype=np.float32), rate, RATE))
    width, hop = int(WINDOW_S * HALF_RATE), int(HOP_S * HALF_RATE)
    if len(x) < hop:
        empty = np.zeros(0)
        return empty, empty, empty, empty
    plain = _framed(x, width, hop)
    loud = level_db(plain)
    x, presence, over_db = cleaned(x, HALF_RATE, HOP_S)
    frames = _framed(x, width, hop)
    clean = np.percentile(over_db, 75) >= CLEAN_DB
    noisy = (over_db[: len(frames), None] < NOISY_DB) & ~clean
    hertz, score, height = _candidates(np.where(noisy, frames, plain))
    missing = lacking(plain, HALF_RATE, hertz[:, 1:])
    score[:, 1:] -= _BORROWED * (missing - missing.min(axis=1, keepdims=True))
    # a frame 30 dB under the loud ones, or one that the room's noise explains, is rather breath or room than voice
    kept = level_db(frames)
    score[:, 0] = 0.55 + np.clip((np.percentile(kept, 95) - 30.0 - kept) / 20.0, 0.0, 1.0)
    score[:, 0] += _DOUBT * noisy[:, 0]
    score[:, 0] += np.clip((PRESENT - presence[: len(frames)]) / 0.06, 0.0, 1.0)
    path = _best_path(hertz, score)
    rows = np.arange(len(path))
    exact = _sharpened(np.pad(x, width // 2), hertz[rows, path])
    return np.asarray(rows * HOP_S, dtype=np.float64), exact, height[rows, path], loud


_BORROWED = 0.15
"""What a pitch loses that has no partials of its own."""
_DOUBT = 0.15
"""What must be clearer where noise was taken out, which lends some pitch to whatever is left."""


def _framed(x: NDArray[np.float32], width: int, hop: int) -> NDArray[np.float32]:
    """Frames around every hop, the first and last half filled with silence."""
    return np.lib.stride_tricks.sliding_window_view(np.pad(x, width // 2), width)[::hop]


_SHORTER = ((140.0, 280.0, 0.032), (280.0, 520.0, 0.018), (520.0, 1e9, 0.011))
"""From and up to which pitch in hertz a voice is measured anew in windows of so many seconds."""


def window_s(hertz: float) -> float:
    """Length of the window that a pitch is measured in, seconds."""
    return next((s for above, below, s in _SHORTER if above <= hertz < below), WINDOW_S)


def _sharpened(x: Array, hertz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Measure higher voices anew in shorter windows around the same moments.

    In a long window the louder part of a vibrato weighs more and draws the mean away from the middle.
    """
    out = hertz.copy()
    width, hop = int(WINDOW_S * HALF_RATE), int(HOP_S * HALF_RATE)
    for above_hz, below_hz, seconds in _SHORTER:
        rows = np.flatnonzero((hertz >= above_hz) & (hertz < below_hz))
        short = int(seconds * HALF_RATE)
        windows = np.lib.stride_tricks.sliding_window_view(x, short)
        for start in range(0, len(rows), 512):
            part = rows[start : start + 512]
            frames = np.asarray(windows[part * hop + (width - short) // 2], dtype=np.float64)
            curves = likeness(frames - frames.mean(axis=1, keepdims=True))
            lag = HALF_RATE / hertz[part]
            reach = np.arange(-2, 3)
            near = np.clip(np.round(lag).astype(np.int64)[:, None] + reach, 1, curves.shape[1] - 2)
            index = np.arange(len(part))
            place = near[index, curves[index[:, None], near].argmax(axis=1)]
            a, b, c = curves[index, place - 1], curves[index, place], curves[index, place + 1]
            shift = 0.5 * (a - c) / (a - 2 * b + c - 1e-12)
            good = (np.abs(shift) <= 1.0) & (np.abs((place + shift) / lag - 1.0) < 0.04) & (b > 0.8)
            out[part[good]] = HALF_RATE / (place + shift)[good]
    return out


_CANDIDATES = 10


def _candidates(frames: Array) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Hertz, score and height of the best peaks, each (frames, 1 + candidates); column 0 is 'not sung'."""
    count = len(frames)
    hertz = np.zeros((count, _CANDIDATES + 1))
    score = np.full((count, _CANDIDATES + 1), -9.0)
    height = np.zeros((count, _CANDIDATES + 1))
    low, high = max(2, int(HALF_RATE / HIGH_HZ) - 1), min(frames.shape[1] // 2 - 1, int(HALF_RATE / LOW_HZ) + 1)
    for start in range(0, count, 256):
        part = np.asarray(frames[start : start + 256], dtype=np.float64)
        curves = likeness(part - part.mean(axis=1, keepdims=True))
        for row, curve in enumerate(curves, start):
            tops = _tops(curve, low, high, 0.25)
            if not len(tops):
                continue
            lag, tall = _refined(curve, tops)
            tall = np.minimum(tall, 1.0)
            worth = tall - 0.02 * np.log2(300.0 * lag / HALF_RATE)
            # ranked by worth, not by height: multiples of a short period would crowd it out
            order = np.argsort(-worth)[:_CANDIDATES]
            hertz[row, 1 : 1 + len(order)] = HALF_RATE / lag[order]
            score[row, 1 : 1 + len(order)] = worth[order]
            height[row, 1 : 1 + len(order)] = tall[order]
    return hertz, score, height


def _best_path(hertz: NDArray[np.float64], score: NDArray[np.float64]) -> NDArray[np.intp]:
    """Viterbi: the column taken in each row."""
    jump, voicing = 0.4, 0.2
    octave = np.log2(np.maximum(hertz, 1e-3))
    total = score[0].copy()
    back = np.zeros(hertz.shape, dtype=np.intp)
    for i in range(1, len(hertz)):
        cost = jump * np.abs(octave[i - 1][:, None] - octave[i][None, :])
        cost[0, :] = voicing
        cost[:, 0] = voicing
        cost[0, 0] = 0.0
        reach = total[:, None] - cost
        back[i] = reach.argmax(axis=0)
        total = reach.max(axis=0) + score[i]
    path = np.zeros(len(hertz), dtype=np.intp)
    path[-1] = total.argmax()
    for i in range(len(hertz) - 1, 0, -1):
        path[i - 1] = back[i, path[i]]
    return path
