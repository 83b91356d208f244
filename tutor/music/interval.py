"""Spelled intervals: a number of letters and a place on the line of fifths."""

from __future__ import annotations

import re
from dataclasses import dataclass

from tutor.music.pitch import Pitch

_NATURAL = (0, 2, 4, -1, 1, 3, 5)
"""Fifths of the perfect and major intervals, unison to seventh."""
_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_PERFECT = (0, 3, 4)
_NUMBERS = (
    "unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth", "tenth", "eleventh",
    "twelfth", "thirteenth", "fourteenth", "double octave",
)  # fmt: skip
_WORDS = {"P": "perfect", "M": "major", "m": "minor", "A": "augmented", "d": "diminished"}
_NAME = re.compile(r"(P|M|m|A{1,3}|d{1,3})(\d{1,2})")


@dataclass(frozen=True, slots=True)
class Interval:
    """An interval upwards; a downward one has its signs turned."""

    fifths: int
    """Places on the line of fifths."""
    diatonic: int
    """Letters: a second is 1, an octave 7."""

    @classmethod
    def between(cls, start: Pitch, end: Pitch) -> Interval:
        """From one pitch to another."""
        return cls(end.pitch_class.fifths - start.pitch_class.fifths, end.diatonic - start.diatonic)

    @classmethod
    def parse(cls, name: str) -> Interval:
        """Read 'm3', 'P5', 'A4'.

        Raises:
            ValueError: the text is no interval.
        """
        match = _NAME.fullmatch(name)
        number = int(match[2]) - 1 if match else -1
        if match is None or not 0 <= number <= 14:
            raise ValueError(f"no interval: {name!r}")
        kind, simple = match[1], number % 7
        perfect = simple in _PERFECT
        if (kind == "P") != perfect and kind in "PMm":
            raise ValueError(f"no interval: {name!r}")
        alter = {"P": 0, "M": 0, "m": -1}.get(kind)
        if alter is None:
            alter = len(kind) if kind[0] == "A" else -len(kind) - (0 if perfect else 1)
        return cls(_NATURAL[simple] + 7 * alter, number)

    @property
    def semitones(self) -> int:
        """Size in semitones; negative downwards."""
        octaves, simple = divmod(self.diatonic, 7)
        return 12 * octaves + _SEMITONES[simple] + self._alter

    @property
    def _alter(self) -> int:
        return (self.fifths - _NATURAL[self.diatonic % 7]) // 7

    @property
    def up(self) -> Interval:
        """The same size upwards."""
        down = self.diatonic < 0 or (self.diatonic == 0 and self.fifths < 0)
        return Interval(-self.fifths, -self.diatonic) if down else self

    @property
    def simple(self) -> Interval:
        """Octaves taken off; an octave itself stays."""
        wide = self.up
        while wide.diatonic > 7:
            wide = Interval(wide.fifths, wide.diatonic - 7)
        return wide

    @property
    def kind(self) -> str:
        """'P', 'M', 'm', 'A' or 'd' (doubled where doubly altered)."""
        wide = self.up
        alter, perfect = wide._alter, wide.diatonic % 7 in _PERFECT
        if alter >= 1:
            return "A" * alter
        if perfect:
            return "d" * -alter if alter else "P"
        return "M" if alter == 0 else "m" if alter == -1 else "d" * (-alter - 1)

    @property
    def name(self) -> str:
        """'m3', 'P5'; the direction is not named."""
        return f"{self.kind}{self.up.diatonic + 1}"

    @property
    def words(self) -> str:
        """'minor third'; 'octave' and 'unison' without 'perfect'."""
        number = self.up.diatonic
        word = _NUMBERS[number] if number < len(_NUMBERS) else f"interval of {number + 1} letters"
        if self.kind == "P" and number % 7 == 0:
            return word
        double = "doubly " if len(self.kind) > 1 else ""
        return f"{double}{_WORDS[self.kind[0]]} {word}"


def with_article(words: str) -> str:
    """'an octave', 'a minor third'."""
    return f"{'an' if words[:1] in 'aeiou' and not words.startswith('uni') else 'a'} {words}"
