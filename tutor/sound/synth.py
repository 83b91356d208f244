"""Phrases to samples, pure.

Any window of a phrase can be rendered by itself and fits its neighbours to the sample, so playing can start with
the first quarter of a second while the rest is still being made.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from tutor.music.phrase import Line, Phrase
from tutor.sound.piano import Piano
from tutor.sound.ports import RATE, Clip, Samples
from tutor.sound.timeline import Notes
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


class Timeline:
    """Notes on the way to the loudspeaker, of which any window can be mixed.

    Args:
        notes: timed in samples.
        rate: samples a second.
        timbre: which timbre plays which line.
    """

    def __init__(self, notes: Notes, rate: int = RATE, timbre: Sounds = SOUNDS) -> None:
        self.notes = notes
        self.rate = rate
        self.timbre = timbre
        # every timbre has fallen silent within a second of the key
        self._ends = notes.at + (notes.length + 1.0) * rate

    def mix(self, begin: int, end: int) -> Samples:
        """Samples ``begin`` to ``end``, not yet limited."""
        out = np.zeros(end - begin, dtype=np.float32)
        for index in np.flatnonzero((self.notes.at < end) & (self._ends > begin)):
            event = self.notes.event(int(index))
            # a note that goes on beyond the window is made no longer than the window needs
            held_s = min(event.held_s, (end - event.at) / self.rate + 0.1)
            note = self.timbre.of(event.line).note(event.midi, held_s, event.velocity, self.rate)
            first, last = max(event.at, begin), min(event.at + len(note), end)
            if first < last:
                out[first - begin : last - begin] += note[first - event.at : last - event.at]
        return out


def timeline_of(phrase: Phrase, rate: int = RATE, timbre: Sounds = SOUNDS, mute: Collection[Line] = ()) -> Timeline:
    """A phrase at its own tempo."""
    return Timeline(Notes.of_phrase(phrase).without(mute).timed(60.0 / phrase.bpm, rate), rate, timbre)


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
    return Clip(window(timeline_of(phrase, rate, timbre, mute), 0, count, gain), rate)


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
