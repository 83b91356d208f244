"""Short songs in sections: a melody over a voice-led accompaniment, one chord a bar."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from drills._draw import Draw
from drills._melody import melody, rhythm, scale_pitches
from drills._voicing import Voicing, lead
from tutor.music.phrase import Phrase, Tone
from tutor.music.progression import Harmony, harmonies
from tutor.music.scale import Key

_Plans = dict[str, tuple[tuple[str, ...], ...]]

OPEN: _Plans = {
    "major": (("I", "IV", "I", "V"), ("I", "vi", "IV", "V"), ("I", "V6", "I", "V"), ("I", "vi", "ii6", "V"),
              ("I", "I6", "IV", "V")),
    "minor": (("i", "iv", "i", "V"), ("i", "VI", "iv", "V"), ("i", "V6", "i", "V"), ("i", "i6", "iv", "V")),
}  # fmt: skip
CLOSED: _Plans = {
    "major": (("I", "IV", "V7", "I"), ("I", "ii6", "V7", "I"), ("I", "vi", "V7", "I"), ("I", "I6", "V7", "I"),
              ("I", "IV", "V", "I")),
    "minor": (("i", "iv", "V7", "i"), ("i", "iio6", "V7", "i"), ("i", "VI", "V7", "i"), ("i", "iv", "V", "i")),
}  # fmt: skip
AWAY: _Plans = {
    "major": (("IV", "I6", "ii6", "V"), ("vi", "IV", "ii", "V"), ("IV", "I", "ii6", "V"), ("vi", "iii", "IV", "V")),
    "minor": (("iv", "i6", "iio6", "V"), ("VI", "iv", "i", "V"), ("III", "VI", "iv", "V"), ("iv", "i", "iv", "V")),
}  # fmt: skip
"""Four-bar plans: resting on the dominant, closing on the tonic, leaving the tonic. Chosen by us."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One section's music."""

    tones: tuple[Tone, ...]
    """The melody, from 0."""
    chords: tuple[Harmony, ...]
    voicings: tuple[Voicing, ...]
    beats: int = 4

    @property
    def bars(self) -> int:
        """How many bars."""
        return len(self.chords)

    @property
    def quarters(self) -> float:
        """Length."""
        return float(self.bars * self.beats)

    @property
    def lengths(self) -> tuple[float, ...]:
        """Lengths of the notes."""
        return tuple(t.duration_quarters for t in self.tones)


def piece(
    draw: Draw, key: Key, kind: str, *, bars: int = 4, beats: int = 4, low: int | None = None, high: int | None = None
) -> Piece | None:
    """A section of four bars (or its last two).

    Args:
        draw: the throw.
        key: the key.
        kind: 'open', 'closed' or 'away'.
        bars: 4 or 2.
        beats: quarters a bar.
        low: lowest note; middle C if not given, for tunes that are only heard.
        high: highest note.
    """
    plans = {"open": OPEN, "closed": CLOSED, "away": AWAY}[kind][key.mode]
    plan = draw.rng.choice(plans)
    chords = harmonies(plan[:1] + plan[-1:] if bars == 2 else plan, key)
    voicings = lead(chords, draw.rng)
    if voicings is None:
        return None
    end = ("1",) if kind == "closed" else ("2", "5", "7")
    tones = melody(
        draw.rng, key, chords, rhythm(draw.rng, bars, draw.level, beats), low=60 if low is None else low,
        high=77 if high is None else high, level=draw.level, basses=[v[0].midi for v in voicings], end=end, beats=beats,
    )  # fmt: skip
    return None if tones is None else Piece(tones, chords, voicings, beats)


def unlike(a: Piece, b: Piece) -> bool:
    """True when nobody would take one for a variant of the other: few notes agree and the rhythm differs."""
    return agreement(a, b) <= 0.34 and a.lengths != b.lengths and _contour(a) != _contour(b)


def agreement(a: Piece, b: Piece) -> float:
    """Share of notes with the same place and pitch."""
    first = {(t.onset_quarters, t.midi) for t in a.tones}
    second = {(t.onset_quarters, t.midi) for t in b.tones}
    return len(first & second) / max(len(first), len(second))


def _contour(piece_: Piece) -> tuple[int, ...]:
    midis = [t.midi for t in piece_.tones][:5]
    return tuple((b > a) - (b < a) for a, b in pairwise(midis))


def unlike_set(draw: Draw, key: Key, kinds: Sequence[str], *, bars: int = 4, beats: int = 4) -> list[Piece] | None:
    """Sections that are all unlike each other."""
    out: list[Piece] = []
    for kind in kinds:
        for _ in range(12):
            made = piece(draw, key, kind, bars=bars, beats=beats)
            if made is not None and all(unlike(made, other) for other in out):
                out.append(made)
                break
        else:
            return None
    return out


def varied(
    rng: random.Random, key: Key, source: Piece, changes: int, places: Sequence[int] | None = None
) -> tuple[Piece, tuple[int, ...]] | None:
    """The section with some notes moved by a step or a third, never its first or last.

    Returns:
        The varied section and the places of the changed notes; None when too few can move.
    """
    inner = list(places) if places is not None else list(range(1, len(source.tones) - 1))
    rng.shuffle(inner)
    tones = list(source.tones)
    moved: list[int] = []
    for at in inner:
        if len(moved) == changes:
            break
        if any(abs(at - m) < 2 for m in moved):
            continue
        new = _moved(rng, key, source, tones, at)
        if new is not None:
            tones[at] = new
            moved.append(at)
    if len(moved) < changes:
        return None
    return replace(source, tones=tuple(tones)), tuple(sorted(moved))


def _moved(rng: random.Random, key: Key, source: Piece, tones: list[Tone], at: int) -> Tone | None:
    tone = tones[at]
    harmony = source.chords[int(tone.onset_quarters // source.beats)]
    pool = scale_pitches(key, harmony, tone.midi - 5, tone.midi + 5)
    strong = tone.onset_quarters % 2 == 0 or tone.duration_quarters >= 1.5
    fits = [
        p for p in pool
        if 1 <= abs(p.diatonic - tone.pitch.diatonic) <= 3 and p.midi != tone.midi
        and (p.pitch_class in harmony.chord.tones or not strong)
        and abs(p.midi - tones[at - 1].midi) <= 9 and abs(p.midi - tones[at + 1].midi) <= 9
        and 6 not in (abs(p.midi - tones[at - 1].midi), abs(p.midi - tones[at + 1].midi))
    ]  # fmt: skip
    return replace(tone, pitch=rng.choice(fits)) if fits else None


def joined(pieces: Sequence[Piece], key: Key, bpm: float, *, accompanied: bool = True) -> Phrase:
    """Sections one after the other as a phrase."""
    tones: list[Tone] = []
    at = 0.0
    for section in pieces:
        tones += [replace(t, onset_quarters=round(t.onset_quarters + at, 6)) for t in section.tones]
        if accompanied:
            for bar, voicing in enumerate(section.voicings):
                start = at + bar * section.beats
                tones.append(Tone(start, float(section.beats), voicing[0], "lower", 0.5))
                tones += [Tone(start, float(section.beats), p, "lower", 0.35) for p in voicing[1:3]]
        at += section.quarters
    beats = pieces[0].beats if pieces else 4
    return Phrase(tuple(sorted(tones, key=lambda t: (t.onset_quarters, t.midi))), bpm=bpm, numerator=beats,
                  fifths=key.fifths, first_bar="1")  # fmt: skip
