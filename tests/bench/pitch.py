"""How well the trackers follow a voice, beside two reference libraries, in one run.

    python -m tests.bench.pitch            all clips (about six minutes of singing)
    python -m tests.bench.pitch --quick    a fifth of them
    python -m tests.bench.pitch --seed 7   other clips of the same kind

The clips are made here, so their pitch is known exactly: a held vowel, one with vibrato and irregular cycles, one
with a slide, a consonant, and noise: first a room's even pink noise, then people talking, then a soft piano (its own
notes are followed where nobody sings: the last columns say little there). Needs librosa and praat-parselmouth for the
references; without them only our own are measured. Not a test: nothing fails here; tests/sound/test_listen.py and
tests/sound/test_rooms.py hold the limits.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.sound import vowels
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch
from tutor.sound.listen import LivePitch, take
from tutor.sound.ports import RATE, Block, Samples
from tutor.sound.synth import render
from tutor.sound.track import follow

Array = NDArray[np.floating[Any]]
Tracker = Callable[[Samples], tuple[Array, Array]]
"""Samples to times in seconds and hertz, 0 where unvoiced."""

BASES_HZ = (70.0, 98.0, 131.0, 185.0, 247.0, 330.0, 466.0, 622.0, 880.0, 1109.0)


def piano(count: int, dice: np.random.Generator) -> Array:
    """Somebody at the piano in the same room, rms 1: broken triads with a bass, a note every 0.3 s or so."""
    tones, at = [], 0.0
    while at < count / RATE:
        root = int(dice.integers(48, 60))
        for step in (-12, 0, 4, 7, 12):
            tones.append(Tone(at, 0.9, Pitch.from_midi(root + step), "upper", float(dice.uniform(0.3, 0.6))))
            at += float(dice.uniform(0.2, 0.4))
    sound = render(Phrase(tuple(tones), bpm=60)).samples[:count].astype(np.float64)
    return np.asarray(sound / sound.std())


ROOMS: tuple[tuple[str, vowels.Noise, tuple[int, ...]], ...] = (
    ("a room's even noise", vowels.room, (30, 20, 10, 0)),
    ("people talking", vowels.talk, (20, 10, 5, 0)),
    ("a soft piano", piano, (20, 10)),
)
"""Noises, with the decibels by which the voice stands above them."""


def clip(base_hz: float, vowel: str, snr_db: float, seed: int, noise: vowels.Noise = vowels.room) -> vowels.Sung:
    """One take with everything that happens in singing."""
    dice = np.random.default_rng(seed)
    off = dice.uniform(-40, 40, 2)
    steps = float(dice.choice([4, 7, -5]))
    if base_hz * 2 ** (steps / 12) > 1180:
        steps = -5.0
    if base_hz * 2 ** (steps / 12) < 66:
        steps = 4.0
    goal = base_hz * 2 ** (steps / 12)
    glide = np.concatenate((vowels.steady(base_hz, 0.2), vowels.slide(base_hz, goal, 0.5), vowels.steady(goal, 0.2)))
    wave = vowels.vibrato(
        base_hz * 2 ** (off[1] / 1200), 1.0, rate_hz=dice.uniform(4.8, 6.5), extent_cents=dice.uniform(30, 80)
    )
    consonant = vowels.hiss(0.2, dice)
    return vowels.joined(
        [
            vowels.silence(0.4),
            vowels.voiced(vowels.steady(base_hz * 2 ** (off[0] / 1200), 0.8), vowel, dice, jitter=0.001, shimmer=0.01),
            vowels.silence(0.25),
            vowels.voiced(
                wave,
                vowel,
                dice,
                jitter=0.004,
                shimmer=0.05,
                breath=0.08,
            ),
            vowels.silence(0.25),
            vowels.voiced(glide, vowel, dice, jitter=0.003),
            vowels.silence(0.1),
            (consonant, np.zeros(len(consonant))),
            vowels.silence(0.3),
        ],
        snr_db,
        dice,
        noise,
    )


def clips(snr_db: float, seed: int, vowel_set: str, noise: vowels.Noise = vowels.room) -> Iterator[vowels.Sung]:
    """Every base with every vowel at one noise level."""
    for row, base in enumerate(BASES_HZ):
        for column, vowel in enumerate(vowel_set):
            yield clip(base, vowel, snr_db, 100_000 * seed + 1000 * int(snr_db) + 10 * row + column, noise)


def live(samples: Samples) -> tuple[Array, Array]:
    """The tracker used while singing, fed with blocks of 256."""
    tracker = LivePitch()
    points = [p for at in range(0, len(samples), 256) for p in tracker.feed(Block(samples[at : at + 256], at / RATE))]
    return np.array([p.at_s for p in points]), np.array([p.hz for p in points])


def whole(samples: Samples) -> tuple[Array, Array]:
    """The tracker used for a finished take."""
    at, hertz, _, _ = follow(samples)
    return at, hertz


def pyin(samples: Samples) -> tuple[Array, Array]:
    """Probabilistic YIN of librosa."""
    import librosa

    hertz, heard, _ = librosa.pyin(samples, sr=RATE, fmin=65, fmax=1200, frame_length=2048, hop_length=512, fill_na=0.0)
    return np.arange(len(hertz)) * 512 / RATE, np.where(heard, hertz, 0.0)


def praat(samples: Samples) -> tuple[Array, Array]:
    """Autocorrelation of Praat, by parselmouth."""
    import parselmouth

    pitch = parselmouth.Sound(samples.astype(np.float64), RATE).to_pitch_ac(0.01, 65.0, pitch_ceiling=1200.0)
    return pitch.xs(), pitch.selected_array["frequency"]


TRACKERS: dict[str, Tracker] = {
    "live (ours)": live,
    "take (ours)": whole,
    "pYIN, librosa": pyin,
    "autocorrelation, Praat": praat,
}


def errors(found: tuple[Array, Array], truth: vowels.Sung) -> tuple[Array, float, float]:
    """Cents off in each frame that is surely voiced (NaN where missed); voiced and unvoiced frames judged wrongly.

    Frames within 30 ms of a border between voice and silence are left out.
    """
    grid = np.arange(round(0.05 * RATE), len(truth.truth_hz) - round(0.05 * RATE), RATE // 100)
    sung = np.concatenate(([0], np.cumsum(truth.truth_hz > 0)))
    reach = round(0.03 * RATE)
    around = sung[grid + reach] - sung[grid - reach]
    at, hertz = found
    near = np.clip(np.searchsorted(at, grid / RATE), 1, len(at) - 1)
    near -= (grid / RATE - at[near - 1]) < (at[near] - grid / RATE)
    there = np.where(np.abs(at[near] - grid / RATE) < 0.012, hertz[near], 0.0)
    voiced, silent = around == 2 * reach, around == 0
    with np.errstate(divide="ignore", invalid="ignore"):
        cents = 1200 * np.log2(np.where(there > 0, there, np.nan) / truth.truth_hz[grid])
    return cents[voiced], float(np.mean(np.isnan(cents[voiced]))), float(np.mean(there[silent] > 0))


def is_octave(cents: Array) -> NDArray[np.bool_]:
    """True where a pitch lies an octave, a twelfth or two octaves off."""
    distance = np.abs(np.abs(cents)[:, None] - np.array([1200.0, 1902.0, 2400.0]))
    return np.asarray(np.min(distance, axis=1) < 60)


def row(tracker: Tracker, takes: list[vowels.Sung]) -> str:
    """One line of the table."""
    spent = 0.0
    seen: list[tuple[Array, float, float]] = []
    for one in takes:
        start = time.process_time()
        found = tracker(one.samples)
        spent += time.process_time() - start
        seen.append(errors(found, one))
    cents = np.concatenate([c for c, _, _ in seen])
    given = cents[~np.isnan(cents)]
    close = np.abs(given) <= 50
    length = sum(len(t.samples) for t in takes) / RATE
    return (
        f"{100 * close.sum() / len(cents):6.2f} {np.mean(np.abs(given[close])):6.2f} {np.median(given[close]):6.2f} "
        f"{100 * np.mean(is_octave(given)):7.3f} {100 * np.mean(~close):6.2f} "
        f"{100 * np.mean([m for _, m, _ in seen]):7.2f} {100 * np.mean([f for _, _, f in seen]):7.2f} "
        f"{spent / length:8.4f}"
    )


def notes(seed: int) -> str:
    """How well whole takes are cut into notes: made-up melodies of every kind."""
    dice = np.random.default_rng(seed)
    wanted = found = right = 0
    off: list[float] = []
    late: list[float] = []
    for number in range(40):
        low = int(dice.integers(40, 72))
        midis = [float(low + s) for s in dice.choice([0, 2, 4, 5, 7, 9, 11, 12], 6)]
        midis = [m for i, m in enumerate(midis) if not i or m != midis[i - 1] or number % 2]
        legato = number % 2 == 0
        one = vowels.melody(midis, 0.45, vowel="aeiou"[number % 5], snr_db=25, seed=seed + number, legato=legato)
        got = take(one.samples).notes
        wanted, found = wanted + len(midis), found + len(got)
        for i, midi in enumerate(midis):
            onset = 0.3 + i * (0.45 if legato else 0.57)
            near = [n for n in got if abs(n.onset_s - onset) < 0.1 and abs(n.midi - midi) < 0.5]
            right += bool(near)
            off += [100 * abs(near[0].midi - midi)] if near else []
            late += [1000 * abs(near[0].onset_s - onset)] if near else []
    return (
        f"notes cut: {right} of {wanted} found ({found - right} too many), "
        f"pitch {np.mean(off):.2f} cents off, onset {np.mean(late):.0f} ms off"
    )


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


HEAD = "  ≤50 ct  |ct|  bias ct oct %  gross%  missed% false %  x real time"


def table(takes: list[vowels.Sung], *, ours: bool) -> None:
    """Print what each tracker made of some takes."""
    for name, tracker in list(TRACKERS.items())[: 2 if ours else None]:
        try:
            tracker(takes[0].samples)
        except ImportError:
            say(f"{name:24} not installed")
            continue
        say(f"{name:24}{row(tracker, takes)}")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--quick", action="store_true", help="one vowel instead of five")
    parser.add_argument("--ours", action="store_true", help="leave the references out")
    parser.add_argument("--seed", type=int, default=3)
    options = parser.parse_args()
    for place, noise, levels in ROOMS:
        for snr_db in levels:
            say(f"\n{place}, {snr_db} dB below the voice\n{'':24}{HEAD}")
            table(list(clips(snr_db, options.seed, "a" if options.quick else "aeiou", noise)), ours=options.ours)
    say(f"\n{notes(options.seed)}")


if __name__ == "__main__":
    main()
