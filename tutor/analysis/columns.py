"""The NoteTable as numpy columns, and small look-ups that every finder shares."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.findings import ChordSpan, KeySpan
from tutor.errors import ScoreError
from tutor.music.pitch import SEMITONES, PitchClass
from tutor.music.quality import Quality, tones_of
from tutor.music.scale import degree_named
from tutor.music.table import NoteRow, NoteTable, OrderRow

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_Number = TypeVar("_Number", np.int64, np.float64)

SMALL = 1e-6
"""Positions closer than this are the same (they are rounded to six decimals)."""


@dataclass(frozen=True, eq=False)
class Line:
    """One note at a time: the sung line, in written order: as columns, and as lists for a look at single notes."""

    rows: tuple[NoteRow, ...]
    onset: Floats
    """Starts in quarters, shape (n,)."""
    end: Floats
    """Ends in quarters, shape (n,); never beyond the next start."""
    midi: Ints
    """MIDI numbers, shape (n,)."""

    def __len__(self) -> int:
        return len(self.rows)

    @cached_property
    def held(self) -> Floats:
        """Lengths in quarters, shape (n,)."""
        return self.end - self.onset

    @cached_property
    def onsets(self) -> list[float]:
        """What `onset` holds."""
        return list(self.onset.tolist())

    @cached_property
    def ends(self) -> list[float]:
        """What `end` holds."""
        return list(self.end.tolist())

    @cached_property
    def midis(self) -> list[int]:
        """What `midi` holds."""
        return list(self.midi.tolist())

    @cached_property
    def lengths(self) -> list[float]:
        """What `held` holds."""
        return list(self.held.tolist())

    def inside(self, start: float, end: float) -> range:
        """Indices of the notes that start in [start, end)."""
        return range(bisect_left(self.onsets, start - SMALL), bisect_left(self.onsets, end - SMALL))


@dataclass(frozen=True, slots=True, eq=False)
class Below:
    """Everything that sounds under the sung line."""

    rows: tuple[NoteRow, ...]
    onset: Floats
    end: Floats
    midi: Ints

    def during(self, start: float, end: float) -> Ints:
        """Indices of the notes that sound at some time in [start, end)."""
        stop = int(self.onset.searchsorted(end - SMALL))
        found: Ints = (self.end[:stop] > start + SMALL).nonzero()[0]
        return found


def with_voice(table: NoteTable, part_id: str | None) -> NoteTable:
    """The table with another part as the sung line.

    Raises:
        ScoreError: no part has this id, or nothing in the score is sung.
    """
    if part_id is not None:
        if all(p.id != part_id for p in table.parts):
            names = ", ".join(p.id for p in table.parts)
            raise ScoreError(f"no part is called {part_id}", where=table.title, remedy=f"The parts are {names}")
        parts = tuple(
            replace(p, role="voice" if p.id == part_id else "accompaniment" if p.role == "voice" else p.role)
            for p in table.parts
        )
        table = replace(table, parts=parts)
    voice = table.voice_part
    if voice is None or not any(n.part == voice and not n.grace and n.duration_quarters > 0 for n in table.notes):
        raise ScoreError(
            "no singable line was found",
            where=table.title,
            remedy="Name the part that is sung with 'larkstair correct'",
        )
    return table


def sung_line(table: NoteTable) -> Line:
    """The notes of the sung part, one at a time: graces left out, the highest of notes struck together."""
    voice = table.voice_part
    rows = [n for n in table.notes if n.part == voice and not n.grace and n.duration_quarters > 0]
    kept: list[NoteRow] = []
    for row in rows:  # sorted by onset, then MIDI number: a later row at the same onset is higher
        if kept and row.onset_quarters - kept[-1].onset_quarters < SMALL:
            spoken = row if row.syllable else replace(row, syllable=kept[-1].syllable, syllabic=kept[-1].syllabic)
            kept[-1] = spoken
        else:
            kept.append(row)
    onset, end, midi = _columns(kept)
    if len(kept) > 1:
        end[:-1] = np.minimum(end[:-1], onset[1:])
    return Line(tuple(kept), onset, end, midi)


def below(table: NoteTable) -> Below:
    """Every sounding note outside the sung part, sorted by onset."""
    voice = table.voice_part
    rows = [n for n in table.notes if n.part != voice and not n.grace and n.duration_quarters > 0]
    return Below(tuple(rows), *_columns(rows))


def _columns(rows: Sequence[NoteRow]) -> tuple[Floats, Floats, Ints]:
    """Where each row starts and stops, in quarters, and its MIDI number; each of shape (n,)."""
    onset = np.array([n.onset_quarters for n in rows], dtype=np.float64)
    length = np.array([n.duration_quarters for n in rows], dtype=np.float64)
    midi = np.array([SEMITONES[n.step] + n.alter + 12 * n.octave for n in rows], dtype=np.int64) + 12
    return onset, np.round(onset + length, 6), midi


def beats_at(table: NoteTable, onsets: Floats) -> Floats:
    """`NoteTable.beat_at` of many offsets, same shape."""
    return _placed(table, onsets)[1]


def places_at(table: NoteTable, onsets: Floats) -> list[tuple[str, float]]:
    """`NoteTable.place_at` of many offsets."""
    bars, beats = _placed(table, onsets)
    return [(table.measures[bar].number, beat) for bar, beat in zip(bars.tolist(), beats.tolist(), strict=True)]


def _placed(table: NoteTable, onsets: Floats) -> tuple[Ints, Floats]:
    """Index of the bar of each offset, and the beat in it."""
    starts = np.array([m.start_quarters for m in table.measures])
    bar = np.maximum(starts.searchsorted(onsets + 1e-6, side="right") - 1, 0)
    lacking = np.array([table.lacking(k) for k in range(len(starts))])
    felt = np.array([m.beat_quarters for m in table.measures])
    return bar, np.round(1 + (onsets - starts[bar] + lacking[bar]) / felt[bar], 4)


def sounding_order(table: NoteTable) -> tuple[OrderRow, ...]:
    """The order of the table, or the whole score once where the reader gave none."""
    return table.order or (OrderRow(0.0, table.length_quarters, 1),)


def unfolded(table: NoteTable, line: Line) -> Iterator[tuple[int, float, float]]:
    """The sung line in sounding order: (index of the note, written start, written end cut at the stretch's end)."""
    onsets, ends = line.onsets, line.ends
    for span in sounding_order(table):
        for i in line.inside(span.start_quarters, span.end_quarters):
            end = min(ends[i], span.end_quarters)
            if end > onsets[i] + SMALL:
                yield i, onsets[i], end


def distinct(values: NDArray[_Number]) -> NDArray[_Number]:
    """The values in order, each once, shape (k,): as numpy's own `unique`, without what that loads and checks first."""
    ordered = np.sort(values)
    first = np.ones(len(ordered), dtype=bool)
    first[1:] = ordered[1:] != ordered[:-1]
    return ordered[first]


class Spans:
    """Looks up the chord or key at an offset; spans are sorted and do not overlap."""

    def __init__(self, chords: Sequence[ChordSpan] | Sequence[KeySpan]) -> None:
        self._starts = [c.start for c in chords]
        self._ends = [c.end for c in chords]

    def index(self, at: float) -> int | None:
        """Index of the span that holds an offset, or None."""
        i = bisect_right(self._starts, at + SMALL) - 1
        return i if i >= 0 and at < self._ends[i] - SMALL else None


@lru_cache(maxsize=1024)
def members(root: str, quality: Quality) -> tuple[PitchClass, ...]:
    """The spelled members of a chord, root first."""
    return tones_of(PitchClass.parse(root), quality)


@lru_cache(maxsize=1024)
def degree(name: str, tonic: str) -> str:
    """The degree of a spelled pitch class against the major scale on ``tonic``: '#4', 'b7', '1'."""
    return degree_named(PitchClass.parse(name).fifths - PitchClass.parse(tonic).fifths)
