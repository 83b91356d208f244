"""Was the pattern sung? For moving on hands-free; it judges nothing else."""

from __future__ import annotations

from collections.abc import Sequence

from tutor.music.phrase import Phrase
from tutor.music.take import Take

NEAR = 0.7
"""Semitones within which a note counts as the one asked (a choice of ours: moving on, not marking)."""
ENOUGH = 0.6
"""Share of the notes that must be found in order (a choice of ours)."""


def was_sung(phrase: Phrase, take: Take) -> bool:
    """True when most notes of the sung line are found in the take, in order, in whichever octave fits best.

    Args:
        phrase: what was asked, lowering included (`Run.phrase`).
        take: what the microphone heard since the count-in.
    """
    asked = [t.midi for t in phrase.tones if t.line == "voice"]
    asked = [m for i, m in enumerate(asked) if i == 0 or m != asked[i - 1]]
    heard = [n.midi for n in take.notes]
    if not asked or not heard:
        return False
    best = max(_in_order(asked, [h + 12 * k for h in heard]) for k in (-1, 0, 1))
    return best >= ENOUGH * len(asked)


def _in_order(asked: Sequence[int], heard: Sequence[float]) -> int:
    """Length of the longest common subsequence within `NEAR`."""
    row = [0] * (len(heard) + 1)
    for a in asked:
        before = row[:]
        for j, h in enumerate(heard):
            row[j + 1] = before[j] + 1 if abs(a - h) <= NEAR else max(before[j + 1], row[j])
    return row[-1]
