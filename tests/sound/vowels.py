"""Sung vowels with exactly known pitch, made by adding harmonics under a vowel's resonances."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.sound.ports import RATE, Samples

Array = NDArray[np.floating[Any]]

VOWELS = {
    "a": (730, 1090, 2440, 3400),
    "e": (500, 1800, 2500, 3500),
    "i": (300, 2200, 3000, 3600),
    "o": (500, 850, 2500, 3400),
    "u": (320, 800, 2300, 3300),
}
"""Resonances in hertz, rounded from textbook tables (recalled)."""
_WIDTHS = (80.0, 90.0, 130.0, 170.0)


def steady(hz: float, seconds: float) -> Array:
    """A pitch curve that holds one pitch; hertz per sample."""
    return np.full(round(seconds * RATE), hz)


def vibrato(hz: float, seconds: float, *, rate_hz: float = 5.5, extent_cents: float = 50.0) -> Array:
    """A pitch curve with vibrato, symmetrical in cents."""
    t = np.arange(round(seconds * RATE)) / RATE
    return np.asarray(hz * 2 ** (extent_cents / 1200 * np.sin(2 * np.pi * rate_hz * t)))


def slide(start_hz: float, stop_hz: float, seconds: float) -> Array:
    """A pitch curve that glides, even in cents."""
    t = np.linspace(0.0, 1.0, round(seconds * RATE))
    return np.asarray(start_hz * (stop_hz / start_hz) ** (0.5 - 0.5 * np.cos(np.pi * t)))


def resonance(hz: Array, vowel: str, middle_hz: float) -> NDArray[np.complex128]:
    """Complex gain of the vocal tract at given frequencies; the first resonance follows a high voice up."""
    places = [float(f) for f in VOWELS[vowel]]
    places[0] = max(places[0], 1.05 * middle_hz)
    places[1] = max(places[1], 1.3 * places[0])
    gain = np.ones(hz.shape, dtype=np.complex128)
    for place, width in zip(places, _WIDTHS, strict=True):
        gain *= place**2 / (place**2 - hz**2 + 1j * width * hz)
    return gain


def sung(
    curve: Array,
    vowel: str,
    dice: np.random.Generator,
    *,
    jitter: float = 0.002,
    shimmer: float = 0.03,
    breath: float = 0.03,
) -> Array:
    """A vowel on a pitch curve, rms 1, with a 25 ms attack and a 35 ms release.

    Args:
        curve: hertz per sample at `RATE`.
        vowel: one of `VOWELS`.
        dice: chance.
        jitter: irregularity of the period, as a share of the pitch.
        shimmer: irregularity of the loudness from cycle to cycle.
        breath: breath noise against the tone.
    """
    count = len(curve)
    cycle = np.cumsum(curve) / RATE
    knots = np.arange(int(cycle[-1]) + 3)
    curve = curve * (1 + np.interp(cycle, knots, dice.normal(0, jitter, len(knots))))
    cycle = np.cumsum(curve) / RATE
    middle = float(np.median(curve))
    out = np.zeros(count)
    for n in range(1, max(3, int(5000 / middle)) + 1):
        hz = n * curve
        grid = np.linspace(hz.min(), hz.max() + 1e-6, 64)
        gain = resonance(grid, vowel, middle) / n**1.4
        size = np.interp(hz, grid, np.abs(gain))
        turn = np.interp(hz, grid, np.unwrap(np.angle(gain)))
        out += size * np.cos(2 * np.pi * n * cycle + turn) * (hz < 0.45 * RATE)
    out *= 1 + np.interp(cycle, knots, dice.normal(0, shimmer, len(knots)))
    out /= out.std()
    noise = np.fft.rfft(dice.normal(size=count))
    shaped = np.fft.irfft(noise * np.abs(resonance(np.fft.rfftfreq(count, 1 / RATE), vowel, middle)), count)
    out += breath * shaped / shaped.std() * (0.6 + 0.4 * np.cos(2 * np.pi * cycle))
    rise, fall = round(0.025 * RATE), round(0.035 * RATE)
    out[:rise] *= np.sin(np.linspace(0, np.pi / 2, rise)) ** 2
    out[-fall:] *= np.cos(np.linspace(0, np.pi / 2, fall)) ** 2
    return out


def hiss(seconds: float, dice: np.random.Generator) -> Array:
    """An unvoiced consonant."""
    count = round(seconds * RATE)
    noise = np.diff(dice.normal(size=count + 1))
    return np.asarray(0.3 * noise / noise.std() * np.hanning(count))


def room(count: int, dice: np.random.Generator) -> Array:
    """Pink noise, rms 1."""
    spectrum = np.fft.rfft(dice.normal(size=count))
    spectrum /= np.sqrt(np.maximum(np.arange(len(spectrum)), max(1.0, 20 * count / RATE)))
    noise = np.fft.irfft(spectrum, count)
    return np.asarray(noise / noise.std())


def talk(count: int, dice: np.random.Generator, talkers: int = 6) -> Array:
    """People talking nearby, rms 1: noises of the spectrum of speech that swell and fade by syllables.

    Level to 500 Hz, then 9 dB down an octave; four syllables a second (rounded from textbooks, recalled).
    """
    hz = np.fft.rfftfreq(count, 1 / RATE)
    shape = np.minimum(1.0, (np.maximum(hz, 1.0) / 500.0) ** -1.5) * (hz > 90.0)
    out = np.zeros(count)
    for _ in range(talkers):
        noise = np.fft.irfft(np.fft.rfft(dice.normal(size=count)) * shape, count)
        swell = np.fft.irfft(np.fft.rfft(dice.normal(size=count)) * ((hz > 1.0) & (hz < 6.0)), count)
        out += noise * np.maximum(swell / swell.std(), 0.0) ** 1.5
    return np.asarray(out / out.std())


@dataclass(frozen=True, slots=True)
class Sung:
    """A made-up take and the truth about it."""

    samples: Samples
    """Mono at `RATE`; the voice at about -22 dB below full scale."""
    truth_hz: Array
    """Pitch per sample, 0 where nothing is voiced."""


Noise = Callable[[int, np.random.Generator], Array]
"""Makes so many samples of noise, rms 1."""


def joined(parts: list[tuple[Array, Array]], snr_db: float, dice: np.random.Generator, noise: Noise = room) -> Sung:
    """Parts (sound, truth) one after the other in a room with noise, pink unless told otherwise."""
    sound = np.concatenate([p[0] for p in parts])
    truth = np.concatenate([p[1] for p in parts])
    sound = sound + noise(len(sound), dice) * 10 ** (-snr_db / 20)
    return Sung((0.08 * sound).astype(np.float32), truth)


def silence(seconds: float) -> tuple[Array, Array]:
    """Nothing, for a while."""
    nothing = np.zeros(round(seconds * RATE))
    return nothing, nothing


def voiced(curve: Array, vowel: str, dice: np.random.Generator, **more: float) -> tuple[Array, Array]:
    """A sung vowel and its truth."""
    return sung(curve, vowel, dice, **more), curve


def melody(
    midis: list[float], seconds: float, *, vowel: str = "a", snr_db: float = 30.0, seed: int = 1, legato: bool = False
) -> Sung:
    """Notes sung in turn, each ``seconds`` long; legato on one breath with 60 ms slides, else 120 ms apart."""
    dice = np.random.default_rng(seed)
    hz = [440 * 2 ** ((m - 69) / 12) for m in midis]
    if legato:
        curves = []
        for i, pitch in enumerate(hz):
            curves.append(steady(pitch, seconds - 0.06))
            curves.append(slide(pitch, hz[i + 1], 0.06) if i + 1 < len(hz) else steady(pitch, 0.06))
        return joined([silence(0.3), voiced(np.concatenate(curves), vowel, dice), silence(0.3)], snr_db, dice)
    parts = [silence(0.3)]
    for pitch in hz:
        parts += [voiced(steady(pitch, seconds), vowel, dice), silence(0.12)]
    return joined([*parts, silence(0.2)], snr_db, dice)
