"""What the engine answers of the sung line; see `tutor.analysis.findings`, which offers these values too."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Tessitura:
    """Duration-weighted 10 %, 50 % and 90 % points of the sung line."""

    low: str
    centre: str
    high: str


@dataclass(frozen=True, slots=True)
class Dose:
    """Vocal dose of one performance in sounding order."""

    time_s: float
    """Time dose: seconds of voicing."""
    cycles: float
    """Cycle dose: oscillations of the folds."""


@dataclass(frozen=True, slots=True)
class Climax:
    """The peak of the sung line."""

    start: float
    bar: str
    pitch: str
    held_ql: float
    approach: str
    """How the line gets there: 'leap of a minor sixth up from Eb4'."""
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HighNote:
    """A note near the top of the range."""

    start: float
    bar: str
    pitch: str
    held_ql: float
    syllable: str
    vowel: str
    """'a', 'e', 'i', 'o', 'u' or a written vowel group; empty when unknown."""


@dataclass(frozen=True, slots=True)
class Leap:
    """A leap up into a high note."""

    start: float
    """Offset of the upper note."""
    bar: str
    lower: str
    upper: str
    semitones: int


@dataclass(frozen=True, slots=True)
class VoiceProfile:
    """What the song asks of the voice."""

    low: str
    high: str
    span_semitones: int
    tessitura: Tessitura
    histogram: dict[str, float]
    """Quarters sung at each pitch, sounding order."""
    seconds: dict[str, float]
    """Seconds sung at each pitch at the marked (or assumed) tempo."""
    tempo_assumed: bool
    dose: Dose
    longest_phrase_s: float
    climax: Climax | None
    high_notes: tuple[HighNote, ...]
    leaps: tuple[Leap, ...] = ()
    notes_per_s: float = 0.0
    """Sung notes a second of voicing: how quick the text is."""
