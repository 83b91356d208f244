"""The whole led warm-up as one Phrase, for MIDI and audio to take along."""

from __future__ import annotations

from dataclasses import replace

from tutor.music.phrase import Phrase, Tone
from tutor.warmup.model import Plan
from tutor.warmup.piano import ACCENT

BPM = 60.0
"""A quarter is a second, so that patterns of every tempo share one line of time."""


def whole(plan: Plan) -> Phrase:
    """Every repetition, breath, rest and silence of a plan in one phrase.

    Args:
        plan: the warm-up.

    Returns:
        A phrase at 60 quarters a minute: onsets are seconds. Each step starts with its title as a figure; steps
        without music start with two soft clicks. The phrase lasts as long as the plan.
    """
    tones: list[Tone] = []
    figures: list[tuple[float, str]] = []
    at = 0.0
    for step in plan.steps:
        figures.append((round(at, 6), step.title))
        inside = at
        for phrase in step.phrases:
            scale = 60.0 / phrase.bpm
            tones += [
                replace(
                    t,
                    onset_quarters=round(inside + t.onset_quarters * scale, 6),
                    duration_quarters=round(t.duration_quarters * scale, 6),
                )
                for t in phrase.tones
            ]
            inside += phrase.length_s
        if not step.phrases:
            tones += [Tone(round(at + k * 0.5, 6), 0.25, ACCENT, "click", 0.3) for k in range(2)]
        at += step.seconds
    tones.append(Tone(max(0.0, round(at - 0.25, 6)), 0.25, ACCENT, "click", 0.2))
    return Phrase(
        tuple(sorted(tones, key=lambda t: (t.onset_quarters, t.line, t.midi))), bpm=BPM, figures=tuple(figures)
    )
