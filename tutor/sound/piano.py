"""A piano made of partials.

Each string partial is a pair of decaying sinusoids (a quick first stage and a quiet, slow second one), so a whole
note is a sum of complex exponentials. Split into blocks, that sum is one matrix product: exp(s·(kB + j)) =
exp(s·kB)·exp(s·j). The first partial stands exactly on the tempered pitch; the partials above it are stretched by
the stiffness of the string.

Sources: stiffness of strings and its effect on partials: H. Fletcher, JASA 36(1), 1964, 203-209; two-stage decay:
G. Weinreich, JASA 62(6), 1977, 1474-1484; stiffness by register: J. Rauhala, H.-M. Lehtonen and V. Välimäki,
JASA 121(5), 2007, EL184-EL189. All three recalled, not looked up. Everything else is a choice of ours, set by
measuring the outcome (tests/sound/test_synth.py).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tutor.sound.ports import RATE, Samples

LAYERS = 8
"""Velocity layers: the spectrum changes in these steps, the loudness without steps."""
LONGEST_S = 14.0
"""A string is not followed further than this."""
RELEASE_S = 0.26
"""What the damper leaves ringing after the key is let go."""

_LENGTHS_S = (0.75, 1.5, 3.0, 4.5, 6.0, 9.0, LONGEST_S)
_BLOCK = 512
_ONE_CORE = 250_000
_STRIKE = 0.122
_TOP_HZ = 10_000.0


class Piano:
    """The built-in piano."""

    name = "built-in piano"

    def note(self, midi: int, held_s: float, velocity: float, rate: int = RATE) -> Samples:
        """One struck and released note.

        Args:
            midi: MIDI note number, 12 to 115; others are moved by octaves into that range.
            held_s: seconds the key is held.
            velocity: loudness, 0 to 1.
            rate: samples a second.

        Returns:
            Mono samples that begin and end at zero, about ±0.15 at velocity 0.7.
        """
        midi = _within(midi)
        held_s = min(max(held_s, 0.03), LONGEST_S - RELEASE_S)
        whole = held_s + RELEASE_S
        layer = min(int(min(max(velocity, 0.0), 1.0) * LAYERS), LAYERS - 1)
        string = struck(midi, layer, next(s for s in _LENGTHS_S if s >= whole - 1e-9), rate)
        out = string[: round(whole * rate)] * np.float32(loudness(velocity))
        _damp(out, round(held_s * rate), midi, rate)
        return out


def loudness(velocity: float) -> float:
    """Gain for a velocity from 0 to 1: 1.0 at 0.7, about 30 dB from softest to loudest (a choice of ours)."""
    return float((0.06 + 0.94 * min(max(velocity, 0.0), 1.0) ** 1.5) / (0.06 + 0.94 * 0.7**1.5))


def stiffness(midi: int) -> float:
    """Coefficient B in f(n) = n·f·√(1 + B·n²) for a long grand piano."""
    return float(0.6 * (np.exp(0.0926 * midi - 13.64) + np.exp(-0.0847 * midi - 5.82)))


@lru_cache(maxsize=192)
def struck(midi: int, layer: int, seconds: float, rate: int) -> Samples:
    """A struck string that is never damped, kept for the next time; do not write into it."""
    count = round(seconds * rate)
    poles, weights = _modes(midi, layer, rate)
    tone = summed(poles, weights, count)
    knock = _knock(midi % 6, rate)
    tone[: len(knock)] += knock * np.float32(0.5 + layer / LAYERS)
    rise = round(rate * (0.0012 + 0.0035 * 2.0 ** ((40 - midi) / 24)))
    tone[:rise] *= np.sin(np.linspace(0.0, np.pi / 2, rise, dtype=np.float32)) ** 2
    tone.setflags(write=False)
    return tone


def summed(poles: NDArray[np.complex128], weights: NDArray[np.complex128], count: int) -> Samples:
    """The real part of a sum of exponentials, ``count`` samples long.

    Args:
        poles: decay and angle per sample, shape (n,).
        weights: size and phase at sample 0, shape (n,).
        count: how many samples.
    """
    blocks = -(-count // _BLOCK)
    near = np.exp(np.outer(poles, np.arange(_BLOCK)))
    right = np.vstack((near.real, near.imag)).astype(np.float32)
    # small products stay on one core: waiting for a second, busy one costs far more than it saves
    rows = max(1, _ONE_CORE // right.size)
    blocks = -(-blocks // rows) * rows
    far = np.exp(np.outer(np.arange(blocks) * _BLOCK, poles)) * weights
    left = np.hstack((far.real, -far.imag)).astype(np.float32)
    out = np.empty((blocks, _BLOCK), dtype=np.float32)
    for row in range(0, blocks, rows):
        np.matmul(left[row : row + rows], right, out=out[row : row + rows])
    tone: Samples = out.ravel()[:count]
    return tone


def _modes(midi: int, layer: int, rate: int) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Poles (per sample) and complex weights of every decaying sinusoid of a note."""
    first = 440.0 * 2.0 ** ((midi - 69) / 12)
    hardness = (layer + 0.5) / LAYERS
    b = stiffness(midi)
    n = np.arange(1, 90, dtype=np.float64)
    hz = n * first * np.sqrt((1 + b * n * n) / (1 + b))
    keep = hz < min(_TOP_HZ, 0.45 * rate)
    n, hz = n[keep], hz[keep]
    corner = (380.0 + 0.9 * first) * 2.0 ** (2.6 * (hardness - 0.35))
    level = (
        np.abs(np.sin(np.pi * n * _STRIKE))
        / n ** (0.75 + 0.011 * max(0, midi - 33))
        / (1.0 + (hz / corner) ** 2) ** 0.65
    )
    # a small soundboard hardly sounds below its own first modes, yet the bass must stay plain to hear
    level *= (hz / (hz + 38.0)) ** 0.8
    level *= 0.042 / _heard(hz, level)
    slow = 6.91 / (22.0 * 2.0 ** ((33 - midi) / 28.0)) * (1.0 + 0.12 * (n - 1) + 0.00028 * (hz - first))
    share = 0.16 + 0.10 / n
    # the slow stage of the upper partials stands a hair off, which lets the tone breathe; the first stays exact
    offset = 2.0 ** (np.where(n > 2, 0.35, 0.0) * np.cos(2.4 * n + midi) / 1200)
    poles: NDArray[np.complex128] = np.concatenate((-slow * 3.2 + 2j * np.pi * hz, -slow + 2j * np.pi * hz * offset))
    phase = np.exp(1j * (np.pi * 0.61803399 * n * n + midi))
    weights: NDArray[np.complex128] = np.concatenate((level * (1 - share) * phase, level * share * phase))
    # what lies 70 dB under the strongest is not heard and costs as much as what is
    loud = np.abs(weights) > 3e-4 * np.abs(weights).max()
    return poles[loud] / rate, weights[loud]


def _heard(hz: NDArray[np.float64], level: NDArray[np.float64]) -> float:
    """Rough loudness of a spectrum: halfway (in decibels) between flat and the A curve of IEC 61672."""
    squared = hz * hz
    a_curve = (12194.0**2 * squared**2) / (
        (squared + 20.6**2) * np.sqrt((squared + 107.7**2) * (squared + 737.9**2)) * (squared + 12194.0**2)
    )
    return float(np.sqrt(np.sum((level * np.sqrt(a_curve)) ** 2)))


@lru_cache(maxsize=32)
def _knock(kind: int, rate: int) -> Samples:
    """The hammer's and keybed's noise: some short modes between 90 Hz and 3 kHz, the same every time."""
    dice = np.random.default_rng(1000 + kind)
    hz = np.exp(dice.uniform(np.log(90.0), np.log(3000.0), 24))
    t = np.arange(round(0.06 * rate)) / rate
    waves = np.sin(2 * np.pi * hz[:, None] * t + dice.uniform(0, 2 * np.pi, 24)[:, None])
    sound = np.sum(waves * np.exp(-t * (60.0 + hz[:, None] / 14.0)), axis=0)
    fade = np.cos(np.linspace(0.0, np.pi / 2, len(t))) ** 2
    return np.asarray(sound * fade * 0.0011, dtype=np.float32)


def _damp(note: Samples, at: int, midi: int, rate: int) -> None:
    """Let the damper fall at sample ``at``; the highest strings have none and only fade out with the note."""
    tail = len(note) - at
    if tail <= 0:
        return
    t = np.linspace(0.0, 1.0, tail, dtype=np.float32)
    pull = 1.5 if midi >= 90 else 5.0
    note[at:] *= np.exp(-pull * t) * np.cos(t * np.float32(np.pi / 2)) ** 2
    note[-1] = 0.0


def _within(midi: int) -> int:
    while midi < 12:
        midi += 12
    while midi > 115:
        midi -= 12
    return midi
