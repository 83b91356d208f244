"""From numbers to names: roots, basses, keys and figures spelled as the score spells them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.findings import Mode, Quality
from tutor.analysis.slices import LOF, LOF_ZERO
from tutor.analysis.vocabulary import named
from tutor.music.chordsymbol import symbol_for
from tutor.music.pitch import PitchClass
from tutor.music.quality import MEMBERS
from tutor.music.roman import figure_for, parse_roman

_SCALES: dict[Mode, tuple[int, ...]] = {"major": (0, 2, 4, -1, 1, 3, 5), "minor": (0, 2, -3, -1, 1, -4, 5, -2)}

_TONIC = re.compile(r"I(?![IVt])")
_SECOND_DEGREES: tuple[Quality, ...] = ("minor", "minor-seventh", "diminished", "half-diminished-seventh")


@dataclass(frozen=True)
class Spelled:
    """A chord in its key, in names. A song has few chords many times: what follows from one is worked out once."""

    root: PitchClass
    quality: Quality
    inversion: int
    tones: tuple[PitchClass, ...]
    """Members, root first."""

    @cached_property
    def bass(self) -> PitchClass:
        """The member in the bass."""
        return self.tones[self.inversion]

    @cached_property
    def symbol(self) -> str:
        """Lead-sheet spelling."""
        return symbol_for(self.root, self.quality, self.bass)

    @cached_property
    def names(self) -> dict[int, str]:
        """The members' names by their place on the line of fifths, root first."""
        return {t.fifths: t.name for t in self.tones}

    @cached_property
    def _hash(self) -> int:
        return hash((self.root, self.quality, self.inversion, self.tones))

    def __hash__(self) -> int:
        return self._hash


def spell_tonic(chroma: int, mode: Mode, sound: NDArray[np.floating], signature: int) -> PitchClass:
    """Spell a tonic so that its scale is what sounds.

    Args:
        chroma: Semitones above C.
        mode: Major or minor.
        sound: Time on each place of the line of fifths in the key's stretch, shape (LOF,).
        signature: Key signature there; settles ties.
    """
    home = signature + (3 if mode == "minor" else 0)
    best, best_score = 0, -1e9
    total = float(sound.sum()) or 1.0
    for place in range(-9, 12):
        if (place * 7) % 12 != chroma:
            continue
        heard = sum(float(sound[place + step + LOF_ZERO]) for step in _SCALES[mode])
        score = heard / total - 0.02 * abs(place - home) - (0.5 if abs(place) > 7 + 3 * (mode == "minor") else 0.0)
        if score > best_score:
            best, best_score = place, score
    return PitchClass(best)


def spell_chord(chroma: int, index: int, tonic: PitchClass, sound: Sequence[float]) -> Spelled:
    """Spell a chord class on a root as the notes under it are spelled, and near its key where they do not say.

    Args:
        chroma: Root in semitones above C (for augmented sixths: the lowered sixth degree in the bass).
        index: Chord class.
        tonic: Tonic of the key.
        sound: Time on each place of the line of fifths under the chord, LOF numbers.
    """
    best: Spelled | None = None
    best_score = -1e9
    for chord, places, far in _spellings(chroma, index, tonic.fifths):
        score = sum([sound[place] for place in places]) - far
        if score > best_score:
            best, best_score = chord, score
    assert best is not None
    return best


@lru_cache(maxsize=4096)
def _spellings(chroma: int, index: int, home: int) -> tuple[tuple[Spelled, tuple[int, ...], float], ...]:
    """Ways to spell a chord near a tonic, each with its members' places in a histogram and what its distance costs."""
    out = []
    for place in range(home - 10, home + 14):
        if (place * 7) % 12 != chroma:
            continue
        root, quality, inversion = named(place, index)
        members = [root + s for s in MEMBERS[quality]]
        if not all(-LOF_ZERO <= m < LOF - LOF_ZERO for m in members):
            continue
        far = 0.05 * abs(sum(members) / len(members) - home - 1.5)
        chord = Spelled(PitchClass(root), quality, inversion, tuple(PitchClass(m) for m in members))
        out.append((chord, tuple(m + LOF_ZERO for m in members), far))
    return tuple(out)


@lru_cache(maxsize=4096)
def figure(chord: Spelled, tonic: PitchClass, mode: Mode, after: str = "") -> str:
    """The chord's Roman numeral.

    Args:
        chord: The chord.
        tonic: Tonic of its key.
        mode: Mode of its key.
        after: Figure of the next chord in the same key. A foreign chord that stands on the second degree of the key to
            which the next one is applied is read in that key too: ii7/IV before V7/IV. A diminished seventh on the
            raised second degree that goes to the tonic leads nowhere else: #iio7, not viio7/iii (the common-tone
            diminished seventh of the textbooks; recalled).
    """
    plain = figure_for(chord.root, chord.quality, chord.inversion, tonic, mode)
    if plain.endswith("/iii") and chord.quality == "diminished-seventh" and _TONIC.match(after):
        return figure_for(chord.root, chord.quality, chord.inversion, tonic, mode, applied_to="")
    if "/" in plain or "/" not in after or chord.quality not in _SECOND_DEGREES:
        return plain
    target = after.split("/", 1)[1]
    foreign = {t.fifths - tonic.fifths for t in chord.tones} - set(_SCALES[mode])
    if foreign and chord.root.fifths == parse_roman(target, tonic, mode).root.fifths + 2:
        return figure_for(chord.root, chord.quality, chord.inversion, tonic, mode, applied_to=target)
    return plain
