"""Lines in a mode, over the tonic and its fifth held below."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace

from drills._melody import CLEAN
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, pretty
from tutor.music.scale import MODES, Key, modes_with

BENT = ("b2", "b3", "#4", "b6", "b7")
"""Degrees that a line in major bends, by number."""
DEGREE_TEXT = {
    "b2": "♭2: the lowered second",
    "b3": "♭3: the lowered third",
    "#4": "♯4: the raised fourth",
    "b6": "♭6: the lowered sixth",
    "b7": "♭7: the lowered seventh",
}


def degree_words(degree: str) -> str:
    """'♭7'."""
    return degree.replace("b", "♭").replace("#", "♯")


def bent_scale(degree: str) -> tuple[str, ...]:
    """The major scale with one degree bent."""
    return tuple(degree if d == degree[-1] else d for d in MODES["ionian"])


def line(
    rng: random.Random, key: Key, degrees: Sequence[str], count: int, must: Sequence[str], *, low: int, high: int
) -> tuple[Pitch, ...] | None:
    """A line by step and third that ends on the tonic and holds every degree in ``must``.

    An altered degree is left in its own direction where it is left by step: raised upwards, lowered downwards.

    Args:
        rng: the only source of chance.
        key: gives the tonic.
        degrees: the seven degrees of the scale.
        count: notes.
        must: degrees that have to come.
        low: lowest MIDI number.
        high: highest MIDI number.
    """
    tonics = [o for o in range(1, 7) if low <= key.pitch("1", o).midi <= high - 7]
    if not tonics:
        return None
    octave = rng.choice(tonics)

    held = {p: key.pitch(degrees[p % 7], octave + p // 7) for p in range(-3, 9)}
    held = {p: pitch for p, pitch in held.items() if low <= pitch.midi <= high}
    midis = {p: pitch.midi for p, pitch in held.items()}
    ways = {
        p: [m for m in (-2, -1, 1, 2) if p + m in midis and (abs(midis[p + m] - midis[p]), abs(m)) in CLEAN]
        for p in midis
    }
    for p, moves in ways.items():
        degree = degrees[p % 7]
        own = 1 if degree.startswith("#") else -1 if _bends(degree, degrees) else 0
        if own in moves:
            ways[p] = [own]
    for _ in range(60):
        walk = _walk(rng, ways, degrees, count, set(must))
        if walk is not None and 0 in held:
            return tuple(held[p] for p in (*walk, 0))
    return None


def _bends(degree: str, degrees: Sequence[str]) -> bool:
    """True for a lowered degree in an otherwise major scale."""
    return degree.startswith("b") and len(set(degrees) & set(MODES["ionian"])) == 6


def _walk(
    rng: random.Random, ways: dict[int, list[int]], degrees: Sequence[str], count: int, wanted: set[str]
) -> list[int] | None:
    """Places of all notes but the last, which is the tonic."""
    walk: list[int] = [rng.choice([p for p in (0, 2, 4) if p in ways])]
    wanted.discard(degrees[walk[0] % 7])
    while len(walk) < count - 1:
        here = walk[-1]
        moves = ways[here]
        if len(walk) > 1 and abs(here - walk[-2]) == 2:
            moves = [m for m in moves if abs(m) == 1]
        if not moves:
            return None
        left = count - len(walk)
        weights = [
            (3.0 if abs(m) == 1 else 1.0) * (5.0 if degrees[(here + m) % 7] in wanted else 1.0)
            * (0.05 if abs(here + m) > left else 1.0)
            for m in moves
        ]  # fmt: skip
        walk.append(here + rng.choices(moves, weights)[0])
        wanted.discard(degrees[walk[-1] % 7])
    close = -walk[-1] in ways[walk[-1]] and abs(walk[-1]) == 1
    return walk if close and not wanted else None


def sung_over_drone(pitches: Sequence[Pitch], key: Key, bpm: float, rng: random.Random) -> Phrase:
    """The line in even and longer notes, over tonic and fifth."""
    tones: list[Tone] = []
    onset = 0.0
    for i, pitch in enumerate(pitches):
        last = i == len(pitches) - 1
        length = 2.0 if last else 1.0 if rng.random() < 0.7 or onset % 1 else 0.5
        if (length == 0.5 and i + 1 < len(pitches) - 1 and onset % 1 == 0) or onset % 1:
            length = 0.5
        tones.append(Tone(onset, length, pitch, "voice", 0.8))
        onset += length
    root = key.pitch("1", 2 if key.pitch("1", 2).midi >= 43 else 3)
    fifth = key.pitch("5", root.octave)
    drone = (Tone(0.0, onset, root, "lower", 0.4), Tone(0.0, onset, fifth, "lower", 0.35))
    return Phrase((*tones, *drone), bpm=bpm, fifths=key.fifths)


def pointed(phrase: Phrase, key: Key, degree: str, mark: str = "borrowed") -> Phrase:
    """Every sung note on a degree pointed out."""
    tones = tuple(
        replace(t, mark=mark) if t.line == "voice" and key.degree_of(t.pitch.pitch_class) == degree else t
        for t in phrase.tones
    )
    return replace(phrase, tones=tones)


def straightened(phrase: Phrase, key: Key, degree: str) -> Phrase:
    """The line with a bent degree back in its place in the major scale."""
    tones = []
    for tone in phrase.tones:
        if key.degree_of(tone.pitch.pitch_class) == degree:
            plain = key.pitch_class(degree[-1])
            tone = replace(tone, pitch=Pitch(plain.step, plain.alter, tone.pitch.octave))
        tones.append(tone)
    return replace(phrase, tones=tuple(tones))


def lender_words(degree: str) -> str:
    """Which modes have a degree, in words."""
    names = [m.capitalize() for m in modes_with(degree)]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def spelled(pitch: Pitch) -> str:
    """'B♭4'."""
    return pretty(pitch.name)
