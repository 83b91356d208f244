"""What a singer did: a pitch track and the notes cut from it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TrackPoint:
    """Pitch at one moment."""

    at_s: float
    """Seconds from the start of the take."""
    hz: float
    """Frequency in hertz; 0 where nothing was sung."""
    clarity: float
    """0 (noise) to 1 (a clear tone)."""


@dataclass(frozen=True, slots=True)
class SungNote:
    """One note cut from a take."""

    onset_s: float
    """Start, seconds."""
    duration_s: float
    """Length, seconds."""
    midi: float
    """Pitch centre as a fractional MIDI number, vibrato averaged in cents over whole cycles."""
    drift_cents: float = 0.0
    """Pitch at the end less pitch at the start."""
    vibrato_hz: float = 0.0
    """Rate of vibrato; 0 when there is none."""
    vibrato_cents: float = 0.0
    """Extent of vibrato, half of peak to peak."""


@dataclass(frozen=True, slots=True)
class Take:
    """One thing sung."""

    track: tuple[TrackPoint, ...] = ()
    notes: tuple[SungNote, ...] = ()
    problem: str = ""
    """Why nothing can be judged: 'too quiet', 'clipping', 'no input'; empty when all is well."""
