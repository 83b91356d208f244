"""Harmony in a key: figures to chords, and idiomatic successions of chords.

Successions follow the usual teaching of tonal harmony (tonic, predominant, dominant, tonic; sevenths and leading
tones prepared to resolve): common practice, the choice of successors is ours.
"""

from __future__ import annotations

import random
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from tutor.music.chord import Chord
from tutor.music.pitch import PitchClass
from tutor.music.roman import parse_roman
from tutor.music.scale import Key

_LEADING = re.compile(r"(?P<dominant>V)(?![Ii])|(?P<seventh>vii)(?=[o%ø])")
"""A dominant, whose third is the leading tone, or a diminished chord on the leading tone itself."""


@dataclass(frozen=True, slots=True)
class Harmony:
    """A chord with its meaning in a key."""

    figure: str
    """Roman figure: 'V65/V'."""
    key: Key
    chord: Chord
    leading: PitchClass | None
    """Tone that wants to rise a semitone: the leading tone of the key or of the applied chord."""
    target: PitchClass | None
    """Where the leading tone goes."""

    @property
    def altered(self) -> tuple[PitchClass, ...]:
        """Members foreign to the key (raised 6 and 7 count as belonging to minor)."""
        home = set(self.key.scale)
        if self.key.mode == "minor":
            home |= {self.key.pitch_class("6"), self.key.pitch_class("7")}
        return tuple(t for t in self.chord.tones if t not in home)


@lru_cache(maxsize=4096)
def harmony(figure: str, key: Key) -> Harmony:
    """Read a figure in a key.

    Args:
        figure: a Roman numeral as `tutor.music.roman` reads it: 'ii65', 'bVI', 'viio7/V', 'iiø65'.
        key: the key.

    Raises:
        ValueError: the text is no figure of this form.
    """
    read = parse_roman(figure, key.tonic, key.mode)
    chord = Chord(read.root, read.quality, read.inversion)
    head, _, target = figure.partition("/")
    match = _LEADING.match(head)
    dominant = match is not None and match["dominant"] and chord.quality in ("major", "dominant-seventh")
    leading = chord.tones[1] if dominant else chord.root if match is not None and match["seventh"] else None
    goal = parse_roman(target, key.tonic, key.mode).root if target else key.tonic
    return Harmony(figure, key, chord, leading, goal if leading else None)


_PLAIN_MAJOR = {
    "I": ("IV", "V", "vi", "ii", "IV"), "ii": ("V", "V7"), "IV": ("V", "V7", "I", "ii"), "V": ("I", "I", "vi"),
    "V7": ("I", "vi"), "vi": ("IV", "ii", "iii"), "iii": ("vi", "IV"),
}  # fmt: skip
_RICH_MAJOR = {
    "I": ("IV", "V", "vi", "I6", "ii6", "V6", "V43", "viio6", "ii", "V65"), "I6": ("IV", "ii6", "V", "V43", "viio6"),
    "ii": ("V", "V7", "V65", "ii6"), "ii6": ("V", "V7", "V42"), "iii": ("vi", "IV"),
    "IV": ("V", "V7", "I", "ii", "ii6", "viio6", "V42", "I6"), "V": ("I", "vi", "V42"), "V7": ("I", "vi"),
    "V6": ("I",), "V65": ("I",), "V43": ("I",), "V42": ("I6",), "vi": ("IV", "ii", "ii6", "iii", "V6"),
    "viio6": ("I", "I6"), "ii65": ("V", "V7"), "IV6": ("V", "V6"),
}  # fmt: skip
_PLAIN_MINOR = {
    "i": ("iv", "V", "VI", "iv"), "iv": ("V", "V7", "i"), "V": ("i", "i", "VI"), "V7": ("i", "VI"),
    "VI": ("iv", "iio6"), "iio6": ("V", "V7"),
}  # fmt: skip
_RICH_MINOR = {
    "i": ("iv", "V", "VI", "i6", "iio6", "V6", "V43", "viio6", "V65", "III"), "i6": ("iv", "iio6", "V", "V43", "viio6"),
    "iio6": ("V", "V7", "V42"), "III": ("VI", "iv"), "iv": ("V", "V7", "i", "iio6", "V42", "i6"),
    "V": ("i", "VI", "V42"), "V7": ("i", "VI"), "V6": ("i",), "V65": ("i",), "V43": ("i",), "V42": ("i6",),
    "VI": ("iv", "iio6"), "viio6": ("i", "i6"), "iv6": ("V",), "iiø65": ("V", "V7"),
}  # fmt: skip
CLOSES = {
    "major": (("ii6", "V7", "I"), ("IV", "V", "I"), ("ii65", "V7", "I"), ("IV", "V7", "I"), ("ii6", "I64", "V", "I"),
              ("IV", "I64", "V7", "I"), ("ii", "V7", "I")),
    "minor": (("iio6", "V7", "i"), ("iv", "V", "i"), ("iiø65", "V7", "i"), ("iv", "V7", "i"), ("iio6", "i64", "V", "i"),
              ("iv", "i64", "V7", "i")),
}  # fmt: skip
"""Closing formulas: predominant, dominant (with or without its six-four), tonic."""
_INTO_CLOSE = {
    "ii6": ("I", "I6", "vi", "IV"), "IV": ("I", "I6", "vi"), "ii65": ("I", "I6", "vi", "IV"), "ii": ("I", "vi", "IV"),
    "iio6": ("i", "i6", "VI", "iv"), "iv": ("i", "i6", "VI"), "iiø65": ("i", "i6", "VI", "iv"),
}  # fmt: skip


def figures(rng: random.Random, mode: str, length: int, *, rich: bool, plain_close: bool = False) -> tuple[str, ...]:
    """An idiomatic progression from tonic to tonic.

    Args:
        rng: the only source of chance.
        mode: 'major' or 'minor'.
        length: chords, at least 4.
        rich: with inversions and sevenths inside.
        plain_close: close without a six-four.
    """
    table = (_RICH_MAJOR if rich else _PLAIN_MAJOR) if mode == "major" else (_RICH_MINOR if rich else _PLAIN_MINOR)
    tonic = "I" if mode == "major" else "i"
    closes = [c for c in CLOSES[mode] if len(c) < length and not (plain_close and any("64" in f for f in c))]
    if not rich:
        closes = [c for c in closes if c[0] in ("IV", "iv", "ii") and "64" not in c[1]] or closes
    for _ in range(200):
        close = rng.choice(closes)
        walk = [tonic]
        while len(walk) < length - len(close):
            walk.append(rng.choice([f for f in table[walk[-1]] if f != walk[-1]]))
        if walk[-1] in _INTO_CLOSE[close[0]]:
            return (*walk, *close)
    return (tonic, *(["IV" if mode == "major" else "iv", tonic] * length)[: length - 4], *closes[0][-3:])


def follows(before: str, after: str, mode: str) -> bool:
    """True when one figure may lead to another in this idiom."""
    table = _RICH_MAJOR if mode == "major" else _RICH_MINOR
    return after in table.get(before, ()) or before in _INTO_CLOSE.get(after, ())


def harmonies(figures_: Sequence[str], key: Key) -> tuple[Harmony, ...]:
    """The figures read in a key."""
    return tuple(harmony(f, key) for f in figures_)
