"""Notes in samples, of which any window can be mixed.

Kept in columns: a five-minute song is some thousand notes, and starting at any bar of it must feel immediate.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tutor.music.phrase import Line, Phrase
from tutor.sound.ports import RATE

LINES: tuple[Line, ...] = ("voice", "upper", "lower", "click")
"""Lines by their number in the columns."""


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


@dataclass(frozen=True, slots=True)
class Notes:
    """Notes in columns, each of shape (n,)."""

    at: NDArray[np.float64]
    """Start; in quarters or in samples, as its maker says."""
    length: NDArray[np.float64]
    """Length; in quarters or in seconds."""
    midi: NDArray[np.int64]
    """MIDI note numbers."""
    velocity: NDArray[np.float64]
    """Loudness, 0 to 1."""
    line: NDArray[np.int8]
    """Numbers into `LINES`."""

    @classmethod
    def of(cls, rows: Iterable[tuple[float, float, int, float, Line]]) -> Notes:
        """From rows of (at, length, midi, velocity, line)."""
        table = [(a, b, c, d, LINES.index(e)) for a, b, c, d, e in rows]
        at, length, midi, velocity, line = zip(*table, strict=True) if table else ((), (), (), (), ())
        return cls(
            np.array(at, dtype=np.float64),
            np.array(length, dtype=np.float64),
            np.array(midi, dtype=np.int64),
            np.array(velocity, dtype=np.float64),
            np.array(line, dtype=np.int8),
        )

    @classmethod
    def of_phrase(cls, phrase: Phrase) -> Notes:
        """The notes of a phrase, in quarters."""
        return cls.of((t.onset_quarters, t.duration_quarters, t.midi, t.velocity, t.line) for t in phrase.tones)

    def where(self, mask: NDArray[np.bool_]) -> Notes:
        """The notes where the mask, shape (n,), is true."""
        return Notes(self.at[mask], self.length[mask], self.midi[mask], self.velocity[mask], self.line[mask])

    def without(self, mute: Collection[Line]) -> Notes:
        """The notes of the lines that are left."""
        return self.where(~np.isin(self.line, [LINES.index(m) for m in mute])) if mute else self

    def between(self, first: float, last: float) -> Notes:
        """Notes that sound between two places, cut to them and counted from the first."""
        inside = self.where((self.at < last) & (self.at + self.length > first + 1e-6))
        at = np.maximum(inside.at, first)
        length = np.minimum(inside.at + inside.length, last) - at
        return replace(inside, at=at - first, length=length)

    def timed(self, seconds_a_quarter: float, rate: int = RATE) -> Notes:
        """From quarters to samples (starts) and seconds (lengths)."""
        return replace(self, at=np.round(self.at * seconds_a_quarter * rate), length=self.length * seconds_a_quarter)

    def later(self, samples: float) -> Notes:
        """The same, moved."""
        return replace(self, at=self.at + samples)

    def higher(self, semitones: int) -> Notes:
        """The same, transposed; clicks stay."""
        if not semitones:
            return self
        return replace(self, midi=self.midi + np.where(self.line == LINES.index("click"), 0, semitones))

    def plus(self, other: Notes) -> Notes:
        """These and others."""
        return Notes(
            np.concatenate((self.at, other.at)),
            np.concatenate((self.length, other.length)),
            np.concatenate((self.midi, other.midi)),
            np.concatenate((self.velocity, other.velocity)),
            np.concatenate((self.line, other.line)),
        )

    def events(self) -> Iterator[Event]:
        """One by one, by their start (for notes timed in samples)."""
        for i in np.argsort(self.at, kind="stable"):
            yield self.event(int(i))

    def event(self, i: int) -> Event:
        """The note in row ``i`` (for notes timed in samples)."""
        return Event(
            int(self.at[i]),
            float(self.length[i]),
            int(self.midi[i]),
            float(self.velocity[i]),
            LINES[self.line[i]],
        )


NO_NOTES = Notes.of(())
"""No notes."""
