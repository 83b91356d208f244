"""A phrase in another key, spelled with the fewest signs."""

from __future__ import annotations

from tutor.music.interval import Interval
from tutor.music.phrase import Phrase

_NAMES = ("P1", "m2", "M2", "m3", "M3", "P4", "A4", "P5", "m6", "M6", "m7", "M7", "P8")


def transposed(phrase: Phrase, semitones: int) -> Phrase:
    """Move a phrase by at most an octave.

    Args:
        phrase: what to move.
        semitones: -12 to 12.
    """
    if not semitones:
        return phrase
    step = Interval.parse(_NAMES[abs(semitones)])
    sign = 1 if semitones > 0 else -1
    fifths, letters = sign * step.fifths, sign * step.diatonic
    # Twelve fifths and a letter change the spelling and not the sound.
    choices = [(fifths, letters), (fifths - 12, letters + 1), (fifths + 12, letters - 1)]
    return phrase.moved(*min(choices, key=lambda c: abs(phrase.fifths + c[0])))
