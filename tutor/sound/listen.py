"""Samples to what was sung: live pitch, and a whole take cut into notes. Pure; nothing is kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tutor.music.take import SungNote, Take, TrackPoint
from tutor.sound.cut import cut
from tutor.sound.ports import RATE, Block, Samples
from tutor.sound.resample import resample
from tutor.sound.track import HALF_RATE, follow, halved, level_db, likeness, peak

CLEAR = 0.6
"""Live clarity from which a pitch is shown."""
SURE = 0.85
"""Live clarity from which a new pitch is believed at first sight."""
QUIET_DB = -55.0
"""Below this level nothing is taken for singing, whatever the room."""

_CLIP = 0.985
_WINDOW = 1536
_HOP = 512


@dataclass(frozen=True, slots=True)
class Level:
    """How loud the input is, for the meter and for the words beside it."""

    rms_db: float
    """Average level, decibels below full scale; -120 for silence."""
    peak_db: float
    """Highest sample, decibels below full scale."""
    clipped: float
    """Share of the samples at the limit, 0 to 1."""
    dead: bool
    """True when every sample is exactly zero: no microphone gives that, so it is switched off or refused."""


def level(samples: Samples) -> Level:
    """Measure samples, shape (n,)."""
    if not len(samples):
        return Level(-120.0, -120.0, 0.0, True)
    top = float(np.max(np.abs(samples)))
    rms = float(np.sqrt(np.mean(np.square(samples, dtype=np.float64))))
    return Level(_db(rms), _db(top), float(np.mean(np.abs(samples) >= _CLIP)), top == 0.0)


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
    if float(np.percentile(loud, 95)) < max(QUIET_DB, noise_db + 6.0):
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
    hertz = np.where(loud < max(QUIET_DB, noise_db + 6.0), 0.0, hertz)
    track = tuple(
        TrackPoint(float(t), float(f), float(min(max(c, 0.0), 1.0))) for t, f, c in zip(at, hertz, clarity, strict=True)
    )
    return Take(track, cut(hertz, loud), trouble)


class LivePitch:
    """Pitch while it is sung: feed blocks, get points.

    A point stands for the middle of the last 32 ms and is given every 512 samples (94 a second at 48 kHz), so it is
    some 16 ms old when it is given. A leap of an octave or a twelfth, and any new pitch that is not quite clear,
    must be seen twice before it is believed.

    Args:
        rate: samples a second of what is fed.
        noise_db: level of the quiet room, decibels below full scale.
    """

    def __init__(self, rate: int = RATE, *, noise_db: float = -70.0) -> None:
        self._rate = rate
        self._floor_db = max(QUIET_DB, noise_db + 6.0)
        self._buffer = np.zeros(_WINDOW, dtype=np.float32)
        self._since = 0
        self._last_hz = 0.0
        self._raw_hz = 0.0
        self.level = Level(-120.0, -120.0, 0.0, True)
        """Level of the last window."""

    def feed(self, block: Block) -> Iterator[TrackPoint]:
        """Take in a block and yield the points that are ready; `at_s` is on the stream's clock."""
        samples = resample(np.asarray(block.samples, dtype=np.float32), self._rate, RATE)
        used = 0
        while used < len(samples):
            step = min(_HOP - self._since, len(samples) - used)
            part = samples[used : used + step]
            self._buffer = np.concatenate((self._buffer[step:], part))
            used += step
            self._since += step
            if self._since == _HOP:
                self._since = 0
                yield self._point(block.at_s + (used - _WINDOW / 2) / RATE)

    def _point(self, at_s: float) -> TrackPoint:
        window = self._buffer
        self.level = level(window)
        if self.level.rms_db < self._floor_db:
            self._last_hz = self._raw_hz = 0.0
            return TrackPoint(at_s, 0.0, 0.0)
        x = halved(window - window.mean())
        hertz, clarity = peak(likeness(x[None])[0], HALF_RATE)
        if clarity < CLEAR:
            self._raw_hz = 0.0
            return TrackPoint(at_s, 0.0, clarity)
        if not self._believed(hertz, clarity):
            return TrackPoint(at_s, 0.0, clarity)
        return TrackPoint(at_s, hertz, clarity)

    def _believed(self, hertz: float, clarity: float) -> bool:
        """Whether a pitch is shown at once; a doubtful one only when the frame before it said the same."""
        before, self._raw_hz = self._raw_hz, hertz
        if _octaves(hertz, before) < 1 / 12:
            self._last_hz = hertz
            return True
        leap = _octaves(hertz, self._last_hz)
        doubtful = clarity < SURE or any(abs(leap - octaves) < 0.06 for octaves in (1.0, 1.585, 2.0))
        if not doubtful:
            self._last_hz = hertz
        return not doubtful


def _octaves(hertz: float, other_hz: float) -> float:
    """Distance in octaves; large when there is nothing to compare with."""
    return abs(float(np.log2(hertz / other_hz))) if hertz > 0 and other_hz > 0 else 99.0


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


def _db(value: float) -> float:
    return 20.0 * float(np.log10(max(value, 1e-6)))
