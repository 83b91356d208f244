"""Lead-sheet chord symbols, written and read: 'Gm/Bb', 'F#m7b5', 'Bbmaj7', 'C6', 'Dsus4'.

Spelling of the suffixes is common practice; the program writes one form of each and reads the usual others.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from tutor.music.chord import SHAPES, Chord
from tutor.music.pitch import PitchClass, pretty
from tutor.music.quality import QUALITIES, Quality, tones_of

_HEAD = re.compile(r"([A-G])(bb|b|##|#|x)?(.*)")
_PLAIN = str.maketrans({"♭": "b", "♯": "#", "△": "Δ", "∆": "Δ", "−": "-", "–": "-", "°": "o", "Ø": "ø", "♮": ""})
_SEVENTHS_ON_SIXTH: dict[Quality, Quality] = {
    "italian-sixth": "dominant-seventh",
    "german-sixth": "dominant-seventh",
    "french-sixth": "dominant-seventh-flat-five",
}
"""A lead sheet has no augmented sixths: it writes the seventh chord that sounds the same, on the flat sixth degree."""
_NAMES: dict[str, Quality] = {
    **{Chord(PitchClass(0), q).symbol[1:]: q for q in QUALITIES if q in SHAPES},
    "maj": "major", "M": "major", "Δ": "major-seventh", "min": "minor", "mi": "minor", "-": "minor", "o": "diminished",
    "mb5": "diminished", "mib5": "diminished", "-b5": "diminished", "+": "augmented", "#5": "augmented",
    "+5": "augmented",
    "dom7": "dominant-seventh", "M7": "major-seventh", "ma7": "major-seventh", "Δ7": "major-seventh",
    "j7": "major-seventh", "min7": "minor-seventh", "mi7": "minor-seventh", "-7": "minor-seventh",
    "ø": "half-diminished-seventh", "ø7": "half-diminished-seventh", "m7-5": "half-diminished-seventh",
    "min7b5": "half-diminished-seventh", "mi7b5": "half-diminished-seventh", "-7b5": "half-diminished-seventh",
    "o7": "diminished-seventh", "mM7": "minor-major-seventh", "mmaj7": "minor-major-seventh",
    "m#7": "minor-major-seventh", "-maj7": "minor-major-seventh", "-M7": "minor-major-seventh",
    "minmaj7": "minor-major-seventh", "mΔ7": "minor-major-seventh", "mΔ": "minor-major-seventh",
    "+7": "augmented-seventh", "7#5": "augmented-seventh", "7+5": "augmented-seventh", "7+": "augmented-seventh",
    "+maj7": "augmented-major-seventh", "+M7": "augmented-major-seventh", "augmaj7": "augmented-major-seventh",
    "M7#5": "augmented-major-seventh", "maj7+5": "augmented-major-seventh", "7-5": "dominant-seventh-flat-five",
    "sus": "suspended-fourth", "4": "suspended-fourth", "7sus4": "suspended-fourth", "7sus": "suspended-fourth",
    "9sus4": "suspended-fourth", "9sus": "suspended-fourth", "2": "added-ninth", "add2": "added-ninth",
    "maj6": "major-sixth", "M6": "major-sixth", "6/9": "major-sixth", "69": "major-sixth", "min6": "minor-sixth",
    "mi6": "minor-sixth", "-6": "minor-sixth", "no3": "power", "M9": "major-ninth", "ma9": "major-ninth",
    "Δ9": "major-ninth", "min9": "minor-ninth", "mi9": "minor-ninth", "-9": "minor-ninth", "7b9": "dominant-ninth",
    "ø9": "half-diminished-seventh", "o9": "diminished-seventh", "mM9": "minor-major-seventh",
    "+M9": "augmented-major-seventh", "9#5": "augmented-seventh", "+9": "augmented-seventh", "M11": "major-ninth",
    "M13": "major-ninth", "maj11": "major-ninth", "m13": "minor-ninth",
    "11": "dominant-ninth", "13": "dominant-ninth", "m11": "minor-ninth", "maj13": "major-ninth",
    "maj7#11": "major-seventh", "7#11": "dominant-seventh", "7#9": "dominant-seventh", "7b13": "dominant-seventh",
    "7alt": "dominant-seventh", "alt": "dominant-seventh", "madd9": "minor", "madd2": "minor",
}  # fmt: skip
"""What may follow the root. Tones beyond the ninth are heard as colour and left out of the quality."""


@dataclass(frozen=True, slots=True)
class SymbolChord:
    """A chord symbol read."""

    root: PitchClass
    quality: Quality
    bass: PitchClass
    """The note after the slash, else the root; it need not be a member."""

    @property
    def inversion(self) -> int | None:
        """Member in the bass, or None for a foreign bass."""
        tones = tones_of(self.root, self.quality)
        return tones.index(self.bass) if self.bass in tones else None


def symbol_for(root: PitchClass, quality: Quality, bass: PitchClass | None = None) -> str:
    """Write a chord symbol.

    Args:
        root: Root.
        quality: Quality.
        bass: Lowest note; None or the root for root position.
    """
    below = root if bass is None else bass
    if quality in _SEVENTHS_ON_SIXTH:
        tones = tones_of(root, quality)
        root = tones[2] if quality == "french-sixth" else tones[1]
        quality = _SEVENTHS_ON_SIXTH[quality]
    slash = "" if below == root else f"/{below.name}"
    return f"{Chord(root, quality).symbol}{slash}"


@lru_cache(maxsize=4096)
def parse_symbol(text: str) -> SymbolChord:
    """Read a chord symbol.

    Args:
        text: 'F#m7b5', 'B♭maj7', 'C7(b9)', 'Gm/Bb'. Flats are 'b' or '♭'.

    Raises:
        ValueError: the text is no chord symbol; the message names it.
    """
    cleaned = re.sub(r"\s", "", text.translate(_PLAIN))
    match = _HEAD.fullmatch(cleaned)
    if not match:
        raise ValueError(f"no chord symbol: {text!r}")
    root = _pitch_class(match[1], match[2])
    suffix, bass = match[3], root
    slash = re.fullmatch(r"(.*)/([A-G])(bb|b|##|#|x)?", suffix)
    if slash:
        suffix, bass = slash[1], _pitch_class(slash[2], slash[3])
    quality = _quality(suffix)
    if quality is None:
        raise ValueError(f"no chord symbol: {text!r}")
    return SymbolChord(root, quality, bass)


def symbol_words(symbol: str) -> str:
    """A lead-sheet symbol with the usual signs: 'B♭m7/A♭'."""
    head, slash, bass = symbol.partition("/")
    size = 2 if len(head) > 1 and head[1] in "#b" else 1
    rest = head[size:].replace("b5", "♭5").replace("#5", "♯5")
    return pretty(head[:size]) + rest + slash + (pretty(bass) if bass else "")


def _pitch_class(letter: str, sign: str | None) -> PitchClass:
    alter = {None: 0, "b": -1, "bb": -2, "#": 1, "##": 2, "x": 2}[sign]
    return PitchClass.of(letter, alter)


def _quality(suffix: str) -> Quality | None:
    """The quality a suffix names; what is in brackets or added counts only where the whole is not known."""
    for form in (suffix, re.sub(r"[(),]", "", suffix), re.sub(r"\(.*?\)", "", suffix)):
        if form in _NAMES:
            return _NAMES[form]
    shorter = re.sub(r"(add|no|omit)[#b]?\d+|[#b](9|11|13)", "", re.sub(r"[(),]", "", suffix))
    return _NAMES.get(shorter) if shorter != suffix else None
