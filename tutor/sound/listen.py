"""Samples to what was sung: live pitch, and a whole take cut into notes. Pure; nothing is kept."""

from __future__ import annotations

import numpy as np

from tutor.music.take import SungNote, Take, TrackPoint
from tutor.sound.cut import cut
from tutor.sound.live import LivePitch
from tutor.sound.meter import Level, gate_db, level
from tutor.sound.ports import RATE, Samples
from tutor.sound.track import follow, level_db

__all__ = ["JUST_CENTS", "Level", "LivePitch", "cents", "just_target", "level", "problem", "take"]


def problem(samples: Samples, noise_db: float = -70.0, rate: int = RATE) -> str:
    """Why a recording cannot be judged: 'no input', 'too quiet', 'clipping'; empty when it can.

    Args:
        samples: mono, shape (n,).
        noise_db: level of the quiet room, from `tutor.sound.calibrate.noise_floor`.
        rate: samples a second.
    """
    whole = level(samples)
    if whole.dead:
        return "no input"
    step = max(1, rate // 20)
    count = len(samples) // step
    loud = level_db(samples[: count * step].reshape(count, step)) if count else np.array([whole.rms_db])
    if float(np.percentile(loud, 95)) < gate_db(noise_db):
        return "too quiet"
    return "clipping" if whole.clipped > 0.002 else ""


def take(samples: Samples, rate: int = RATE, *, noise_db: float = -70.0) -> Take:
    """Judge a whole take.

    Args:
        samples: what the microphone heard, mono, shape (n,).
        rate: samples a second.
        noise_db: level of the quiet room, decibels below full scale.

    Returns:
        Pitch every 10 ms and the notes cut from it; with a `problem` there is a track as far as it goes.
    """
    trouble = problem(samples, noise_db, rate)
    if trouble in ("no input", "too quiet"):
        return Take(problem=trouble)
    at, hertz, clarity, loud = follow(samples, rate)
    hertz = np.where(loud < gate_db(noise_db), 0.0, hertz)
    track = tuple(
        TrackPoint(float(t), float(f), float(min(max(c, 0.0), 1.0))) for t, f, c in zip(at, hertz, clarity, strict=True)
    )
    return Take(track, cut(hertz, loud), trouble)


def cents(note: SungNote, target_midi: float) -> float:
    """How far a sung note lies from a target, in cents; sharp is positive."""
    return 100.0 * (note.midi - target_midi)


JUST_CENTS = (0.0, 111.731, 203.910, 315.641, 386.314, 498.045, 590.224, 701.955, 813.686, 884.359, 1017.596, 1088.269)
"""Just intervals above a tonic, by semitone: 16/15, 9/8, 6/5, 5/4, 4/3, 45/32, 3/2, 8/5, 5/3, 9/5, 15/8."""


def just_target(midi: int, tonic: int) -> float:
    """A note's just tuning above a tempered tonic, as a fractional MIDI number.

    Args:
        midi: the note.
        tonic: any MIDI number of the tonic's pitch class.
    """
    octaves, step = divmod(midi - tonic, 12)
    return tonic + 12 * octaves + JUST_CENTS[step] / 100.0
