"""Single chords in close and open spacing, and words about them."""

from __future__ import annotations

import random
from dataclasses import replace

from tutor.analysis.findings import ChordSpan
from tutor.music.chord import INVERSIONS, MEMBERS, QUALITY_WORDS, Chord, above, close
from tutor.music.phrase import Phrase
from tutor.music.pitch import Pitch, PitchClass, pretty

INVERSION_CHOICES = {
    "root position": "root position (the root is lowest)",
    "first inversion": "first inversion (the third is lowest)",
    "second inversion": "second inversion (the fifth is lowest)",
    "third inversion": "third inversion (the seventh is lowest)",
}
MEMBER_CHOICES = {"root": "the root", "third": "the third", "fifth": "the fifth", "seventh": "the seventh"}
ORDINALS = (
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
)
ROOTS = tuple(
    PitchClass.parse(n) for n in ("C", "G", "F", "D", "Bb", "A", "Eb", "E", "Ab", "B", "Db", "F#", "C#", "Gb")
)


def pick_chord(rng: random.Random, level: float, quality: str, inversion: int = 0) -> Chord:
    """A chord of a quality on a root; simple roots first, and no double sharps or flats."""
    roots = ROOTS[: 6 + round(level * (len(ROOTS) - 6))]
    made = [Chord(r, quality, inversion) for r in roots]
    return rng.choice([c for c in made if all(abs(t.alter) < 2 for t in c.tones)])


def placed(rng: random.Random, chord: Chord, *, wide: bool, level: float) -> tuple[Pitch, ...]:
    """A chord in a register and a spacing, from the bass up.

    Close chords stand on a bass from B2 upwards, for lower ones sound muddy; open chords reach down to F2. The
    higher the level, the farther the register strays.
    """
    low, high = (41, 55) if wide else (47, 60)
    middle = 48 if wide else 53
    reach = 4 + round(level * 9)
    low, high = max(low, middle - reach), min(high + 2, middle + reach)
    tone = chord.bass
    basses = [p for o in range(1, 6) if low <= (p := Pitch(tone.step, tone.alter, o)).midi <= high]
    if not basses:
        basses = [min((Pitch(tone.step, tone.alter, o) for o in (2, 3)), key=lambda p: abs(p.midi - middle))]
    pitches = close(chord, rng.choice(basses))
    pitches = opened(pitches) if wide else pitches
    # More voices as the level rises: root or fifth doubled at the top.
    return (
        (*pitches, above(rng.choice((chord.tones[0], chord.tones[2])), pitches[-1]))
        if rng.random() < level * 0.8
        else pitches
    )


def opened(pitches: tuple[Pitch, ...]) -> tuple[Pitch, ...]:
    """Close position opened: every second tone above the bass goes up an octave."""
    raised = [Pitch(p.step, p.alter, p.octave + 1) if i % 2 == 1 else p for i, p in enumerate(pitches)]
    return tuple(sorted(raised, key=lambda p: p.midi))


def tone_words(tone: PitchClass) -> str:
    """A tone with the usual signs: 'B♭'."""
    return pretty(tone.name)


def chord_words(chord: Chord) -> str:
    """'G minor triad' with the usual signs."""
    return f"{tone_words(chord.root)} {QUALITY_WORDS[chord.quality]}"


def inversion_words(chord: Chord) -> str:
    """What stands in the bass, as an explanation."""
    member = MEMBERS[chord.inversion]
    return (
        f"The {chord_words(chord)} is in {INVERSIONS[chord.inversion]}: its {member}, {tone_words(chord.bass)}, "
        f"is the lowest note. Figured bass writes {chord.figure}{', or nothing' if chord.figure == '5/3' else ''}."
    )


def with_bass(phrase: Phrase, at: float = 0.0, until: float | None = None) -> Phrase:
    """The lowest note of a stretch pointed out."""
    end = phrase.length_quarters if until is None else until
    inside = [t for t in phrase.tones if t.onset_quarters < end - 1e-6 and t.end_quarters > at + 1e-6]
    lowest = min((t.midi for t in inside), default=0)
    marked = {id(t) for t in inside if t.midi == lowest}
    tones = tuple(replace(t, mark="bass") if id(t) in marked else t for t in phrase.tones)
    return replace(phrase, tones=tones)


def in_reach(pitch: Pitch, low: int, high: int) -> Pitch | None:
    """A pitch moved by octaves into the singer's range, as near as can be; None if no octave fits."""
    fits = [Pitch(pitch.step, pitch.alter, o) for o in range(0, 9)]
    fits = [p for p in fits if low <= p.midi <= high]
    return min(fits, key=lambda p: (abs(p.midi - pitch.midi), p.midi), default=None)


def chord_of(span: ChordSpan) -> Chord:
    """The chord of a reading as a value."""
    return Chord(PitchClass.parse(span.root), span.quality, span.inversion)
