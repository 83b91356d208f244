"""Keys, modes and scale degrees, spelled.

A degree is written against the major scale on the same tonic: '3', 'b3', '#4'. Modes are stored as degrees; from
Lydian to Locrian each lowers one more tone, so that their order is the order from bright to dark.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from tutor.music.pitch import LETTERS, Pitch, PitchClass

_MAJOR = (0, 2, 4, -1, 1, 3, 5)
_DEGREE = re.compile(r"(#{0,2}|b{0,2})([1-7])")

MODES: dict[str, tuple[str, ...]] = {
    "lydian": ("1", "2", "3", "#4", "5", "6", "7"),
    "ionian": ("1", "2", "3", "4", "5", "6", "7"),
    "mixolydian": ("1", "2", "3", "4", "5", "6", "b7"),
    "dorian": ("1", "2", "b3", "4", "5", "6", "b7"),
    "aeolian": ("1", "2", "b3", "4", "5", "b6", "b7"),
    "phrygian": ("1", "b2", "b3", "4", "5", "b6", "b7"),
    "locrian": ("1", "b2", "b3", "4", "b5", "b6", "b7"),
}
"""Brightest first (order after V. Persichetti, recalled; that each lowers one tone is computed)."""

MODE_TITLES = {
    "lydian": "Lydian", "ionian": "major (Ionian)", "mixolydian": "Mixolydian", "dorian": "Dorian",
    "aeolian": "natural minor (Aeolian)", "phrygian": "Phrygian", "locrian": "Locrian",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Key:
    """A tonic and a mode ('major' or 'minor')."""

    tonic: PitchClass
    mode: str

    @classmethod
    @lru_cache(maxsize=128)
    def parse(cls, name: str) -> Key:
        """Read 'F major', 'Bb minor'.

        Raises:
            ValueError: the text is no key.
        """
        tonic, _, mode = name.partition(" ")
        if mode not in ("major", "minor"):
            raise ValueError(f"no key: {name!r}")
        return cls(PitchClass.parse(tonic), mode)

    @property
    def name(self) -> str:
        """'Bb minor'."""
        return f"{self.tonic.name} {self.mode}"

    @property
    def fifths(self) -> int:
        """Key signature: sharps positive, flats negative."""
        return self.tonic.fifths - (3 if self.mode == "minor" else 0)

    @property
    def degrees(self) -> tuple[str, ...]:
        """The seven degrees of the key; minor in its natural form."""
        return MODES["ionian" if self.mode == "major" else "aeolian"]

    def pitch_class(self, degree: str) -> PitchClass:
        """The spelled tone of a degree ('#4')."""
        return PitchClass(self.tonic.fifths + degree_fifths(degree))

    def degree_of(self, tone: PitchClass) -> str:
        """The degree of a spelled tone, against the major scale on the tonic."""
        return degree_named(tone.fifths - self.tonic.fifths)

    def pitch(self, degree: str, octave: int) -> Pitch:
        """The degree in the octave counted upwards from the tonic of that octave: degree 7 of C, 4 is B4.

        Args:
            degree: '1' to '7', altered or not.
            octave: scientific octave of the tonic below (or at) the pitch.
        """
        tone = self.pitch_class(degree)
        tonic_place = 7 * octave + LETTERS.index(self.tonic.step)
        place = tonic_place + int(degree[-1]) - 1
        return Pitch(tone.step, tone.alter, (place - LETTERS.index(tone.step)) // 7)

    @property
    def scale(self) -> tuple[PitchClass, ...]:
        """The seven tones from the tonic up."""
        return tuple(self.pitch_class(d) for d in self.degrees)


@lru_cache(maxsize=128)
def degree_fifths(degree: str) -> int:
    """Place of a degree on the line of fifths from the tonic.

    Raises:
        ValueError: the text is no degree.
    """
    match = _DEGREE.fullmatch(degree)
    if match is None:
        raise ValueError(f"no degree: {degree!r}")
    sign = len(match[1]) if match[1].startswith("#") else -len(match[1])
    return _MAJOR[int(match[2]) - 1] + 7 * sign


@lru_cache(maxsize=128)
def degree_named(fifths: int) -> str:
    """The degree at a place on the line of fifths from the tonic."""
    number = _MAJOR.index((fifths + 1) % 7 - 1)
    alter = (fifths - _MAJOR[number]) // 7
    return ("#" * alter if alter > 0 else "b" * -alter) + str(number + 1)


def modes_with(degree: str) -> tuple[str, ...]:
    """Every mode that has a degree, brightest first."""
    return tuple(name for name, degrees in MODES.items() if degree in degrees)
