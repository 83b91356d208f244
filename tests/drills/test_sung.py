"""From sound to mark: a voice with vibrato is synthesised, heard by the listening room, and judged by the drill."""

from __future__ import annotations

import random

import numpy as np
import pytest

from tutor.practice.catalogue import drills
from tutor.practice.drill import Answer, Item, Mark, Material
from tutor.sound.listen import take
from tutor.sound.ports import RATE, Samples

SUNG = [("degrees", "sing"), ("inversions", "sing-bass"), ("bass-line", "sing"), ("sing-at-sight", "rhythms"),
        ("high-note", "leap")]  # fmt: skip


def voice(item: Item, off_semitones: float = 0.0) -> Samples:
    """The wanted notes sung with harmonics, vibrato, soft edges and a little noise."""
    second = 60.0 / item.payload["bpm"]
    wanted = item.payload["wanted"]
    length = max(o + d for _, o, d in wanted) * second + 0.6
    out = np.zeros(int(length * RATE), np.float32)
    for midi, onset, duration in wanted:
        t = np.arange(int((duration * second - 0.06) * RATE)) / RATE
        vibrato = 0.25 * np.sin(2 * np.pi * 5.5 * t) * np.clip((t - 0.2) * 4, 0, 1)
        phase = 2 * np.pi * np.cumsum(440 * 2 ** ((midi + off_semitones + vibrato - 69) / 12)) / RATE
        tone = sum(np.sin(k * phase) / k for k in range(1, 8)) * 0.15
        edges = np.minimum(1, np.minimum(t / 0.03, (t[-1] - t) / 0.04))
        start = int((onset * second + 0.3) * RATE)
        out[start : start + len(t)] += (tone * edges).astype(np.float32)
    return out + np.random.default_rng(1).normal(0, 0.0005, len(out)).astype(np.float32)


def judged(name: str, skill: str, seed: int, off_semitones: float) -> Mark:
    drill = next(d for d in drills() if d.name == name)
    item = drill.item(skill, Material(), random.Random(seed), level=0.5)
    return drill.mark(item, Answer(take=take(voice(item, off_semitones))))


@pytest.mark.parametrize(("name", "skill"), SUNG)
@pytest.mark.parametrize("seed", [1, 2])
def test_in_tune_earns_all(name: str, skill: str, seed: int) -> None:
    assert judged(name, skill, seed, 0.0).correct


@pytest.mark.parametrize(("name", "skill"), SUNG)
def test_a_semitone_low_earns_little(name: str, skill: str) -> None:
    mark = judged(name, skill, 1, -1.0)
    assert mark.credit < 0.5
    assert len(mark.evidence) == 2
