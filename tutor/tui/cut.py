"""A phrase from a moment on: what 'play from here' sounds."""

from __future__ import annotations

from dataclasses import replace

from tutor.music.phrase import Phrase


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
