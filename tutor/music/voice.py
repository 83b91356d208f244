"""Voices: types, ranges, register transitions, and the profile of one singer.

The tables are defaults for a singer who has measured nothing yet; a measured range always wins. Sources differ by up
to four semitones at either end of a range, and some teachers hold that a register change is a band and not one
pitch: transitions are shown as a band of a semitone to either side.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

VoiceType = Literal["soprano", "mezzo-soprano", "alto", "countertenor", "tenor", "baritone", "bass"]
Condition = Literal["fresh", "a little tired", "tired", "hoarse", "pain"]
Feeling = Literal["easy", "all right", "effortful", "strained"]


@dataclass(frozen=True, slots=True)
class VoiceRow:
    """What is typical of a voice type; MIDI numbers."""

    low: int
    high: int
    """Typical solo range."""
    first_transition: int
    """Lower register transition (primo passaggio)."""
    second_transition: int
    """Upper register transition (secondo passaggio)."""
    source: str
    """Where the figures come from and how far that was seen."""


_MILLER = "transitions: R. Miller, The Structure of Singing (1986), recalled, not looked up"
_RECALLED = "range: usual reference works, recalled, not looked up; sources differ by up to four semitones"

VOICES: dict[VoiceType, VoiceRow] = {
    "soprano": VoiceRow(60, 84, 63, 78, f"range: liquisearch.com/soprano, seen; {_MILLER}"),
    "mezzo-soprano": VoiceRow(57, 81, 64, 76, f"range: myoperas.com, seen; {_MILLER}"),
    "alto": VoiceRow(53, 77, 67, 74, f"{_RECALLED}; {_MILLER}"),
    "countertenor": VoiceRow(55, 76, 64, 74, f"{_RECALLED}; transitions: common practice, no source"),
    "tenor": VoiceRow(48, 72, 62, 67, f"{_RECALLED}; {_MILLER}"),
    "baritone": VoiceRow(43, 67, 59, 64, f"{_RECALLED}; {_MILLER}"),
    "bass": VoiceRow(40, 64, 57, 62, f"{_RECALLED}; {_MILLER}"),
}


@dataclass(frozen=True, slots=True)
class Strain:
    """A note at which the singer said that it strains."""

    midi: int
    on: date | None
    """Local day; None where it was not kept."""


@dataclass(frozen=True, slots=True)
class SingerProfile:
    """One singer's voice, as measured or as told."""

    name: str
    """Name on this machine."""
    voice: VoiceType
    """Voice type, as the singer says."""
    low_midi: int
    """Comfortable lowest note."""
    high_midi: int
    """Comfortable highest note."""
    first_transition: int
    """Lower register transition."""
    second_transition: int
    """Upper register transition."""
    measured_on: date | None = None
    """When the range was measured; None for a default."""
    strained_at: tuple[int, ...] = ()
    """Notes at which the singer said that it strains, latest last."""
    strained_on: tuple[date | None, ...] = ()
    """Local day of each of them; shorter where days were not kept."""

    @property
    def strains(self) -> tuple[Strain, ...]:
        """The notes that strained with their days, latest last."""
        days = self.strained_on + (None,) * len(self.strained_at)
        return tuple(Strain(midi, on) for midi, on in zip(self.strained_at, days, strict=False))

    @classmethod
    def default(cls, name: str, voice: VoiceType) -> SingerProfile:
        """A profile from the table, two semitones inside the typical range at either end (a choice of ours)."""
        row = VOICES[voice]
        return cls(name, voice, row.low + 2, row.high - 2, row.first_transition, row.second_transition)
