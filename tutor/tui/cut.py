"""Small phrases for the ear: the rest of one, or a single note."""

from __future__ import annotations

from dataclasses import replace

from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch


def from_here(phrase: Phrase, start: float) -> Phrase:
    """The rest of a phrase; notes that sound across ``start`` (quarters) are clipped there."""
    tones = tuple(
        replace(
            t,
            onset_quarters=max(0.0, t.onset_quarters - start),
            duration_quarters=t.duration_quarters - max(0.0, start - t.onset_quarters),
        )
        for t in phrase.tones
        if t.end_quarters > start + 1e-6
    )
    figures = tuple((at - start, text) for at, text in phrase.figures if at >= start - 1e-6)
    return replace(phrase, tones=tones, figures=figures, pickup_quarters=0.0)


def one_tone(midi: int) -> Phrase:
    """A single note of the piano."""
    return Phrase((Tone(0.0, 1.0, Pitch.from_midi(midi), "upper"),))
