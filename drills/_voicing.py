"""Four voices by the rules: ranges, spacing, doubling, no parallel fifths or octaves, tendency tones resolved.

The rules are those of every harmony course (common practice); the numbers of the ranges are ours. Voicings of a
chord and their followers are kept once found, so that a progression costs a few hundred microseconds.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from tutor.music.pitch import Pitch, PitchClass
from tutor.music.progression import Harmony

Voicing = tuple[Pitch, ...]
"""Bass, tenor, alto, soprano."""

BASS, TENOR, ALTO, SOPRANO = (40, 60), (48, 67), (55, 74), (60, 79)
"""MIDI ranges of the voices."""
BEST = 8
"""How many of the smoothest followers are drawn from."""
_WIDEST = (12, 9, 9, 9)
"""Largest leap of each voice in semitones."""


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """A voicing with its figures worked out once; compared by identity, for each is made once."""

    pitches: Voicing
    midis: tuple[int, ...]
    places: tuple[int, ...]
    """Staff places."""
    tones: tuple[PitchClass, ...]


def lead(chords: Sequence[Harmony], rng: random.Random, *, whole: Sequence[int] = ()) -> tuple[Voicing, ...] | None:
    """Lead four voices through a progression.

    Args:
        chords: the progression.
        rng: the only source of chance.
        whole: places whose chord must sound with all its members.

    Returns:
        One voicing a chord, or None when the rules leave no way.
    """
    size = len(chords[0].chord.tones)
    first = [v for v in voicings(chords[0]) if 0 not in whole or len(set(v.tones)) == size]
    rng.shuffle(first)
    for start in first[:6]:
        path = [start]
        if _extend(path, chords, rng, frozenset(whole), [60]):
            return tuple(v.pitches for v in path)
    return None


def _extend(
    path: list[Laid], chords: Sequence[Harmony], rng: random.Random, whole: frozenset[int], budget: list[int]
) -> bool:
    at = len(path)
    if at == len(chords):
        return True
    budget[0] -= 1
    if budget[0] < 0:
        return False
    ways = followers(chords[at - 1], path[-1], chords[at])
    if at in whole:
        full = len(chords[at].chord.tones)
        ways = tuple(v for v in ways if len(set(v.tones)) == full)
    best = list(ways[:BEST])
    rng.shuffle(best)
    for way in [*best, *ways[BEST : BEST + 6]]:
        path.append(way)
        if _extend(path, chords, rng, whole, budget):
            return True
        path.pop()
    return False


@lru_cache(maxsize=40_000)
def followers(before: Harmony, voicing: Laid, after: Harmony) -> tuple[Laid, ...]:
    """Every voicing that may follow, smoothest first."""
    ways = [v for v in voicings(after) if _allowed(before, voicing, after, v)]
    return tuple(sorted(ways, key=lambda v: (_motion(voicing, v), v.midis)))


def _allowed(before: Harmony, a: Laid, after: Harmony, b: Laid) -> bool:
    """True when the step from one voicing to the next breaks no rule."""
    return (
        _leaps_fit(a, b)
        and not _overlaps(a.midis, b.midis)
        and not _parallels(a, b)
        and _tendencies_resolve(before, a, after, b)
        and not _cross_relation(a, b)
    )


@lru_cache(maxsize=4096)
def voicings(harmony: Harmony) -> tuple[Laid, ...]:
    """Every four-part voicing of a chord within ranges and spacing, rightly doubled."""
    chord = harmony.chord
    spread = [[(p, p.midi) for t in chord.tones for p in _in_range(t, r)] for r in (TENOR, ALTO, SOPRANO)]
    found = []
    for bass in _in_range(chord.bass, BASS):
        low = bass.midi
        for tenor, t in spread[0]:
            if not 0 < t - low <= 19:
                continue
            for alto, a in spread[1]:
                if not 0 < a - t <= 12:
                    continue
                for soprano, s in spread[2]:
                    if 0 < s - a <= 12:
                        pitches = (bass, tenor, alto, soprano)
                        tones = tuple(p.pitch_class for p in pitches)
                        if _doubling_fits(harmony, tones):
                            found.append(Laid(pitches, (low, t, a, s), tuple(p.diatonic for p in pitches), tones))
    return tuple(found)


def _doubling_fits(harmony: Harmony, voices: tuple[PitchClass, ...]) -> bool:
    chord = harmony.chord
    tones = chord.tones
    counts = [voices.count(t) for t in tones]
    if len(tones) == 4:
        dominant_without_fifth = counts == [2, 1, 0, 1] and chord.inversion == 0
        return counts == [1, 1, 1, 1] or dominant_without_fifth
    if 0 in counts:
        # A tonic may close with three roots and a third.
        return chord.inversion == 0 and counts == [3, 1, 0] and chord.quality in ("major", "minor")
    doubled = counts.index(2)
    if tones[doubled] == harmony.leading or (tones[doubled] in harmony.altered and doubled):
        return False
    if chord.quality == "diminished":
        return doubled == 1
    if chord.inversion == 0:
        return doubled == 0 or (doubled == 1 and harmony.figure in ("vi", "VI"))
    return doubled == 2 if chord.inversion == 2 else doubled in (0, 2) or chord.quality == "minor"


def _in_range(tone: PitchClass, limits: tuple[int, int]) -> list[Pitch]:
    octaves = (Pitch(tone.step, tone.alter, o) for o in range(1, 7))
    return [p for p in octaves if limits[0] <= p.midi <= limits[1]]


def _motion(a: Laid, b: Laid) -> float:
    x, y = a.midis, b.midis
    return abs(x[1] - y[1]) + abs(x[2] - y[2]) + abs(x[3] - y[3]) + 0.25 * abs(x[0] - y[0])


def _leaps_fit(a: Laid, b: Laid) -> bool:
    for i in range(4):
        size = b.midis[i] - a.midis[i]
        if size == 0:
            continue
        if abs(size) > _WIDEST[i] or abs(size) in (10, 11):
            return False
        letters = b.places[i] - a.places[i]
        if letters and letters != 0 and _augmented(abs(size), abs(letters)):
            return False
    return True


def _augmented(semitones: int, letters: int) -> bool:
    """True for an augmented second or larger: more semitones than the major or perfect interval of its letters."""
    return semitones > (0, 2, 4, 5, 7, 9, 11, 12)[min(letters, 7)]


def _overlaps(a: tuple[int, ...], b: tuple[int, ...]) -> bool:
    return b[0] > a[1] or b[1] > a[2] or b[2] > a[3] or b[1] < a[0] or b[2] < a[1] or b[3] < a[2]


def _parallels(a: Laid, b: Laid) -> bool:
    """Consecutive fifths or octaves in any two voices, or ones reached by leap in similar motion outside."""
    x, y = a.midis, b.midis
    for i in range(3):
        for j in range(i + 1, 4):
            if x[i] == y[i] or x[j] == y[j]:
                continue
            after = (y[j] - y[i]) % 12
            if after not in (0, 7):
                continue
            if after == (x[j] - x[i]) % 12:
                return True
            similar = (y[i] > x[i]) == (y[j] > x[j])
            if i == 0 and j == 3 and similar and abs(b.places[3] - a.places[3]) > 1:
                return True
    return False


def _tendencies_resolve(before: Harmony, a: Laid, after: Harmony, b: Laid) -> bool:
    """The leading tone rises where its target follows; the seventh stays or falls by step."""
    seventh, leading, target = before.chord.seventh, before.leading, before.target
    tones = after.chord.tones
    for i, tone in enumerate(a.tones):
        move = b.midis[i] - a.midis[i]
        if tone == leading and target in tones and leading not in tones and move != 1:
            return False
        if tone == seventh and (move != 0 if tone in tones else b.places[i] - a.places[i] != -1):
            return False
    return True


def _cross_relation(a: Laid, b: Laid) -> bool:
    """A letter altered from one chord to the next must be altered in a voice that had it."""
    for tone in set(b.tones) - set(a.tones):
        clash = [i for i in range(4) if a.tones[i].step == tone.step]
        if clash and not any(b.tones[i] == tone and abs(b.midis[i] - a.midis[i]) == 1 for i in clash):
            return True
    return False
