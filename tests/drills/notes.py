"""Reading notes by music21 or by hand: chords, keys, degrees, intervals. Nothing here calls the drills' own theory."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

import music21

from tutor.music.phrase import Phrase, Tone
from tutor.practice.drill import Question

ORDINALS = ("first second third fourth fifth sixth seventh eighth ninth tenth eleventh twelfth").split()  # noqa: SIM905
INVERSIONS = ["root position", "first inversion", "second inversion", "third inversion"]
MEMBERS = ["root", "third", "fifth", "seventh"]
# Semitones above the root.
TEMPLATES = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "diminished": (0, 3, 6), "augmented": (0, 4, 8),
    "dominant-seventh": (0, 4, 7, 10), "major-seventh": (0, 4, 7, 11), "minor-seventh": (0, 3, 7, 10),
    "half-diminished-seventh": (0, 3, 6, 10), "diminished-seventh": (0, 3, 6, 9), "minor-major-seventh": (0, 3, 7, 11),
}  # fmt: skip
SIXTHS = {"added sixth": (0, 4, 7, 9), "minor with added sixth": (0, 3, 7, 9)}
FIGURES = {(5, 3): "5/3", (6, 3): "6", (6, 4): "6/4", (7, 5, 3): "7", (6, 5, 3): "6/5", (6, 4, 3): "4/3",
           (6, 4, 2): "4/2"}  # fmt: skip
MODES = {
    "lydian": (0, 2, 4, 6, 7, 9, 11), "ionian": (0, 2, 4, 5, 7, 9, 11), "mixolydian": (0, 2, 4, 5, 7, 9, 10),
    "dorian": (0, 2, 3, 5, 7, 9, 10), "aeolian": (0, 2, 3, 5, 7, 8, 10), "phrygian": (0, 1, 3, 5, 7, 8, 10),
}  # fmt: skip


def m21_name(tone: Tone) -> str:
    return tone.pitch.name.replace("b", "-") if tone.pitch.step != "B" else "B" + tone.pitch.name[1:].replace("b", "-")


@lru_cache(maxsize=50_000)
def chord_of(names: tuple[str, ...]) -> music21.chord.Chord:
    return music21.chord.Chord(list(names))


def chord(tones: Sequence[Tone]) -> music21.chord.Chord:
    return chord_of(tuple(sorted({m21_name(t) for t in tones})))


def at(phrase: Phrase, start: float, length: float = 2.0) -> list[Tone]:
    return [t for t in phrase.tones if start - 1e-6 <= t.onset_quarters < start + length - 1e-6]


def steps_of(phrase: Phrase, count: int) -> list[music21.chord.Chord]:
    return [chord(at(phrase, 2.0 * i)) for i in range(count)]


def voice(phrase: Phrase) -> list[Tone]:
    return [t for t in phrase.tones if t.line == "voice"]


def lowest(tones: Sequence[Tone]) -> Tone:
    return min(tones, key=lambda t: t.midi)


def quality(tones: Sequence[Tone], root: int) -> str | None:
    """The kind of chord on a given root, by its set of semitones."""
    found = tuple(sorted({(t.midi - root) % 12 for t in tones}))
    return next((q for q, shape in TEMPLATES.items() if shape == found), None)


def roots_by_ear(tones: Sequence[Tone]) -> list[tuple[int, str]]:
    """Every (root, kind) that fits the sound, sixth chords included."""
    pcs = {t.midi % 12 for t in tones}
    kinds = {**TEMPLATES, **SIXTHS}
    return [(r, k) for r in pcs for k, shape in kinds.items() if {(r + s) % 12 for s in shape} == pcs]


def key_heard(question: Question) -> music21.key.Key:
    """The key of the cadence heard first: its last chord."""
    cue = question.heard[0]
    assert cue.caption.startswith("The key")
    return last_key(cue.phrase)


def last_key(phrase: Phrase) -> music21.key.Key:
    last = max(t.onset_quarters for t in phrase.tones)
    found = chord(at(phrase, last, 4.0))
    root, minor = found.root().name, found.quality == "minor"
    return key_named(root.lower() if minor else root)


def degree(key: music21.key.Key, tone: Tone) -> str:
    """The degree against the major scale on the tonic: 'b7'."""
    return _degree(key.tonic.name, m21_name(tone)[:-1])


@lru_cache(maxsize=10_000)
def _degree(tonic: str, name: str) -> str:
    found = key_named(tonic).getScaleDegreeAndAccidentalFromPitch(music21.pitch.Pitch(name))
    number, accidental = found
    alter = 0 if accidental is None else int(accidental.alter)
    return ("#" * alter if alter > 0 else "b" * -alter) + str(number)


@lru_cache(maxsize=100)
def key_named(name: str) -> music21.key.Key:
    """A key, made once: music21 takes a millisecond for each."""
    return music21.key.Key(name)


def interval_name(a: Tone, b: Tone) -> str:
    return _interval(m21_name(a), m21_name(b))


@lru_cache(maxsize=20_000)
def _interval(a: str, b: str) -> str:
    return str(music21.interval.Interval(music21.pitch.Pitch(a), music21.pitch.Pitch(b)).semiSimpleName)


def by_ear(name: str) -> str:
    return "TT" if name in ("A4", "d5") else name


def excerpt(question: Question, place: int = -1) -> Phrase:
    return (question.heard or question.seen)[place].phrase


def ordinal_in(text: str) -> int:
    return next(ORDINALS.index(w) for w in re.findall(r"[a-z]+", text) if w in ORDINALS)
