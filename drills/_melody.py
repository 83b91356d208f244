"""Singable melodies over harmony.

Rules (common practice): chord tones on the strong places; other tones come and go by step; leaps land on chord tones,
never a seventh or an augmented or diminished interval; a leap of a fourth or more turns back by step; the leading tone
rises where the tonic chord follows; no rocking between two notes; the last is reached by step or third; no parallel
fifths or octaves with the bass. The weights are ours.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from tutor.music.phrase import Tone
from tutor.music.pitch import Pitch
from tutor.music.progression import Harmony
from tutor.music.scale import Key

CELLS: dict[int, tuple[tuple[tuple[float, ...], ...], ...]] = {
    4: (
        ((1, 1, 1, 1), (2, 1, 1), (1, 1, 2), (2, 2), (3, 1)),
        ((1, 0.5, 0.5, 1, 1), (1.5, 0.5, 1, 1), (1, 1, 0.5, 0.5, 1), (2, 1.5, 0.5), (1, 1, 1, 0.5, 0.5)),
        ((0.5, 0.5, 1, 0.5, 0.5, 1), (1.5, 0.5, 1.5, 0.5), (0.5, 1, 0.5, 1, 1), (0.5, 0.5, 0.5, 0.5, 1, 1)),
    ),
    3: (
        ((1, 1, 1), (2, 1), (1, 2)),
        ((1, 0.5, 0.5, 1), (1.5, 0.5, 1), (1, 1, 0.5, 0.5)),
        ((0.5, 0.5, 1, 1), (0.5, 0.5, 0.5, 0.5, 1), (1.5, 0.5, 0.5, 0.5)),
    ),
}
"""Rhythms of a bar by beats, plain to lively."""
ENDS = {4: ((4,), (1, 3), (2, 2), (1, 1, 2)), 3: ((3,), (1, 2))}
"""Rhythms of a closing bar."""


CLEAN = {(0, 0), (1, 1), (2, 1), (3, 2), (4, 2), (5, 3), (7, 4), (8, 5), (9, 5), (12, 7)}
"""Singable moves as (semitones, letters): perfect, major and minor, up to the octave, without sevenths."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A note to be found."""

    onset: float
    length: float
    harmony: Harmony
    strong: bool
    first: bool
    """First note over its chord."""
    bass: int | None
    """MIDI number of the bass, where there is one."""


def rhythm(rng: random.Random, bars: int, level: float, beats: int = 4, *, closed: bool = True) -> list[list[float]]:
    """Note lengths bar by bar; the last bar comes to rest."""
    cells = CELLS[beats]
    out: list[list[float]] = []
    for bar in range(bars):
        if closed and bar == bars - 1:
            out.append([float(x) for x in rng.choice(ENDS[beats])])
            continue
        lively = min(2, int(level * 2.2 + rng.random() * 0.9))
        out.append([float(x) for x in rng.choice(cells[rng.randint(max(0, lively - 1), lively)])])
    return out


def melody(
    rng: random.Random,
    key: Key,
    chords: Sequence[Harmony],
    lengths: Sequence[Sequence[float]],
    *,
    low: int,
    high: int,
    level: float,
    basses: Sequence[int] | None = None,
    end: tuple[str, ...] = ("1",),
    beats: int = 4,
    start: Pitch | None = None,
    steps_only: bool = False,
) -> tuple[Tone, ...] | None:
    """A melody, one chord a bar.

    Args:
        rng: the only source of chance.
        key: the key.
        chords: the harmony of each bar.
        lengths: note lengths of each bar, in quarters.
        low: lowest MIDI number.
        high: highest MIDI number.
        level: more leaps and a wider compass as it rises.
        basses: MIDI number of the bass of each bar.
        end: degrees on which the last note may stand.
        beats: quarters a bar.
        start: a pitch that the first note must be.
        steps_only: no leaps at all.

    Returns:
        The notes, or None when the rules leave no way.
    """
    spots: list[Spot] = []
    for bar, (harmony, bar_lengths) in enumerate(zip(chords, lengths, strict=True)):
        at = 0.0
        for i, length in enumerate(bar_lengths):
            strong = at == 0 or (beats == 4 and at == 2.0) or length >= 1.5
            bass = basses[bar] if basses else None
            spots.append(Spot(bar * beats + at, length, harmony, strong, i == 0, bass))
            at += length
    compass = _compass(rng, key, low, high, level)
    path: list[Pitch] = []
    if not _find(path, spots, key, compass, rng, end, start, steps_only, [len(spots) * 12]):
        return None
    return tuple(Tone(s.onset, s.length, p, "voice", 0.8) for s, p in zip(spots, path, strict=True))


def _compass(rng: random.Random, key: Key, low: int, high: int, level: float) -> tuple[int, int]:
    """A band of MIDI numbers inside the limits, from a seventh wide to a tenth, around a place of rest."""
    width = min(high - low, 9 + round(level * 7))
    bottom = rng.randint(low, max(low, high - width))
    return bottom, bottom + width


def _find(
    path: list[Pitch], spots: Sequence[Spot], key: Key, compass: tuple[int, int], rng: random.Random,
    end: tuple[str, ...], start: Pitch | None, steps_only: bool, budget: list[int],
) -> bool:  # fmt: skip
    if len(path) == len(spots):
        return True
    budget[0] -= 1
    if budget[0] < 0:
        return False
    spot = spots[len(path)]
    ways = [start] if not path and start is not None else _ways(path, spots, key, compass, rng, steps_only)
    for pitch in ways:
        last = len(path) == len(spots) - 1
        if last and key.degree_of(pitch.pitch_class) not in end:
            continue
        if fits(path, spots, pitch, spot, steps_only):
            path.append(pitch)
            if _find(path, spots, key, compass, rng, end, start, steps_only, budget):
                return True
            path.pop()
    return False


def _ways(
    path: Sequence[Pitch], spots: Sequence[Spot], key: Key, compass: tuple[int, int], rng: random.Random, steps: bool
) -> list[Pitch]:
    """Pitches for the next note, likelier ones tending to come first."""
    harmony = spots[len(path)].harmony
    pool = scale_pitches(key, harmony, *compass)
    if not path:
        first = [p for p in pool if p.pitch_class in harmony.chord.tones]
        rng.shuffle(first)
        return first
    here = path[-1].diatonic
    # Weighted shuffle: the key u ** (1 / w) of A. Efraimidis and P. Spirakis (2006).
    return sorted(pool, key=lambda p: -(rng.random() ** (1 / _weight(abs(p.diatonic - here), steps))))


def _weight(size: int, steps: bool) -> float:
    return (0.35, 6.0, 2.0, 1.0, 0.8, 0.35, 0.02, 0.2)[min(size, 7)] if not steps or size < 2 else 0.01


@lru_cache(maxsize=8192)
def scale_pitches(key: Key, harmony: Harmony, low: int, high: int) -> tuple[Pitch, ...]:
    """The scale in force over a chord, between two MIDI numbers: chord members replace the key's form of a letter."""
    tones = {t.step: t for t in key.scale} | {t.step: t for t in harmony.chord.tones}
    octaves = range(low // 12 - 2, high // 12 + 1)
    pitches = (Pitch(t.step, t.alter, o) for o in octaves for t in tones.values())
    return tuple(p for p in pitches if low <= p.midi <= high)


def fits(path: Sequence[Pitch], spots: Sequence[Spot], pitch: Pitch, spot: Spot, steps_only: bool = False) -> bool:
    """True when a pitch may follow."""
    member = pitch.pitch_class in spot.harmony.chord.tones
    if spot.strong and not member:
        return False
    if len(path) == len(spots) - 1 and not member:
        return False
    if not path:
        return member
    before, last = spots[len(path) - 1], path[-1]
    move = pitch.diatonic - last.diatonic
    if steps_only and abs(move) > 1:
        return False
    if not _interval_fits(last, pitch, move) or not _outside_fits(before, last, pitch, move, member):
        return False
    if len(path) > 1 and not _turns_back(path[-2], last, move):
        return False
    rocks = len(path) > 2 and path[-3] == last and path[-2] == pitch and last != pitch
    closes_wide = len(path) == len(spots) - 1 and abs(move) > 2
    if rocks or closes_wide:
        return False
    if last.pitch_class == before.harmony.leading and spot.harmony is not before.harmony:
        target = before.harmony.target
        if target in spot.harmony.chord.tones and (pitch.pitch_class != target or pitch.midi - last.midi != 1):
            return False
    return not (spot.first and _parallel(before.bass, last, spot.bass, pitch))


def _interval_fits(last: Pitch, pitch: Pitch, move: int) -> bool:
    size = abs(pitch.midi - last.midi)
    return (size, abs(move)) in CLEAN


def _outside_fits(before: Spot, last: Pitch, pitch: Pitch, move: int, member: bool) -> bool:
    """A tone outside the chord comes and goes by step; a leap lands on a member."""
    inside = last.pitch_class in before.harmony.chord.tones
    return abs(move) == 1 or (move == 0 and inside and member) or (inside and member)


def _turns_back(earlier: Pitch, last: Pitch, move: int) -> bool:
    leap = last.diatonic - earlier.diatonic
    if abs(leap) >= 3:
        return move == 0 or (abs(move) == 1 and (move > 0) != (leap > 0))
    # Two thirds the same way are a broken chord; more of a leap on top is not.
    return not (abs(leap) == 2 and abs(move) > 2 and (move > 0) == (leap > 0))


def _parallel(bass_before: int | None, last: Pitch, bass: int | None, pitch: Pitch) -> bool:
    if bass is None or bass_before is None or bass == bass_before or pitch.midi == last.midi:
        return False
    after = (pitch.midi - bass) % 12
    return after in (0, 7) and after == (last.midi - bass_before) % 12
