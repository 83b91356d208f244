"""The sung example's tone and the metronome's click."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tutor.sound.piano import loudness, summed
from tutor.sound.ports import RATE, Samples

# Centre and width in hertz and level in decibels of a dark open vowel (rounded from textbook tables, recalled).
_FORMANTS = ((620.0, 110.0, 0.0), (1050.0, 130.0, -5.0), (2600.0, 260.0, -17.0), (3300.0, 320.0, -19.0))


class Singer:
    """A plain sustained tone with the colour of a vowel and no vibrato, easy to match with the voice."""

    name = "sung tone"

    def note(self, midi: int, held_s: float, velocity: float, rate: int = RATE) -> Samples:
        """One sustained note; begins and ends at zero. See `tutor.sound.piano.Piano.note`."""
        whole = max(held_s, 0.05) + 0.05
        count = round(whole * rate)
        wave = _cycles(midi, rate)
        tone = np.resize(wave, count) if count <= len(wave) else _long(midi, count, rate)
        out = tone * np.float32(loudness(velocity))
        rise, fall = min(round(0.035 * rate), count // 3), min(round(0.07 * rate), count // 2)
        out[:rise] *= np.sin(np.linspace(0.0, np.pi / 2, rise, dtype=np.float32)) ** 2
        out[-fall:] *= np.cos(np.linspace(0.0, np.pi / 2, fall, dtype=np.float32)) ** 2
        out[-1] = 0.0
        return np.asarray(out, dtype=np.float32)


class Click:
    """The metronome: a short wooden tick, higher on C6 (accent) than on C5."""

    name = "click"

    def note(self, midi: int, held_s: float, velocity: float, rate: int = RATE) -> Samples:
        """One tick; ``held_s`` is ignored."""
        tick = _tick(midi >= 84, rate)
        return np.asarray(tick * np.float32(loudness(velocity)), dtype=np.float32)


@lru_cache(maxsize=64)
def _cycles(midi: int, rate: int) -> Samples:
    """Four seconds of the sustained tone; do not write into it."""
    tone = _long(midi, 4 * rate, rate)
    tone.setflags(write=False)
    return tone


def _long(midi: int, count: int, rate: int) -> Samples:
    first = 440.0 * 2.0 ** ((midi - 69) / 12)
    n = np.arange(1, max(2, int(5200.0 / first) + 1), dtype=np.float64)
    hz = n * first
    # as singers do, the lowest resonance follows a high note upwards
    lift = max(1.0, 1.05 * first / _FORMANTS[0][0])
    shape = np.zeros_like(hz)
    for centre, width, decibels in _FORMANTS:
        peak = centre * lift if centre < 1200 else centre
        shape += 10 ** (decibels / 20) / np.sqrt(1.0 + ((hz - peak) / (1.4 * width)) ** 2)
    level = shape / n**0.9
    # a held note is then as loud as a triad of the piano (tests/sound/test_synth.py)
    level *= 0.032 / np.sqrt(0.5 * np.sum(level**2))
    phase = np.exp(1j * np.pi * 0.61803399 * n * n)
    return summed(2j * np.pi * hz / rate, level * phase, count)


@lru_cache(maxsize=8)
def _tick(accent: bool, rate: int) -> Samples:
    t = np.arange(round(0.06 * rate)) / rate
    hz = 1760.0 if accent else 1175.0
    sound = np.sin(2 * np.pi * hz * t) * np.exp(-t * 110) + 0.4 * np.sin(2 * np.pi * 2.76 * hz * t) * np.exp(-t * 220)
    rise = round(0.001 * rate)
    sound[:rise] *= np.linspace(0.0, 1.0, rise)
    sound *= np.cos(np.linspace(0.0, np.pi / 2, len(t))) ** 2 * (0.24 if accent else 0.17)
    return np.asarray(sound, dtype=np.float32)
