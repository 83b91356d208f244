"""How a note outside the chord comes and goes: passing, neighbour, appoggiatura, suspension.

Definitions after Open Music Theory v1, "Embellishing tones": passing, step in and step on the same way; neighbour, step
away and back; appoggiatura, leap in and step out the other way, accented; suspension, held over from the chord before
and stepping down. Two chords, three melody notes; the outside note is the second.
"""

from __future__ import annotations

from dataclasses import replace

from drills._draw import Draw, key_heard
from drills._melody import CLEAN
from drills._sheet import Sheet
from drills._voicing import lead
from tutor.music.interval import Interval, with_article
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, PitchClass, pretty
from tutor.music.progression import Harmony, harmonies
from tutor.music.scale import Key
from tutor.practice.drill import Choice, Excerpt

KINDS = {
    "passing": "passing: by step, and on by step the same way",
    "neighbour": "neighbour: by step, and back again",
    "appoggiatura": "appoggiatura: by leap onto the beat, then by step the other way",
    "suspension": "suspension: held over from the chord before, then a step down",
}
_PAIRS = (("I", "IV"), ("IV", "I"), ("I", "V"), ("V", "I"), ("vi", "IV"), ("ii", "V"), ("I", "vi"), ("vi", "ii"))

_MOVES = {
    "passing": ((1, 1), (-1, -1)),
    "neighbour": ((1, -1), (-1, 1)),
    "appoggiatura": (*((n, -1) for n in range(2, 6)), *((-n, 1) for n in range(2, 6))),
    "suspension": ((0, -1),),
}
"""Steps of the scale into the outside note and out of it."""

TOP_BELOW = 69
"""The accompaniment stays at or below A4, to leave the voice its room."""

Notes = tuple[Pitch, Pitch, Pitch]


def _ways(key: Key, first: Harmony, second: Harmony, kind: str, low: int) -> list[Notes]:
    """Every three notes of a kind between a voice's lowest note and an octave and a half above it."""
    scale = [Pitch(t.step, t.alter, o) for o in range(3, 6) for t in key.scale]
    scale = sorted((p for p in scale if low <= p.midi <= min(79, low + 17)), key=lambda p: p.midi)
    one, two = set(first.chord.tones), set(second.chord.tones)
    inside = [i for i, p in enumerate(scale) if p.pitch_class in one]
    found = []
    for i in inside:
        for into, out in _MOVES[kind]:
            j, k = i + into, i + into + out
            if 0 <= j < len(scale) and 0 <= k < len(scale) and scale[k].pitch_class in two:
                notes = (scale[i], scale[j], scale[k])
                if _fits(kind, *notes, one, two):
                    found.append(notes)
    return found


def _fits(kind: str, a: Pitch, b: Pitch, c: Pitch, one: set[PitchClass], two: set[PitchClass]) -> bool:
    steps = ((a, b), (b, c))
    if not all((abs(y.midi - x.midi), abs(y.diatonic - x.diatonic)) in CLEAN for x, y in steps):
        return False
    return b.pitch_class not in (one if kind in ("passing", "neighbour") else two)


def _sounded(draw: Draw, key: Key, kind: str) -> tuple[Phrase, Notes] | None:
    chords = harmonies(draw.rng.choice(_PAIRS), key)
    voicings = lead(chords, draw.rng, whole=(0, 1))
    if voicings is None:
        return None
    under = max(v[3].midi for v in voicings)
    if under > TOP_BELOW:
        return None
    ways = _ways(key, chords[0], chords[1], kind, max(62, under + 1))
    if not ways:
        return None
    a, b, c = draw.rng.choice(ways)
    tones = [
        Tone(2.0 * i, 2.0 if i == 0 else 4.0, p, "lower", 0.45) for i, v in enumerate(voicings) for p in v
    ]  # fmt: skip
    if kind in ("passing", "neighbour"):
        tones += [Tone(0.0, 1.0, a), Tone(1.0, 1.0, b), Tone(2.0, 4.0, c)]
    elif kind == "appoggiatura":
        tones += [Tone(0.0, 2.0, a), Tone(2.0, 1.0, b), Tone(3.0, 3.0, c)]
    else:
        tones += [Tone(0.0, 3.0, a), Tone(3.0, 3.0, c)]
    return Phrase(tuple(tones), bpm=draw.bpm(60, 88), fifths=key.fifths), (a, b, c)


def _marked(phrase: Phrase, kind: str) -> Phrase:
    """The outside note pointed out."""
    at = {"passing": 1.0, "neighbour": 1.0, "appoggiatura": 2.0, "suspension": 0.0}[kind]
    tones = tuple(replace(t, mark="rub") if t.line == "voice" and t.onset_quarters == at else t for t in phrase.tones)
    return replace(phrase, tones=tones)


def outside_kind(draw: Draw) -> Sheet | None:
    """Which kind of note outside the chord it is."""
    pool = tuple(KINDS)[: 2 + round(draw.level * 2)] if draw.level < 0.6 else tuple(KINDS)
    key = draw.key("major")
    right = draw.rng.choice(pool)
    made = _sounded(draw, key, right)
    if made is None:
        return None
    phrase, (a, b, c) = made
    contrasts = {}
    for kind in pool:
        tries = (_sounded(draw, key, kind) for _ in range(8)) if kind != right else ()
        other = next((t for t in tries if t is not None), None)
        if other is not None:
            contrasts[kind] = Excerpt(f"For comparison: {kind}", _marked(other[0], kind))
    comes = "is held over" if a == b else f"comes from {pretty(a.name)} by {_size(a, b)}"
    return Sheet(
        prompt="One sung note lies outside its chord. How does it come and go?", ask="choice", right=right,
        words=KINDS[right],
        why=f"{pretty(b.name)} lies outside the chord: it {comes} and goes to {pretty(c.name)} by {_size(b, c)}.",
        shown=Excerpt("The outside note marked", _marked(phrase, right)),
        heard=(key_heard(draw, key), Excerpt("The passage", phrase)),
        choices=tuple(Choice(k, KINDS[k]) for k in pool), contrasts=contrasts,
        hint="Find the note that wants to move; was it reached by step, by leap, or not at all?",
    )  # fmt: skip


def _size(a: Pitch, b: Pitch) -> str:
    return with_article(Interval.between(a, b).words)
