"""Phrases to samples, pure.

Any window of a phrase can be rendered by itself and fits its neighbours to the sample, so playing can start with
the first quarter of a second while the rest is still being made.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from tutor.music.phrase import Line, Phrase
from tutor.sound.piano import Piano
from tutor.sound.ports import RATE, Clip, Samples
from tutor.sound.tones import Click, Singer

CEILING = 0.7
"""No sample passes this (3 dB under full scale): the level is limited for the sake of the ears."""
TAIL_S = 0.4
"""What is rendered after the last note, so that it can ring out."""

_STEP = 64
_REACH = 24
_MARGIN = _STEP * (2 * _REACH + 2)


class Timbre(Protocol):
    """Something that turns a note into sound."""

    name: str
    """Shown in Setup."""

    def note(self, midi: int, held_s: float, velocity: float, rate: int = RATE) -> Samples:
        """One note, beginning and ending at zero; it may ring on after ``held_s``."""


PIANO: Timbre = Piano()
SINGER: Timbre = Singer()
CLICK: Timbre = Click()


@dataclass(frozen=True, slots=True)
class Sounds:
    """Which timbre plays which line."""

    piano: Timbre = PIANO
    """Both hands of the pianist."""
    voice: Timbre = SINGER
    """The sung line."""
    click: Timbre = CLICK
    """The metronome."""

    def of(self, line: Line) -> Timbre:
        """The timbre of a line."""
        if line == "voice":
            return self.voice
        return self.click if line == "click" else self.piano


SOUNDS = Sounds()
"""Piano for the hands, a sustained tone for the voice."""
ALL_PIANO = Sounds(voice=PIANO)
"""The voice's line on the piano too."""


@dataclass(frozen=True, slots=True)
class Event:
    """A note on the way to the loudspeaker."""

    at: int
    """Start, samples."""
    held_s: float
    """Seconds the key is held."""
    midi: int
    """MIDI note number."""
    velocity: float
    """Loudness, 0 to 1."""
    line: Line
    """Who has it."""


class Timeline:
    """Events in order, of which any window can be mixed.

    Args:
        events: in any order.
        rate: samples a second.
        timbre: which timbre plays which line.
    """

    def __init__(self, events: Iterable[Event], rate: int = RATE, timbre: Sounds = SOUNDS) -> None:
        self.events = tuple(sorted(events, key=lambda e: e.at))
        self.rate = rate
        self.timbre = timbre
        self._starts = np.array([e.at for e in self.events], dtype=np.int64)
        # every timbre has fallen silent within a second of the key
        self._ends = np.array([e.at + round((e.held_s + 1.0) * rate) for e in self.events], dtype=np.int64)

    def mix(self, begin: int, end: int) -> Samples:
        """Samples ``begin`` to ``end``, not yet limited."""
        out = np.zeros(end - begin, dtype=np.float32)
        for index in np.flatnonzero((self._starts < end) & (self._ends > begin)):
            event = self.events[index]
            # a note that goes on beyond the window is made no longer than the window needs
            held_s = min(event.held_s, (end - event.at) / self.rate + 0.1)
            note = self.timbre.of(event.line).note(event.midi, held_s, event.velocity, self.rate)
            first, last = max(event.at, begin), min(event.at + len(note), end)
            if first < last:
                out[first - begin : last - begin] += note[first - event.at : last - event.at]
        return out


def events_of(phrase: Phrase, rate: int = RATE, mute: Collection[Line] = ()) -> list[Event]:
    """The notes of a phrase at its own tempo."""
    beat_s = 60.0 / phrase.bpm
    return [
        Event(round(t.onset_quarters * beat_s * rate), t.duration_quarters * beat_s, t.midi, t.velocity, t.line)
        for t in phrase.tones
        if t.line not in mute
    ]


def render(
    phrase: Phrase,
    *,
    rate: int = RATE,
    timbre: Sounds = SOUNDS,
    mute: Collection[Line] = (),
    gain: float = 1.0,
) -> Clip:
    """Turn a whole phrase into sound.

    Args:
        phrase: what to play, at its own tempo.
        rate: samples a second.
        timbre: which timbre plays which line.
        mute: lines left out; the length does not change.
        gain: loudness, 0 to 1.

    Returns:
        Mono sound within ±`CEILING`, from the phrase's beginning to `TAIL_S` after its last note.
    """
    count = length(phrase, rate)
    return Clip(window(Timeline(events_of(phrase, rate, mute), rate, timbre), 0, count, gain), rate)


def length(phrase: Phrase, rate: int = RATE) -> int:
    """How many samples `render` gives for a phrase."""
    return round((phrase.length_s + TAIL_S) * rate) if phrase.tones else 0


class Mixable(Protocol):
    """Anything of which a window can be mixed."""

    def mix(self, begin: int, end: int) -> Samples:
        """Samples ``begin`` to ``end``, not yet limited."""


def window(timeline: Mixable, start: int, stop: int, gain: float = 1.0) -> Samples:
    """Limited samples ``start`` to ``stop``: the same to the sample, wherever the cuts lie."""
    begin = (start - _MARGIN) // _STEP * _STEP
    end = -((-stop - _MARGIN) // _STEP) * _STEP
    mix = timeline.mix(begin, end)
    if gain != 1.0:
        mix = mix * np.float32(min(max(gain, 0.0), 1.0))
    return limit(mix)[start - begin : stop - begin]


def limit(samples: Samples, ceiling: float = CEILING) -> Samples:
    """Turn loud moments down, smoothly and ahead of time, so that no sample passes the ceiling.

    The gain of a moment depends only on some 30 ms to either side, so windows that overlap by that much agree.
    """
    if not len(samples) or float(np.max(np.abs(samples))) <= ceiling:
        return samples
    steps = -(-len(samples) // _STEP)
    peaks = np.max(np.abs(np.pad(samples, (0, steps * _STEP - len(samples)))).reshape(steps, _STEP), axis=1)
    wanted = ceiling / np.maximum(np.pad(peaks, _REACH + 1, mode="edge"), ceiling)
    windows = np.lib.stride_tricks.sliding_window_view(wanted, 2 * _REACH + 1)
    lowest = np.pad(windows.min(axis=1), _REACH - 1, mode="edge")
    bell = np.hanning(2 * _REACH + 1)[1:-1]
    gains = np.convolve(lowest, bell / bell.sum(), mode="valid")
    curve = np.interp(np.arange(len(samples)) / _STEP - 0.5, np.arange(len(gains)) - 1.0, gains)
    return np.clip(samples * curve, -ceiling, ceiling).astype(np.float32)
