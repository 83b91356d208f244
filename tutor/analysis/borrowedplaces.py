"""What sounds around a foreign note: the same letter nearby, the notes that lead to it and from it, other keys."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable

import numpy as np

from tutor.analysis.columns import SMALL, Floats
from tutor.music.pitch import FIFTHS, PitchClass
from tutor.music.scale import Key, degree_fifths
from tutor.music.table import NoteRow, NoteTable

HOME = {
    "major": frozenset(("1", "2", "3", "4", "5", "6", "7")),
    "minor": frozenset(("1", "2", "b3", "4", "5", "b6", "b7", "7")),
}
"""Degrees that are no loan; in minor the raised seventh belongs to the key."""
_ZERO = 20
"""Column of C on the line of fifths in `Scales`."""
_TONICS = range(-7, 12)
_SCALE = {
    mode: np.array([i - _ZERO in {degree_fifths(d) for d in degrees} for i in range(40)], dtype=np.float64)
    for mode, degrees in HOME.items()
}
_ALL: Floats = np.array([np.roll(_SCALE[mode], t) for t in _TONICS for mode in ("major", "minor")])
"""Membership of each spelled tone in each key, shape (keys, 40)."""
_HAVING: list[list[int]] = [np.flatnonzero(tone).tolist() for tone in _ALL.T]
"""The keys that have each tone."""


class Struck:
    """The notes of the score without its graces: where they start, how long they last and where they stop."""

    def __init__(self, table: NoteTable) -> None:
        self.rows = [n for n in table.notes if not n.grace]
        self.onset = [n.onset_quarters for n in self.rows]
        self.length: Floats = np.array([n.duration_quarters for n in self.rows], dtype=np.float64)
        self.end: Floats = np.round(np.array(self.onset, dtype=np.float64) + self.length, 6)


class Scales:
    """How well the notes of a stretch of bars lie in a key."""

    def __init__(self, table: NoteTable, struck: Struck) -> None:
        rows = struck.rows
        tones = np.array([FIFTHS[n.step] + 7 * n.alter + _ZERO for n in rows], dtype=np.int64)
        cells = (np.array([n.measure for n in rows], dtype=np.int64) + 1) * 40 + np.minimum(np.maximum(tones, 0), 39)
        bars = np.bincount(cells, struck.length, (len(table.measures) + 1) * 40)
        self.sums: Floats = np.cumsum(bars.reshape(-1, 40), axis=0)
        self.known: dict[tuple[int, int, str], tuple[float, ...]] = {}
        self.heard: dict[tuple[int, int], tuple[list[float], list[float]]] = {}

    def row(self, bar: int, home: Key, tone: PitchClass) -> tuple[float, ...]:
        """Fit of the key, gain of its parallel, gain of the best key that has the tone, share of the other third."""
        place = (bar, tone.fifths, home.name)
        if place not in self.known:
            self.known[place] = (*self._fits(bar, home, tone, 1), *self._fits(bar, home, tone, 4))
        return self.known[place]

    def _fits(self, bar: int, home: Key, tone: PitchClass, reach: int) -> tuple[float, float, float, float]:
        sound, share = self._around(bar, reach)
        tonic = home.tonic.fifths
        at = 2 * (tonic - _TONICS[0]) + (home.mode == "minor")
        if not 0 <= at < len(share):
            return 0.0, 0.0, 0.0, 0.0
        fit, parallel = share[at], share[at ^ 1]
        best = max([share[k] for k in _HAVING[min(max(tone.fifths + _ZERO, 0), 39)]], default=0.0)
        major, minor = sound[min(tonic + 4 + _ZERO, 39)], sound[max(tonic - 3 + _ZERO, 0)]
        lent = minor if home.mode == "major" else major
        third = lent / (major + minor) if major + minor > 0 else 0.5
        return fit, parallel - fit, best - fit, third

    def _around(self, bar: int, reach: int) -> tuple[list[float], list[float]]:
        """The time of each tone in the bars within reach, and the share of it that lies in each key."""
        if (bar, reach) not in self.heard:
            n = len(self.sums) - 1
            sound = self.sums[min(bar + reach + 1, n)] - self.sums[max(bar - reach, 0)]
            share = (_ALL @ sound) / max(float(sound.sum()), SMALL)
            self.heard[bar, reach] = sound.tolist(), share.tolist()
        return self.heard[bar, reach]


class Nearby:
    """The notes of the score by their letter, for what stands near."""

    def __init__(self, table: NoteTable, struck: Struck) -> None:
        self.rows = struck.rows
        self.voice = table.voice_part
        self.onset = struck.onset
        self.end: list[float] = struck.end.tolist()
        self.by_letter: dict[str, tuple[list[float], list[int]]] = {}
        self.longest = min(float(struck.length.max(initial=0.0)) + 0.01, 32.0)
        self.known: dict[float, list[int]] = {}

    def around(self, step: str, low: float, high: float) -> tuple[list[float], list[int]]:
        """Onsets and signs of the notes of a letter in a stretch of time."""
        if step not in self.by_letter:
            rows = [n for n in self.rows if n.step == step and n.duration_quarters > 0]
            self.by_letter[step] = [n.onset_quarters for n in rows], [n.alter for n in rows]
        onsets, alters = self.by_letter[step]
        place = slice(bisect_left(onsets, low - SMALL), bisect_left(onsets, high + SMALL))
        return onsets[place], alters[place]

    def sounding(self, at: float) -> list[int]:
        """MIDI numbers of the notes that sound just after an offset."""
        if at not in self.known:
            just = at + SMALL
            near = range(bisect_left(self.onset, at - self.longest), bisect_left(self.onset, just))
            self.known[at] = [self.rows[k].midi for k in near if self.end[k] > just]
        return self.known[at]


class Joints:
    """The notes that lead to others of their part and from them."""

    def __init__(self, struck: Struck) -> None:
        self.rows, self.onset = struck.rows, struck.onset
        order = np.argsort(struck.end, kind="stable")
        self.ended: list[int] = order.tolist()
        self.end: list[float] = struck.end[order].tolist()

    def before(self, note: NoteRow) -> int | None:
        """Semitones from a note to the nearest that ends where it starts; None after silence."""
        first, last = bisect_left(self.end, note.onset_quarters), bisect_right(self.end, note.onset_quarters)
        return _nearest(note, (self.rows[k] for k in self.ended[first:last]))

    def after(self, note: NoteRow) -> int | None:
        """Semitones from a note to the nearest that starts where it ends; None before silence."""
        end = note.end_quarters
        return _nearest(note, self.rows[bisect_left(self.onset, end - SMALL) : bisect_right(self.onset, end + SMALL)])


def _nearest(note: NoteRow, others: Iterable[NoteRow]) -> int | None:
    steps = [other.midi - note.midi for other in others if other.part == note.part]
    return min(steps, key=lambda d: (abs(d), d)) if steps else None
