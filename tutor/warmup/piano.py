"""The pianist of a warm-up: count-in, chord, pattern, breath and the way to the next key."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from tutor.music.phrase import Line, Phrase, Tone
from tutor.music.pitch import Pitch
from tutor.warmup.exercises import Exercise, semitones

BAR = 4.0
"""Quarters in a bar of every pattern."""
COUNT_IN = 4
"""Clicks before the first repetition of a pattern."""
LEAD = 2.0
"""Quarters of chord before every further repetition."""
BREATH = 2.0
"""Least quarters between two repetitions for breath and modulation, before the lead."""

ACCENT, PLAIN = Pitch.parse("C6"), Pitch.parse("C5")
LOUDNESS = {"soft": 0.4, "medium": 0.55, "half voice": 0.55, "full voice": 0.8}
"""Velocity of the sung line by dynamic."""
_CHORD = 0.42
_CLICK = 0.5


def signature(root: int) -> int:
    """Key signature of the major key on a MIDI note, from five flats to six sharps."""
    fifths = (root * 7) % 12
    return fifths - 12 if fifths > 6 else fifths


def chord(
    root: int, sizes: Sequence[int], at: float, quarters: float, fifths: int, *, loud: float = _CHORD
) -> list[Tone]:
    """A chord for two hands: root in the left, the rest close around middle C in the right.

    Args:
        root: MIDI number of the root, in any octave.
        sizes: semitones of the chord members above the root, root first.
        at: onset in quarters.
        quarters: length in quarters.
        fifths: key signature that the notes are spelled in.
        loud: velocity, 0 to 1.
    """
    bass = 36 + (root - 36) % 12
    bass += 12 if bass < 41 else 0
    hand = sorted(57 + (root + s - 57) % 12 for s in sizes)
    lower: Line = "lower"
    tones = [Tone(at, quarters, Pitch.from_midi(bass, fifths=fifths), lower, loud)]
    return tones + [Tone(at, quarters, Pitch.from_midi(m, fifths=fifths), "upper", loud) for m in hand]


def clicks(number: int, beat_quarters: float = 1.0) -> list[Tone]:
    """A count-in; the first click is accented."""
    return [
        Tone(i * beat_quarters, min(0.25, beat_quarters), ACCENT if i == 0 else PLAIN, "click", _CLICK)
        for i in range(number)
    ]


@lru_cache(maxsize=4096)
def repetition(
    exercise: Exercise, root: int, next_root: int | None, *, first: bool, dynamic: str, bpm: float | None = None
) -> Phrase:
    """One key of a pattern.

    Args:
        exercise: the pattern.
        root: MIDI number of degree 1.
        next_root: root of the next key; None for the last, which closes on the tonic chord.
        first: True for the first key: a bar of clicks, and the chord beneath it.
        dynamic: a key of `LOUDNESS`.
        bpm: tempo, if not the exercise's own.
    """
    fifths = signature(root)
    lead = float(COUNT_IN) if first else LEAD
    tones = clicks(COUNT_IN) if first else []
    tones += chord(root, (0, 4, 7), 0.0, lead, fifths)
    at = lead
    for i, (degree, quarters) in enumerate(exercise.pattern):
        sound = exercise.sounds[i % len(exercise.sounds)]
        changes = i == 0 or sound != exercise.sounds[(i - 1) % len(exercise.sounds)]
        pitch = Pitch.from_midi(root + semitones(degree), fifths=fifths)
        tones.append(Tone(round(at, 6), quarters, pitch, "voice", LOUDNESS[dynamic], sound if changes else ""))
        at += quarters
    tones += [t for b in _downbeats(lead, at) for t in chord(root, (0, 4, 7), b, 1.0, fifths)]
    end = lead + _whole_bars(at - lead + BREATH)
    tones += _turn(root, next_root, at, end, fifths)
    return Phrase(
        tuple(sorted(tones, key=lambda t: (t.onset_quarters, t.line, t.midi))),
        bpm=bpm or exercise.bpm,
        fifths=fifths,
        pickup_quarters=lead % BAR,
    )


def _downbeats(lead: float, at: float) -> list[float]:
    return [lead + k * BAR for k in range(int((at - lead - 1e-6) // BAR) + 1)]


def _whole_bars(quarters: float) -> float:
    return BAR * -(-quarters // BAR)


def _turn(root: int, next_root: int | None, at: float, end: float, fifths: int) -> list[Tone]:
    """What the piano plays while the singer breathes, up to ``end``."""
    if next_root is None:
        return chord(root, (0, 4, 7), at, end - at, fifths, loud=0.32)
    half = (end - at) / 2
    dominant = chord(next_root + 7, (0, 4, 7, 10), end - half, half, signature(next_root), loud=0.38)
    return chord(root, (0, 4, 7), at, end - at - half, fifths, loud=0.32) + dominant
