"""Spelled pitches.

A pitch is a letter, an alteration and an octave: F#4 and Gb4 are different pitches that sound alike in equal
temperament. Octaves follow scientific notation: middle C is C4, MIDI 60, and Cb4 and B#3 keep their letter's
octave (Acoustical Society of America numbering, as used by MusicXML).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

LETTERS = "CDEFGAB"
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
"""Semitones of each letter above C."""
FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
"""Place of each letter on the line of fifths; a sharp adds 7."""
_BY_FIFTH = "FCGDAEB"
_NAME = re.compile(r"([A-Ga-g])(#{0,3}|b{0,3}|♯{0,3}|♭{0,3}|-{0,3})(-?\d+)?")


@dataclass(frozen=True, slots=True, order=True)
class PitchClass:
    """A spelled pitch without octave."""

    fifths: int
    """Place on the line of fifths: F -1, C 0, G 1, … F# 6, Bb -2."""

    @property
    def step(self) -> str:
        """The letter, C to B."""
        return _BY_FIFTH[(self.fifths + 1) % 7]

    @property
    def alter(self) -> int:
        """Semitones of alteration: -1 flat, 1 sharp."""
        return (self.fifths + 1) // 7

    @property
    def chroma(self) -> int:
        """Semitones above C, 0 to 11."""
        return (self.fifths * 7) % 12

    @property
    def name(self) -> str:
        """The spelled name in ASCII: 'F#', 'Bb'."""
        return _name_of(self.fifths)

    @classmethod
    @lru_cache(maxsize=512)
    def of(cls, step: str, alter: int = 0) -> PitchClass:
        """The pitch class of a letter and an alteration in semitones."""
        return cls(FIFTHS[step] + 7 * alter)

    @classmethod
    @lru_cache(maxsize=512)
    def parse(cls, name: str) -> PitchClass:
        """Read 'F#', 'Bb' or 'B-'.

        Raises:
            ValueError: the text is no pitch class.
        """
        match = _NAME.fullmatch(name)
        if not match or match[3] is not None:
            raise ValueError(f"no pitch class: {name!r}")
        return cls.of(match[1].upper(), _alter(match[2]))

    def __str__(self) -> str:
        return self.name


@lru_cache(maxsize=128)
def _name_of(fifths: int) -> str:
    return _BY_FIFTH[(fifths + 1) % 7] + accidental((fifths + 1) // 7)


@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled pitch in an octave."""

    step: str
    """Letter, C to B."""
    alter: int
    """Semitones of alteration: -1 flat, 0 natural, 1 sharp."""
    octave: int
    """Octave of the letter; C4 is middle C."""

    @property
    def midi(self) -> int:
        """MIDI note number; middle C is 60."""
        return 12 * (self.octave + 1) + SEMITONES[self.step] + self.alter

    @property
    def diatonic(self) -> int:
        """Staff place: letters counted from C0; a second is 1, an octave 7."""
        return 7 * self.octave + LETTERS.index(self.step)

    @property
    def pitch_class(self) -> PitchClass:
        """The pitch without its octave."""
        return PitchClass.of(self.step, self.alter)

    @property
    def name(self) -> str:
        """Scientific name in ASCII: 'Bb4'."""
        return f"{self.step}{accidental(self.alter)}{self.octave}"

    @property
    def hz(self) -> float:
        """Frequency in hertz in equal temperament at A4 = 440 Hz."""
        return float(440.0 * 2.0 ** ((self.midi - 69) / 12))

    def moved(self, fifths: int, diatonic: int) -> Pitch:
        """This pitch moved by ``fifths`` on the line of fifths and ``diatonic`` staff places (see Interval)."""
        target = PitchClass(self.pitch_class.fifths + fifths)
        place = self.diatonic + diatonic
        return Pitch(target.step, target.alter, (place - LETTERS.index(target.step)) // 7)

    @classmethod
    @lru_cache(maxsize=4096)
    def parse(cls, name: str) -> Pitch:
        """Read 'Bb4', 'B-4', 'f#3'.

        Raises:
            ValueError: the text is no pitch with an octave.
        """
        match = _NAME.fullmatch(name)
        if not match or match[3] is None:
            raise ValueError(f"no pitch: {name!r}")
        return cls(match[1].upper(), _alter(match[2]), int(match[3]))

    @classmethod
    def from_midi(cls, midi: int, *, fifths: int = 0) -> Pitch:
        """Spell a MIDI note near a key signature.

        Args:
            midi: MIDI note number.
            fifths: sharps (positive) or flats (negative) in the signature. The spelling chosen lies from five
                fifths below to six above the signature's major tonic: the key's scale, the flats of its
                minor mode, and the raised fourth.
        """
        pc = (midi * 7) % 12
        place = fifths - 5 + (pc - (fifths - 5)) % 12
        cls_ = PitchClass(place)
        return cls(cls_.step, cls_.alter, (midi - SEMITONES[cls_.step] - cls_.alter) // 12 - 1)

    def __str__(self) -> str:
        return self.name


def accidental(alter: int) -> str:
    """ASCII accidental: '#', 'b', '##'; empty for a natural."""
    return "#" * alter if alter > 0 else "b" * -alter


def pretty(name: str) -> str:
    """A spelled name with the usual signs: 'Bb4' → 'B♭4', 'F##' → 'F♯♯'."""
    return name[:1] + name[1:].replace("b", "♭").replace("#", "♯")


def _alter(sign: str) -> int:
    return len(sign) if sign[:1] in ("#", "♯") else -len(sign)
