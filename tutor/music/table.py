"""The NoteTable: a score as flat rows, as written (repeats not unfolded).

Every position is a float offset in quarter lengths from the first note of the score, rounded to six decimals, so
that equal positions compare equal. Ties are merged: a row is one sounding note. Grace notes have duration 0.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from dataclasses import asdict, dataclass, field
from functools import lru_cache
from operator import attrgetter
from typing import Any, Literal

from tutor.music.pitch import SEMITONES, Pitch
from tutor.music.shape import shaped

Role = Literal["voice", "accompaniment", "other"]

READER_VERSION = 4
"""Raised whenever the same file would give another table; part of the cache key."""


@dataclass(frozen=True, slots=True)
class NoteRow:
    """One sounding note."""

    onset_quarters: float
    """Start, in quarters from the beginning as written."""
    duration_quarters: float
    """Sounding length in quarters, ties merged; 0 for a grace note."""
    step: str
    """Letter, C to B."""
    alter: int
    """Semitones of alteration."""
    octave: int
    """Octave in scientific notation."""
    part: int
    """Index into `NoteTable.parts`."""
    measure: int
    """Index into `NoteTable.measures` of the bar in which the note starts."""
    voice: str = ""
    """Voice within the part, as the file names it."""
    syllable: str = ""
    """Text sung on this note (first verse), without hyphens."""
    syllabic: str = ""
    """'single', 'begin', 'middle', 'end', or empty without text."""
    verses: tuple[str, ...] = ()
    """Text of the further verses on this note, second verse first."""
    grace: bool = False
    """True for a grace note."""
    slur_start: bool = False
    """A slur starts here."""
    slur_end: bool = False
    """A slur ends here."""
    fermata: bool = False
    """A fermata stands over the note."""
    breath: bool = False
    """A breath mark or caesura follows."""

    @property
    def end_quarters(self) -> float:
        """Where the sound stops, in quarters."""
        return round(self.onset_quarters + self.duration_quarters, 6)

    @property
    def pitch(self) -> Pitch:
        """The spelled pitch."""
        return _pitch(self.step, self.alter, self.octave)

    @property
    def midi(self) -> int:
        """MIDI note number."""
        return 12 * (self.octave + 1) + SEMITONES[self.step] + self.alter

    @property
    def printed_syllable(self) -> str:
        """The text as it stands under the note: 'Ni-' where the word goes on."""
        goes_on = self.syllable and self.syllabic in ("begin", "middle") and not self.syllable.endswith("-")
        return f"{self.syllable}-" if goes_on else self.syllable


@dataclass(frozen=True, slots=True)
class PartRow:
    """One staff or part of the score."""

    id: str
    """Identifier, unique in the table ('P1', 'P2-Staff1')."""
    name: str
    """Name printed in the score; may be empty."""
    role: Role
    """What the part does: sings, accompanies, or neither."""
    program: int | None = None
    """MIDI program (0-127) where the file names one."""


@dataclass(frozen=True, slots=True)
class MeasureRow:
    """One printed bar."""

    number: str
    """Printed number: '0' for a pick-up, '12a' as printed; the rest of a bar split at a repeat has that bar's."""
    start_quarters: float
    """Where it starts."""
    duration_quarters: float
    """Its real length (a pick-up is shorter than its metre)."""
    numerator: int
    """Upper figure of the time signature."""
    denominator: int
    """Lower figure of the time signature."""
    fifths: int
    """Key signature: sharps positive, flats negative."""
    repeat_start: bool = False
    """A repeat sign opens at its left."""
    repeat_end: int = 0
    """How many times in all a repeat sign at its right makes the passage sound; 0 without one."""
    endings: tuple[int, ...] = ()
    """Passes on which this bar sounds, if it lies under a volta bracket."""
    marks: tuple[str, ...] = ()
    """Of 'segno', 'coda', 'to-coda', 'fine', 'da-capo', 'da-capo-al-fine', 'da-capo-al-coda', 'dal-segno',
    'dal-segno-al-fine', 'dal-segno-al-coda'; 'with-repeats' where a da capo or dal segno takes them again."""
    barline: str = ""
    """'double' or 'final' where one closes the bar."""

    @property
    def end_quarters(self) -> float:
        """Where the bar ends."""
        return round(self.start_quarters + self.duration_quarters, 6)

    @property
    def beat_quarters(self) -> float:
        """Length of one felt beat: a dotted unit in compound metres (6/8, 9/8, 12/8), else the lower figure."""
        unit = 4.0 / self.denominator
        return 3 * unit if self.denominator >= 8 and self.numerator % 3 == 0 and self.numerator > 3 else unit

    @property
    def bar_quarters(self) -> float:
        """Length of a full bar in this metre."""
        return self.numerator * 4.0 / self.denominator


_START = attrgetter("start_quarters")
_MOST_SPLITS = 8
"""No bar is split into more."""
_pitch = lru_cache(maxsize=1024)(Pitch)


@dataclass(frozen=True, slots=True)
class TempoRow:
    """A tempo mark."""

    onset_quarters: float
    """Where it applies from."""
    bpm: float
    """Quarter notes a minute."""
    text: str = ""
    """Words printed, if any."""


@dataclass(frozen=True, slots=True)
class TextRow:
    """A dynamic, a chord symbol, a rehearsal mark or a direction in words."""

    onset_quarters: float
    """Where it stands."""
    kind: Literal["dynamic", "chord", "rehearsal", "words"]
    """What it is."""
    text: str
    """As printed: 'mf', 'Gm/Bb', 'B', 'Refrain'."""
    part: int = 0
    """Index into `NoteTable.parts`."""


@dataclass(frozen=True, slots=True)
class OrderRow:
    """A stretch of the written score in sounding order."""

    start_quarters: float
    """Where it starts, as written."""
    end_quarters: float
    """Where it ends, as written."""
    passing: int
    """Which time this stretch sounds, from 1."""


@dataclass(frozen=True, slots=True)
class NoteTable:
    """A whole score as rows; the only thing that leaves the score room."""

    title: str
    """Title, cleaned of control characters; may be empty."""
    composer: str
    """Composer, cleaned; may be empty."""
    format: str
    """'musicxml', 'mxl', 'midi', 'abc' or 'kern'."""
    sha256: str
    """Hex digest of the file's bytes."""
    parts: tuple[PartRow, ...]
    measures: tuple[MeasureRow, ...]
    notes: tuple[NoteRow, ...]
    """Sorted by onset, then MIDI number, then part."""
    tempos: tuple[TempoRow, ...] = ()
    """Empty when the score has no tempo: readers assume one and say so."""
    texts: tuple[TextRow, ...] = ()
    order: tuple[OrderRow, ...] = ()
    """Repeats, voltas, D.C. and D.S. unfolded."""
    warnings: tuple[str, ...] = field(default=())
    """What the reader could not take literally, one line each."""

    @property
    def length_quarters(self) -> float:
        """End of the last bar."""
        return self.measures[-1].end_quarters if self.measures else 0.0

    @property
    def voice_part(self) -> int | None:
        """Index of the sung part, or None."""
        return next((i for i, p in enumerate(self.parts) if p.role == "voice"), None)

    def bar_at(self, onset_quarters: float) -> MeasureRow:
        """The bar that holds an offset (the last one for anything beyond)."""
        return self.measures[self.bar_index(onset_quarters)]

    def bar_index(self, onset_quarters: float) -> int:
        """Index of the bar that holds an offset (of the last one for anything beyond)."""
        return max(bisect_right(self.measures, onset_quarters + 1e-6, key=_START) - 1, 0)

    def beat_at(self, onset_quarters: float) -> float:
        """Beat within the printed bar, from 1, in units of the felt beat.

        A pick-up counts back from the bar line, and the rest of a split bar on from where that bar begins.
        """
        return self._beat_in(self.bar_index(onset_quarters), onset_quarters)

    def _beat_in(self, index: int, onset_quarters: float) -> float:
        bar = self.measures[index]
        inside = onset_quarters - bar.start_quarters + self.lacking(index)
        return round(1 + inside / bar.beat_quarters, 4)

    def place_at(self, onset_quarters: float) -> tuple[str, float]:
        """The printed number of the bar that holds an offset, and the beat in it (see `beat_at`)."""
        index = self.bar_index(onset_quarters)
        return self.measures[index].number, self._beat_in(index, onset_quarters)

    def lacking(self, index: int) -> float:
        """Quarters of the printed bar that lie before its row: what a pick-up lacks, or what stands before a split.

        A second ending that completes the same bar as the first one lacks what the first one does.
        """
        bar = self.measures[index]
        if index == 0:
            if len(self.measures) > 1 and self.printed_start(1) == 0:
                return 0.0
            return max(0.0, bar.bar_quarters - bar.duration_quarters)
        if not bar.endings and self.measures[index - 1].number != bar.number:  # as most bars: a printed bar whole
            return 0.0
        same = self._other_ending(index)
        if same is not None:
            return self.lacking(same)
        return bar.start_quarters - self.measures[self.printed_start(index)].start_quarters

    def _other_ending(self, index: int) -> int | None:
        """The rest of a bar under another bracket, to which this row is the same rest; None where there is none."""
        bar, at = self.measures[index], index - 1
        if not bar.endings or at < 0 or self.measures[at].endings in ((), bar.endings):
            return None
        while at >= 0 and self.measures[at].endings not in ((), bar.endings):
            at -= 1
        first = self.measures[at + 1]
        alike = abs(first.duration_quarters - bar.duration_quarters) < 1e-6
        return at + 1 if alike and at >= 0 and self.printed_start(at + 1) <= at else None

    def printed_start(self, index: int) -> int:
        """Index of the row in which the printed bar of a row begins: the row's own, but for the rest of a split bar.

        Rows of one number are one printed bar as long as they fill no more than its metre, but for two endings.
        """
        bar, first = self.measures[index], index
        for at in range(index - 1, max(-1, index - _MOST_SPLITS), -1):
            before = self.measures[at]
            apart = before.endings and bar.endings and before.endings != bar.endings
            if (
                before.number != bar.number
                or apart
                or bar.end_quarters - before.start_quarters > bar.bar_quarters + 1e-6
            ):
                break
            first = at
        return first

    def dumps(self) -> str:
        """The table as JSON text; `loads` gives it back equal."""
        return json.dumps(asdict(self), separators=(",", ":"), ensure_ascii=False)

    @classmethod
    def loads(cls, text: str) -> NoteTable:
        """Rebuild a table from `dumps`.

        Raises:
            ValueError: the text is no table of this version.
        """
        try:
            raw: dict[str, Any] = json.loads(text)
            for note in raw["notes"]:
                note["verses"] = tuple(note["verses"])
            for bar in raw["measures"]:
                bar["endings"] = tuple(bar["endings"])
                bar["marks"] = tuple(bar["marks"])
            return shaped(
                cls(
                    title=raw["title"],
                    composer=raw["composer"],
                    format=raw["format"],
                    sha256=raw["sha256"],
                    parts=tuple(PartRow(**x) for x in raw["parts"]),
                    measures=tuple(MeasureRow(**x) for x in raw["measures"]),
                    notes=tuple(NoteRow(**x) for x in raw["notes"]),
                    tempos=tuple(TempoRow(**x) for x in raw["tempos"]),
                    texts=tuple(TextRow(**x) for x in raw["texts"]),
                    order=tuple(OrderRow(**x) for x in raw["order"]),
                    warnings=tuple(raw["warnings"]),
                )
            )
        except (KeyError, TypeError, AttributeError, RecursionError) as error:
            raise ValueError(f"not a note table: {error}") from error
