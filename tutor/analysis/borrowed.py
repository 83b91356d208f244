"""Notes foreign to their key, told apart: lent by another mode, part of an applied chord, or melodic.

A tone that belongs to the chord takes the chord's reading: applied where the chord leads, as a dominant or leading-tone
chord, to the degree it is named after (Open Music Theory v1 on applied chords and on mixture; Kostka and Payne, *Tonal
Harmony*, ch. 16, as told in lecture slides), otherwise lent. Two readings overrule the numeral, after Temperley, *The
Musical Language of Rock*, 2018, and Everett, MTO 10.4, 2004 (both recalled): a seventh chord on the tonic that never
moves to the fourth degree is Mixolydian; a major chord on the second degree over the tonic, or from the tonic and back
to it, is Lydian. A tone outside the chord is a passing or neighbour chromatic, unless it is held or left without the
semitone that would explain it: then the mode lends it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import exp, log

from tutor.analysis.findings import BorrowedKind, BorrowedTone, ChordSpan, KeySpan
from tutor.music.pitch import PitchClass
from tutor.music.scale import MODES, Key
from tutor.music.table import NoteRow, NoteTable

_HOME = {
    "major": frozenset(("1", "2", "3", "4", "5", "6", "7")),
    "minor": frozenset(("1", "2", "b3", "4", "5", "b6", "b7", "7")),
}
"""Degrees that are no loan; in minor the raised seventh belongs to the key."""
_BRIGHT: tuple[tuple[str, frozenset[str]], ...] = (
    *((name, frozenset(MODES[name])) for name in ("lydian", "ionian", "mixolydian")),
    ("melodic minor", frozenset(("1", "2", "b3", "4", "5", "6", "7"))),
    ("dorian", frozenset(MODES["dorian"])),
    ("harmonic minor", frozenset(("1", "2", "b3", "4", "5", "b6", "7"))),
    *((name, frozenset(MODES[name])) for name in ("aeolian", "phrygian", "locrian")),
)
"""Modes by the sum of their degrees in semitones, brightest first; the two further minors follow their equals."""
_MINORS = ("melodic minor", "harmonic minor")
_SMALL = 1e-6
_SURE: dict[BorrowedKind, tuple[float, float, float, float]] = {
    "modal": (-2.55, 0.12, 0.90, 1.10),
    "applied": (-0.29, 0.17, 0.61, 0.0),
    "chromatic": (-0.29, 0.10, 0.0, -0.90),
}
"""Logistic model of a kind being the analyst's: constant, log-odds of the chord, log-odds of the key, and whether the
tone belongs to the chord. Fitted by maximum likelihood on the cross-validated readings of the development songs."""


@dataclass(frozen=True, slots=True)
class _Place:
    """A chord with its neighbours and what sounds in it."""

    chord: ChordSpan
    before: ChordSpan | None
    after: ChordSpan | None
    key: Key
    applied: bool
    """The chord is heard as applied."""
    members: frozenset[str]
    around: frozenset[str]
    """Degrees of the chord and its neighbours."""


def modes_of(degree: str, around: frozenset[str] = frozenset()) -> tuple[str, ...]:
    """Every mode on the same tonic that has a degree, brightest first.

    Args:
        degree: Against the major scale: 'b6', '#4'.
        around: Degrees that sound near it; harmonic and melodic minor are named only where their natural seventh
            sounds there and the lowered one does not.
    """
    raised = "7" in around and "b7" not in around
    return tuple(
        name
        for name, degrees in _BRIGHT
        if degree in degrees
        and (name not in _MINORS or (raised and (name != "melodic minor" or "6" in around | {degree})))
    )


def find_borrowed(table: NoteTable, keys: Sequence[KeySpan], chords: Sequence[ChordSpan]) -> tuple[BorrowedTone, ...]:
    """Find every note foreign to its key and say whose it is.

    Args:
        table: The score as rows.
        keys: Keys without gaps; corrected ones count like the engine's own.
        chords: Chords without gaps, with figures in their keys.
    """
    if not chords:
        return ()
    starts = [c.start for c in chords]
    key_starts = [k.start for k in keys]
    homes = [Key.parse(c.key) for c in chords]
    places: dict[int, _Place] = {}
    ends: dict[tuple[int, float], list[NoteRow]] = {}
    onsets = [n.onset_quarters for n in table.notes]
    found = []
    for note in table.notes:
        at = max(bisect_right(starts, note.onset_quarters + _SMALL) - 1, 0)
        degree = _foreign(homes[at], note.step, note.alter)
        if not degree or note.grace or note.onset_quarters >= chords[at].end - _SMALL:
            continue
        if at not in places:
            places[at] = _place(chords, at, homes[at])
        if not ends:
            ends = _ends(table)
        place = places[at]
        kind = _kind(note, degree, place, _line(table, note, onsets, ends))
        key = max(bisect_right(key_starts, note.onset_quarters + _SMALL) - 1, 0)
        found.append(_told(table, note, degree, kind, place, keys[key].confidence if keys else 1.0))
    return tuple(found)


@lru_cache(maxsize=4096)
def _foreign(key: Key, step: str, alter: int) -> str:
    """The degree of a tone foreign to its key; empty for the key's own."""
    degree = key.degree_of(PitchClass.of(step, alter))
    return "" if degree in _HOME[key.mode] else degree


def _told(
    table: NoteTable, note: NoteRow, degree: str, kind: BorrowedKind, place: _Place, key_sure: float
) -> BorrowedTone:
    chord = place.chord
    modes = modes_of(degree, place.around) if kind == "modal" else ()
    member = note.pitch.pitch_class.name in place.members
    base, by_chord, by_key, by_member = _SURE[kind]
    odds = base + by_chord * _log_odds(chord.confidence) + by_key * _log_odds(key_sure) + by_member * member
    return BorrowedTone(
        start=note.onset_quarters,
        end=note.end_quarters,
        bar=table.bar_at(note.onset_quarters).number,
        beat=table.beat_at(note.onset_quarters),
        part=table.parts[note.part].id,
        pitch=note.pitch.name,
        degree=degree,
        kind=kind,
        modes=modes,
        chord=chord.symbol,
        key=chord.key,
        confidence=round(1 / (1 + exp(-odds)), 4),
        pivot=_pivot(place) if kind == "modal" else "",
    )


def _log_odds(share: float) -> float:
    held = min(max(share, 0.02), 0.98)
    return log(held / (1 - held))


def _pivot(place: _Place) -> str:
    """The tone that the chord shares with its neighbour: the tonic or the fifth degree where one of them is shared."""
    other = place.before or place.after
    if other is None:
        return ""
    shared = [t for t in place.chord.tones if t in other.tones]
    for degree in ("1", "5"):
        if (name := place.key.pitch_class(degree).name) in shared:
            return name
    return shared[0] if shared else ""


def _place(chords: Sequence[ChordSpan], i: int, key: Key) -> _Place:
    chord = chords[i]
    before = chords[i - 1] if i else None
    after = next((c for c in chords[i + 1 :] if (c.root, c.quality) != (chord.root, chord.quality)), None)
    around = [chord, *(c for c in (before, after) if c is not None)]
    degrees = frozenset(key.degree_of(PitchClass.parse(t)) for c in around for t in (*c.tones, *c.nonchord))
    return _Place(chord, before, after, key, _is_applied(chord, before, after, key), frozenset(chord.tones), degrees)


def _is_applied(chord: ChordSpan, before: ChordSpan | None, after: ChordSpan | None, key: Key) -> bool:
    """Whether the chord is heard as leading to another degree; it is written so in the figure, with exceptions."""
    if chord.quality in ("italian-sixth", "german-sixth", "french-sixth"):
        return True
    if "/" not in chord.figure:
        return False
    root = key.degree_of(PitchClass.parse(chord.root))
    tonic = key.tonic.name
    following = after.root if after is not None else ""
    if root == "1":
        return following == key.pitch_class("4").name or (after is not None and "/" in after.figure)
    if root == "2" and chord.quality in ("major", "dominant-seventh"):
        over = chord.bass == tonic or tonic in chord.nonchord
        back = following in ("", tonic) and (after is None or after.inversion != 2)
        return not (back and (over or (before is not None and before.root == tonic)))
    return True


def _kind(note: NoteRow, degree: str, place: _Place, line: tuple[int | None, int | None]) -> BorrowedKind:
    known = any(degree in degrees for _, degrees in _BRIGHT)
    if note.pitch.pitch_class.name in place.members:
        if place.applied:
            lent = place.chord.quality.endswith("-sixth") and degree in ("b6", "b3")
            return "modal" if lent else "applied"
        return "modal" if known else "chromatic"
    came, went = line
    left_by_semitone = went is not None and abs(went) == 1
    came_by_step = came is not None and abs(came) <= 2
    short = note.duration_quarters < 1 - _SMALL
    if not known or left_by_semitone or (short and (came_by_step or (went is not None and abs(went) <= 2))):
        return "chromatic"
    return "modal"


def _ends(table: NoteTable) -> dict[tuple[int, float], list[NoteRow]]:
    """Notes by their part and where they end."""
    out: dict[tuple[int, float], list[NoteRow]] = {}
    for n in table.notes:
        if not n.grace:
            out.setdefault((n.part, round(n.onset_quarters + n.duration_quarters, 6)), []).append(n)
    return out


def _line(
    table: NoteTable, note: NoteRow, onsets: list[float], ends: dict[tuple[int, float], list[NoteRow]]
) -> tuple[int | None, int | None]:
    """Semitones by which a note is reached and left within its part, to the nearest note; None for silence."""
    first = bisect_left(onsets, note.end_quarters - _SMALL)
    last = bisect_right(onsets, note.end_quarters + _SMALL)
    after = [n.midi for n in table.notes[first:last] if n.part == note.part and not n.grace]
    before = [n.midi for n in ends.get((note.part, note.onset_quarters), [])]
    return _nearest(note.midi, before), _nearest(note.midi, after)


def _nearest(midi: int, others: list[int]) -> int | None:
    return min((o - midi for o in others), key=lambda d: (abs(d), d)) if others else None
