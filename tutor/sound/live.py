"""Pitch while it is sung."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from tutor.music.take import TrackPoint
from tutor.sound.denoise import CLEAN_DB, NOISY_DB, PRESENT, Sieve, noise_of, over_noise_db
from tutor.sound.meter import NOTHING, gate_db, level
from tutor.sound.partials import lacking
from tutor.sound.ports import RATE, Block
from tutor.sound.resample import resample
from tutor.sound.track import HALF_RATE, halved, likeness, peak, peaks

CLEAR = 0.6
"""Clarity from which a pitch is shown."""
SURE = 0.85
"""Clarity from which a new pitch is believed at first sight."""

_WINDOW = 1536
_LONG = 2048
_HOP = 512
_HISTORY = 100
_LEARNT = 8
_NEAR = 0.08
_HIGHER = 0.02
_BORROWED = 0.15
_UNDOUBTED = 0.97
_LIFTED = 0.5
_MISSING = 0.75
_FORGET_DB = 0.02
"""So much of the voice's level over the noise is forgotten every hop: 1.9 dB a second."""
_ABOVE = np.array([0.0, 1.0, 2.0])


class Room:
    """What a room sounds like beneath a voice, learnt from the last two seconds that were not clearly sung."""

    def __init__(self) -> None:
        half = _LONG // 2
        self._bell = np.hanning(half + 1)[:-1]
        self._band_hz = HALF_RATE / half
        self._past = np.zeros((_HISTORY, half // 2 + 1))
        self._heard = self._count = 0
        self._noise: NDArray[np.float64] | None = None
        self._sieve = Sieve(half // 2 + 1, self._band_hz)
        self._gains = np.ones(half // 2 + 1)
        self.over_db = 99.0
        """The last moment against the noise; large until the noise is known."""
        self.presence = 99.0
        """See `tutor.sound.denoise.Sieve`; large until the noise is known."""

    def hear(self, half: NDArray[np.float32], *, learn: bool) -> None:
        """Take in the latest `_LONG` samples, at half the rate.

        Args:
            half: the samples.
            learn: whether they may be noise.
        """
        spectrum = np.fft.rfft(half * self._bell)
        power = spectrum.real**2 + spectrum.imag**2
        self._heard += 1
        # every second window is enough to learn from: they overlap
        if learn and self._heard % 2 == 0:
            self._past[self._count % _HISTORY] = power
            self._count += 1
            if self._count % _LEARNT == 0:
                self._noise = noise_of(self._past[: min(self._count, _HISTORY)], self._band_hz)
        if self._noise is not None:
            self._gains = self._sieve.gains(power, self._noise)
            self.presence = self._sieve.presence
            self.over_db = float(over_noise_db(power, self._noise))

    def without(self, half: NDArray[np.float32]) -> NDArray[np.float64]:
        """The samples given to `hear`, without the noise."""
        count = len(half)
        # twice as long, so that the end does not run into the beginning
        spectrum = np.fft.rfft(half, 2 * count)
        gains = np.interp(np.arange(len(spectrum)) / 2, np.arange(len(self._gains)), self._gains)
        return np.asarray(np.fft.irfft(spectrum * gains, 2 * count)[:count])


class LivePitch:
    """Pitch while it is sung: feed blocks, get points.

    A point stands for the middle of the last 32 ms (43 ms where it is noisy) and is given every 512 samples (94 a
    second at 48 kHz), so it is some 16 (21) ms old when it is given. A leap of an octave or a twelfth, and any new
    pitch that is not quite clear, must be seen twice before it is believed; in noise four times.

    Args:
        rate: samples a second of what is fed.
        noise_db: level of the quiet room, decibels below full scale.
    """

    def __init__(self, rate: int = RATE, *, noise_db: float = -70.0) -> None:
        self._rate = rate
        self._floor_db = gate_db(noise_db)
        self._buffer = np.zeros(_LONG, dtype=np.float32)
        self._since = 0
        self._room = Room()
        self._top_db = -99.0
        self._last_hz = 0.0
        self._raw_hz = 0.0
        self._same = 0
        self._ago = 0
        self.level = NOTHING
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
                yield self._point(block.at_s + used / RATE)

    def _point(self, end_s: float) -> TrackPoint:
        self.level = level(self._buffer[-_WINDOW:])
        long = halved(self._buffer - self._buffer.mean())
        short = long[-_WINDOW // 2 :]
        curve = likeness((short - short.mean())[None])[0]
        hertz, clarity = peak(curve, HALF_RATE)
        # what repeats itself exactly is no noise: a long note would else be taken for the room
        self._room.hear(long, learn=clarity < SURE)
        # what hardly sticks out of the room must be seen twice, with all partials of its own
        there = self._room.presence >= PRESENT
        if self.level.rms_db < self._floor_db or not (there or self._room.over_db < NOISY_DB):
            return self._nothing(end_s, 0.0)
        self._top_db -= _FORGET_DB
        if self._room.over_db < NOISY_DB and self._top_db < CLEAN_DB:
            hertz, clarity, missing = self._best(self._room.without(long), long)
            believed = clarity >= CLEAR and self._seen_enough(hertz, missing)
            believed = believed and (there or (self._same > 1 and missing == 0.0))
            end_s -= (_LONG - _WINDOW) / 2 / RATE
        else:
            hertz, clarity = self._lifted(hertz, clarity, curve, long)
            believed = clarity >= CLEAR and self._believed(hertz, clarity)
            if believed and self._room.over_db < 99.0:
                self._top_db = max(self._top_db, self._room.over_db)
        if not believed:
            return self._nothing(end_s, clarity, hertz if clarity >= CLEAR else 0.0)
        self._last_hz, self._raw_hz, self._ago = hertz, hertz, 0
        return TrackPoint(end_s - _WINDOW / 2 / RATE, hertz, clarity)

    def _nothing(self, end_s: float, clarity: float, raw_hz: float = 0.0) -> TrackPoint:
        """No pitch is shown; the last one is forgotten after a third of a second."""
        self._raw_hz = raw_hz
        self._ago += 1
        if self._ago > 30:
            self._last_hz = 0.0
        return TrackPoint(end_s - _WINDOW / 2 / RATE, 0.0, clarity)

    def _believed(self, hertz: float, clarity: float) -> bool:
        """Whether a pitch is shown at once; a doubtful one only when the frame before it said the same."""
        self._same = 1
        if _octaves(hertz, self._raw_hz) < 1 / 12:
            return True
        return clarity >= SURE and not _multiple(hertz, self._last_hz)

    @staticmethod
    def _lifted(
        hertz: float, clarity: float, curve: NDArray[np.float64], heard: NDArray[np.float32]
    ) -> tuple[float, float]:
        """A pitch that has no partials of its own makes way for the multiple that has."""
        if not CLEAR <= clarity < _UNDOUBTED:
            return hertz, clarity
        above, height = peaks(curve, HALF_RATE)
        near = np.abs(above / hertz - np.round(above / hertz)) < 0.08
        higher = near & (above > 1.5 * hertz) & (height > 0.6 * clarity)
        if not higher.any():
            return hertz, clarity
        asked = np.concatenate(([hertz], above[higher]))
        missing = lacking(heard[None], HALF_RATE, asked[None])[0]
        best = int(np.argmin(missing))
        if missing[0] - missing[best] < _LIFTED:
            return hertz, clarity
        return float(asked[best]), float(np.concatenate(([clarity], height[higher]))[best])

    def _best(self, cleaned: NDArray[np.float64], heard: NDArray[np.float32]) -> tuple[float, float, float]:
        """In noise: of the peaks the best, with a preference for what was sung just now.

        Returns:
            Hertz, clarity, and how much its own partials are missing (see `tutor.sound.partials.lacking`).
        """
        hertz, height = peaks(likeness(cleaned[None])[0], HALF_RATE)
        if not len(hertz):
            return 0.0, 0.0, 1.0
        missing = lacking(heard[None], HALF_RATE, hertz[None])[0]
        worth = height - _HIGHER * np.log2(300.0 / hertz) - _BORROWED * missing
        if self._last_hz and self._ago < 12:
            # an octave above too: once a lower octave was taken by mistake, the way out must stay open
            away = np.log2(hertz / self._last_hz)
            worth = worth + _NEAR * (np.min(np.abs(away[:, None] - _ABOVE), axis=1) < 1 / 8)
        best = int(np.argmax(worth))
        return float(hertz[best]), float(height[best]), float(missing[best])

    def _seen_enough(self, hertz: float, missing: float) -> bool:
        """In noise: near what was sung just now it is believed at once, else when seen twice; a multiple four times.

        A new pitch that has hardly any partials of its own is not believed at all.
        """
        self._same = self._same + 1 if _octaves(hertz, self._raw_hz) < 1 / 10 else 1
        if self._ago < 12 and _octaves(hertz, self._last_hz) < 1 / 8:
            return True
        return missing < _MISSING and self._same >= (4 if _multiple(hertz, self._last_hz) else 2)


def _multiple(hertz: float, other_hz: float) -> bool:
    """Whether two pitches lie an octave, a twelfth or two octaves apart."""
    return any(abs(_octaves(hertz, other_hz) - octaves) < 0.06 for octaves in (1.0, 1.585, 2.0))


def _octaves(hertz: float, other_hz: float) -> float:
    """Distance in octaves; large when there is nothing to compare with."""
    return abs(float(np.log2(hertz / other_hz))) if hertz > 0 and other_hz > 0 else 99.0
