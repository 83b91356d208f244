"""Chords: root, quality and inversion, spelled in thirds.

Qualities carry the names of the analysis contract. Figures after Open Music Theory v1, "Thoroughbass figures".
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from tutor.music.interval import Interval
from tutor.music.pitch import Pitch, PitchClass

_SHAPES = {
    "major": "M3 P5", "minor": "m3 P5", "diminished": "m3 d5", "augmented": "M3 A5",
    "dominant-seventh": "M3 P5 m7", "major-seventh": "M3 P5 M7", "minor-seventh": "m3 P5 m7",
    "half-diminished-seventh": "m3 d5 m7", "diminished-seventh": "m3 d5 d7", "minor-major-seventh": "m3 P5 M7",
    "augmented-seventh": "M3 A5 m7", "augmented-major-seventh": "M3 A5 M7",
    "dominant-seventh-flat-five": "M3 d5 m7", "suspended-second": "M2 P5", "suspended-fourth": "P4 P5",
    "major-sixth": "M3 P5 M6", "minor-sixth": "m3 P5 M6", "power": "P5",
    "major-ninth": "M3 P5 M7 M9", "dominant-ninth": "M3 P5 m7 M9", "minor-ninth": "m3 P5 m7 M9",
    "added-ninth": "M3 P5 M9",
}  # fmt: skip
SHAPES: dict[str, tuple[Interval, ...]] = {
    name: (Interval(0, 0), *(Interval.parse(i) for i in text.split())) for name, text in _SHAPES.items()
}
"""Intervals of each member above the root, in thirds."""

QUALITY_WORDS = {
    "major": "major triad", "minor": "minor triad", "diminished": "diminished triad", "augmented": "augmented triad",
    "dominant-seventh": "dominant seventh", "major-seventh": "major seventh chord",
    "minor-seventh": "minor seventh chord", "half-diminished-seventh": "half-diminished seventh",
    "diminished-seventh": "diminished seventh", "minor-major-seventh": "minor triad with a major seventh",
    "augmented-seventh": "augmented triad with a minor seventh",
    "augmented-major-seventh": "augmented triad with a major seventh",
    "dominant-seventh-flat-five": "dominant seventh with a flat fifth", "suspended-second": "suspended second",
    "suspended-fourth": "suspended fourth", "major-sixth": "major triad with an added sixth",
    "minor-sixth": "minor triad with an added sixth", "power": "root and fifth alone",
    "major-ninth": "major ninth chord", "dominant-ninth": "dominant ninth", "minor-ninth": "minor ninth chord",
    "added-ninth": "major triad with an added ninth",
}  # fmt: skip
_SYMBOLS = {
    "major": "", "minor": "m", "diminished": "dim", "augmented": "aug", "dominant-seventh": "7",
    "major-seventh": "maj7", "minor-seventh": "m7", "half-diminished-seventh": "m7b5", "diminished-seventh": "dim7",
    "minor-major-seventh": "m(maj7)", "augmented-seventh": "aug7", "augmented-major-seventh": "maj7#5",
    "dominant-seventh-flat-five": "7b5", "suspended-second": "sus2", "suspended-fourth": "sus4", "major-sixth": "6",
    "minor-sixth": "m6", "power": "5", "major-ninth": "maj9", "dominant-ninth": "9", "minor-ninth": "m9",
    "added-ninth": "add9",
}  # fmt: skip
TRIAD_FIGURES = ("5/3", "6", "6/4")
SEVENTH_FIGURES = ("7", "6/5", "4/3", "4/2")
INVERSIONS = ("root position", "first inversion", "second inversion", "third inversion")
MEMBERS = ("root", "third", "fifth", "seventh")


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord without octaves."""

    root: PitchClass
    quality: str
    """One of `SHAPES`."""
    inversion: int = 0
    """Member in the bass: 0 root, 1 third, 2 fifth, 3 seventh."""

    @property
    def tones(self) -> tuple[PitchClass, ...]:
        """Members from the root up in thirds."""
        return _tones(self.root, self.quality)

    @property
    def bass(self) -> PitchClass:
        """The tone in the bass."""
        return self.tones[self.inversion]

    @property
    def seventh(self) -> PitchClass | None:
        """The seventh of the chord, if it has one."""
        tones = self.tones
        return tones[3] if len(tones) > 3 and SHAPES[self.quality][3].diatonic == 6 else None

    @property
    def is_seventh(self) -> bool:
        """True for a chord of four members with a seventh."""
        return len(self.tones) == 4 and self.seventh is not None

    @property
    def figure(self) -> str:
        """Figured bass in its short usual form: '5/3', '6', '6/4', '7', '6/5', '4/3', '4/2'."""
        return (SEVENTH_FIGURES if self.is_seventh else TRIAD_FIGURES)[self.inversion]

    @property
    def symbol(self) -> str:
        """Lead-sheet spelling: 'Gm/Bb'."""
        slash = f"/{self.bass.name}" if self.inversion else ""
        return f"{self.root.name}{_SYMBOLS[self.quality]}{slash}"

    @property
    def words(self) -> str:
        """'G minor triad'."""
        return f"{self.root.name} {QUALITY_WORDS[self.quality]}"

    def inverted(self, inversion: int) -> Chord:
        """The same chord over another member."""
        return replace(self, inversion=inversion)


@lru_cache(maxsize=2048)
def _tones(root: PitchClass, quality: str) -> tuple[PitchClass, ...]:
    return tuple(PitchClass(root.fifths + i.fifths) for i in SHAPES[quality])


def identify(tones: Iterable[PitchClass], bass: PitchClass) -> tuple[Chord, ...]:
    """Every chord in thirds that has exactly these spelled tones; more than one only for enharmonic doubles."""
    wanted = frozenset(tones)
    found = []
    for root in sorted(wanted):
        for quality in SHAPES:
            members = _tones(root, quality)
            if len(members) == len(wanted) and frozenset(members) == wanted and bass in members:
                found.append(Chord(root, quality, members.index(bass)))
    return tuple(found)


def sounding(chromas: Iterable[int], bass: int) -> tuple[tuple[int, str, int], ...]:
    """Every reading by ear alone of a set of pitch classes 0-11 over a bass: (root, quality, inversion).

    An augmented triad has three, a diminished seventh four, a minor seventh two (the other is an added sixth).
    """
    wanted = frozenset(chromas)
    found = []
    for root in sorted(wanted):
        for quality, shape in SHAPES.items():
            members = tuple((root + i.semitones) % 12 for i in shape)
            if len(members) == len(wanted) and frozenset(members) == wanted:
                found.append((root, quality, members.index(bass)))
    return tuple(found)


def close(chord: Chord, bass: Pitch) -> tuple[Pitch, ...]:
    """The chord in close position above a given bass pitch (which must be its bass tone).

    Raises:
        ValueError: the pitch is not the chord's bass.
    """
    tones = chord.tones
    if bass.pitch_class != chord.bass:
        raise ValueError(f"{bass} is not the bass of {chord.symbol}")
    out = [bass]
    for step in range(1, len(tones)):
        tone = tones[(chord.inversion + step) % len(tones)]
        out.append(above(tone, out[-1]))
    return tuple(out)


def above(tone: PitchClass, pitch: Pitch) -> Pitch:
    """The lowest pitch of a tone strictly above a pitch in staff places."""
    octave = pitch.octave
    found = Pitch(tone.step, tone.alter, octave)
    while found.diatonic <= pitch.diatonic:
        octave += 1
        found = Pitch(tone.step, tone.alter, octave)
    return found
