"""One throw of the dice: the material, the level, and the choices every drill makes the same way."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from drills._sheet import Family, Part, Sheet
from drills._texture import block
from drills._voicing import lead
from tutor.music.phrase import Phrase
from tutor.music.pitch import pretty
from tutor.music.progression import harmonies
from tutor.music.scale import Key
from tutor.practice.drill import Choice, Excerpt, Item, Material, NoMaterial, Song
from tutor.practice.material import and_list as and_list

MAJOR = ("C", "G", "F", "D", "Bb", "A", "Eb", "E", "Ab", "B", "Db", "F#")
MINOR = ("A", "E", "D", "B", "G", "F#", "C", "C#", "F", "G#", "Bb")
"""Tonics, simplest signature first."""
_THROWS = 60
_NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Draw:
    """What a skill draws on."""

    skill: str
    material: Material
    rng: random.Random
    level: float

    def key(self, *modes: str) -> Key:
        """A key; signatures grow with the level."""
        mode = self.rng.choice(modes or ("major", "minor"))
        tonics = MAJOR if mode == "major" else MINOR
        return Key.parse(f"{self.rng.choice(tonics[: 5 + round(self.level * (len(tonics) - 5))])} {mode}")

    def bpm(self, slow: float = 72, fast: float = 108) -> float:
        """A tempo that rises with the level."""
        return float(round(slow + (fast - slow) * self.level + self.rng.uniform(-6, 6)))

    def hard(self, border: float = 0.5) -> bool:
        """True more often the higher the level lies above a border."""
        return self.rng.random() < min(1.0, max(0.0, (self.level - border) * 2 + 0.5 if self.level > border else 0))

    def choose(self, right: str, pool: Mapping[str, str], count: int) -> tuple[Choice, ...]:
        """The right answer among others, in the order of the pool.

        What this singer takes for the right one comes first, then what lies nearest in the pool.

        Args:
            right: label of the right answer.
            pool: label to text, in the order shown, neighbours beside each other.
            count: how many choices, at most eight.
        """
        labels = list(pool)
        confused = [c for c in self.material.confusions.get(right, ()) if c in pool and c != right]
        place = labels.index(right)
        others = [label for label in labels if label != right and label not in confused]
        others.sort(key=lambda x: (abs(labels.index(x) - place) + self.rng.random() * 2.5, x))
        kept = {right, *[*confused, *others][: min(count, 8) - 1]}
        return tuple(Choice(label, pool[label]) for label in labels if label in kept)

    def song(self, fits: Callable[[Song], bool] = lambda _: True) -> Song:
        """One of the songs.

        Raises:
            NoMaterial: none fits.
        """
        songs = [s for s in self.material.songs if fits(s)]
        if not songs:
            raise NoMaterial(f"{self.skill}: no song at hand holds this")
        return self.rng.choice(songs)


class Drawn(Family):
    """A drill whose skills are drawn."""

    def item(self, skill: str, material: Material, rng: random.Random, level: float = 0.3) -> Item:
        """Make an item.

        Raises:
            NoMaterial: the material holds nothing for the skill.
            ValueError: the drill has no such skill.
        """
        part: Part | None = self.parts.get(skill)
        if part is None:
            raise ValueError(f"{self.name} has no skill {skill!r}")
        if part.song and not material.songs:
            raise NoMaterial(f"{skill}: there is no song yet")
        draw = Draw(skill, material, rng, min(1.0, max(0.0, level)))
        for _ in range(_THROWS):
            sheet: Sheet | None = part.make(draw)
            if sheet is not None:
                return Item(self.name, skill, round(draw.level, 4), sheet.song_id, sheet.to_json())
        raise NoMaterial(f"{skill}: nothing fits these limits")


_CLOSES = {
    "major": (("I", "IV", "V7", "I"), ("I", "ii6", "V7", "I"), ("I", "V7", "I"), ("I", "IV", "I64", "V", "I")),
    "minor": (("i", "iv", "V7", "i"), ("i", "iio6", "V7", "i"), ("i", "V7", "i"), ("i", "iv", "i64", "V", "i")),
}  # fmt: skip
_SETTINGS = 32


@lru_cache(maxsize=2048)
def cue(key: Key, number: int = 0) -> Phrase:
    """A short close in a key, to set it; the numbers give different settings."""
    rng = random.Random(f"{key.name} {number}")
    names = _CLOSES[key.mode][number % 4]
    voicings = lead(harmonies(names, key), rng)
    assert voicings is not None
    phrase = block(voicings, key, [1.0] * (len(names) - 1) + [2.0], 104.0)
    return replace(phrase, tones=tuple(replace(t, velocity=0.5) for t in phrase.tones))


def key_heard(draw: Draw, key: Key, *, named: bool = True) -> Excerpt:
    """The key, set by a close."""
    return Excerpt(f"The key: {pretty_key(key)}" if named else "The key", cue(key, draw.rng.randrange(_SETTINGS)))


def pretty_key(key: Key) -> str:
    """'B♭ major'."""
    return f"{pretty(key.tonic.name)} {key.mode}"


def stretch(phrase: Phrase, start: float, end: float) -> Phrase:
    """The notes that begin within a stretch, moved to the front."""
    tones = tuple(
        replace(t, onset_quarters=round(t.onset_quarters - start, 6))
        for t in phrase.tones
        if start - 1e-6 <= t.onset_quarters < end - 1e-6
    )
    return replace(phrase, tones=tones, figures=(), pickup_quarters=0.0)


def capital(text: str) -> str:
    """The text with a capital letter first."""
    return text[:1].upper() + text[1:]


def number(count: int) -> str:
    """A small number in words: 'three'; from thirteen on in figures."""
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)
