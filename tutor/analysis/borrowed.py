"""Notes foreign to their key, told apart: lent by another mode, part of an applied chord, or melodic.

By rules, a tone that belongs to the chord takes the chord's reading: applied where the chord leads, as a dominant or
leading-tone chord, to the degree it is named after (Open Music Theory v1 on applied chords and on mixture; Kostka and
Payne, *Tonal Harmony*, ch. 16, as told in lecture slides), otherwise lent. Two readings overrule the numeral, after
Temperley, *The Musical Language of Rock*, 2018, and Everett, MTO 10.4, 2004 (both recalled): a seventh chord on the
tonic that goes nowhere (it stays, ends, or falls to the tonic or the seventh degree) is Mixolydian; a major chord on
the second degree over the tonic, or from the tonic and back to it, is Lydian. A tone outside the chord is a passing or
neighbour chromatic, unless it is held or left without the semitone that would explain it: then the mode lends it.

What the rules say is one measurement among many (`borrowedfeatures`) of a model fitted on people's analyses, which
decides and says how sure it is: of the whole claim, and of the kind alone where the key is the one named. The rules
decide where they overrule the numeral, on the Neapolitan chord, and where the chord before or after lends the tone that
is held here.
"""

from __future__ import annotations

import json
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from math import exp

import numpy as np

from tutor.analysis.borrowedfeatures import COLUMNS, Foreign, log_odds, measure, next_other
from tutor.analysis.borrowedplaces import HOME, Joints, Struck
from tutor.analysis.columns import SMALL, Floats, degree
from tutor.analysis.findings import BorrowedKind, BorrowedTone, ChordSpan, KeySpan
from tutor.music.pitch import PitchClass
from tutor.music.scale import MODES, Key
from tutor.music.table import NoteRow, NoteTable

_BRIGHT: tuple[tuple[str, frozenset[str]], ...] = (
    *((name, frozenset(MODES[name])) for name in ("lydian", "ionian", "mixolydian")),
    ("melodic minor", frozenset(("1", "2", "b3", "4", "5", "6", "7"))),
    ("dorian", frozenset(MODES["dorian"])),
    ("harmonic minor", frozenset(("1", "2", "b3", "4", "5", "b6", "7"))),
    *((name, frozenset(MODES[name])) for name in ("aeolian", "phrygian", "locrian")),
)
"""Modes by the sum of their degrees in semitones, brightest first; the two further minors follow their equals."""
_MINORS = ("melodic minor", "harmonic minor")
_KINDS: tuple[BorrowedKind, ...] = ("modal", "applied", "chromatic")
CLASSES = ("mixture", "applied", "nonchord", "aug6", "neapolitan", "chromatic", "none")
"""What analysts say of a note: the chord it stands in is borrowed from the parallel key, applied, an augmented or a
Neapolitan sixth, otherwise chromatic; it is no member of the chord; or it is not foreign, for they hear another key."""
_GIVEN: dict[BorrowedKind, float] = {"modal": 0.96, "applied": 0.98, "chromatic": 0.95}
"""Confidence where a person named key and chord: how often the rules then agree with analysts, on the members of
borrowed and applied chords and on other tones of the development songs."""
_GIVEN_HELD = 0.6
"""The same for a tone outside the chord that the mode is said to lend: a matter of definition, a choice of ours."""


@dataclass(frozen=True, slots=True, eq=False)
class BorrowedWeights:
    """The fitted numbers."""

    columns: Floats
    """Weights of the measurements, shape (len(COLUMNS), len(CLASSES))."""
    lines: Floats
    """For each kind the slope and the shift that straighten the log odds of its probability, shape (3, 2)."""
    given: Floats
    """The same for its probability where the key is as it was read."""


@lru_cache(maxsize=1)
def fitted_weights() -> BorrowedWeights:
    """The weights in the package; `python -m tests.bench.borrowed fit` writes them."""
    raw = json.loads(files("tutor.analysis").joinpath("borrowed_weights.json").read_text(encoding="utf-8"))
    known = dict(zip(raw["columns"], raw["weights"], strict=True))
    rows = [known.get(name, [0.0] * len(CLASSES)) for name in COLUMNS]
    return BorrowedWeights(np.array(rows), np.array(raw["lines"]), np.array(raw["given"]))


@dataclass(frozen=True, slots=True)
class Place:
    """A chord with its neighbours and what sounds in it."""

    chord: ChordSpan
    before: ChordSpan | None
    after: ChordSpan | None
    key: Key
    applied: bool
    """The chord is heard as applied."""
    overruled: bool
    """The rules decide: its figure names an applied chord where they hear a mode, or it is the Neapolitan chord."""
    members: frozenset[str]
    around: frozenset[str]
    """Degrees of the chord and its neighbours."""
    lent: frozenset[str]
    """Tones of the neighbours that are no applied chords."""


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


def find_borrowed(
    table: NoteTable,
    keys: Sequence[KeySpan],
    chords: Sequence[ChordSpan],
    weights: BorrowedWeights | None = None,
) -> tuple[BorrowedTone, ...]:
    """Find every note foreign to its key and say whose it is.

    Args:
        table: The score as rows.
        keys: Keys without gaps; corrected ones count like the engine's own.
        chords: Chords without gaps, with figures in their keys.
        weights: Those in the package, if none are given.
    """
    struck = Struck(table)
    found, places = foreign_notes(table, chords, struck)
    if not found:
        return ()
    weights = weights or fitted_weights()
    shares = chances(found, measure(table, keys, chords, found, struck) @ weights.columns)
    key_starts = [k.start for k in keys]
    out = []
    for one, share in zip(found, shares.tolist(), strict=True):
        at = max(bisect_right(key_starts, one.note.onset_quarters + SMALL) - 1, 0)
        named = bool(keys) and keys[at].corrected
        kind, *sure = _judged(one, places[one.chord], share, weights, named=named)
        out.append(_told(table, one, kind, places[one.chord], *sure))
    return tuple(out)


def foreign_notes(
    table: NoteTable, chords: Sequence[ChordSpan], struck: Struck | None = None
) -> tuple[list[Foreign], dict[int, Place]]:
    """The notes foreign to the key of their chord, with what the rules say, and the places of those chords.

    ``struck`` are the notes of the table, where they are at hand.
    """
    struck = struck or Struck(table)
    alien = list(_alien(struck, chords))
    if not alien:
        return [], {}
    places = {at: _place(chords, at, Key.parse(chords[at].key)) for at in dict.fromkeys(at for _, at, _ in alien)}
    joints = Joints(struck)
    found: list[Foreign] = []
    for note, at, told in alien:
        before, after = joints.before(note), joints.after(note)
        kind = _kind(note, told, places[at], (before, after))
        came = None if before is None else -before
        member = note.pitch.pitch_class.name in places[at].members
        bar, beat = table.bar_index(note.onset_quarters), table.beat_at(note.onset_quarters)
        found.append(Foreign(note, told, at, member, kind, places[at].applied, came, after, bar, beat))
    return found, places


def _alien(struck: Struck, chords: Sequence[ChordSpan]) -> Iterator[tuple[NoteRow, int, str]]:
    """Each note foreign to the key of its chord, the index of that chord, and the note's degree in that key."""
    begun = [onset + SMALL for onset in struck.onset]
    first = 0
    for at, chord in enumerate(chords):
        last = bisect_left(begun, chords[at + 1].start, first) if at + 1 < len(chords) else len(begun)
        own, home = _own(chord.key), Key.parse(chord.key)
        for note in struck.rows[first:last]:
            if (note.step, note.alter) not in own and note.onset_quarters < chord.end - SMALL:
                yield note, at, home.degree_of(PitchClass.of(note.step, note.alter))
        first = last


@lru_cache(maxsize=128)
def _own(key: str) -> frozenset[tuple[str, int]]:
    """Letters and signs of the tones that are not foreign to a key."""
    home = Key.parse(key)
    return frozenset((tone.step, tone.alter) for tone in map(home.pitch_class, HOME[home.mode]))


def chances(found: Sequence[Foreign], scores: Floats) -> Floats:
    """Probability of each class, shape (n, len(CLASSES)); one for all notes of a name that belong to a chord."""
    shares: Floats = np.exp(scores - scores.max(axis=1, keepdims=True))
    shares /= shares.sum(axis=1, keepdims=True)
    together: dict[tuple[int, str], list[int]] = {}
    for k, one in enumerate(found):
        if one.member:
            together.setdefault((one.chord, one.note.pitch.pitch_class.name), []).append(k)
    for alike in together.values():
        if len(alike) > 1:
            shares[alike] = shares[alike].sum(axis=0) / len(alike)
    return shares


def by_kind(one: Foreign, share: Sequence[float]) -> list[float]:
    """Probability of each of the three kinds, from those of the classes.

    An augmented sixth leads to the fifth degree as an applied chord does; the Neapolitan degree is lent by a darker
    mode; the tones of other altered chords are lent where the rules find a mode for them, else chromatic.
    """
    kinds = list(share[:3])
    kinds[1] += share[3]
    kinds[0] += share[4]
    kinds[0 if one.ruled == "modal" else 2] += share[5]
    return kinds


def straightened(line: Floats, share: float) -> float:
    """A probability moved along a line of its log odds: (slope, shift)."""
    slope, shift = line.tolist()
    return float(1 / (1 + exp(-(slope * log_odds(share) + shift))))


def _judged(
    one: Foreign, place: Place, share: Sequence[float], weights: BorrowedWeights, *, named: bool
) -> tuple[BorrowedKind, float, float]:
    """The kind, how sure it is, and how sure in this key; by the rules alone where a person named key and chord."""
    if named and place.chord.corrected:
        held = one.ruled == "modal" and not one.member
        sure = _GIVEN_HELD if held else _GIVEN[one.ruled]
        return one.ruled, sure, sure
    kinds = by_kind(one, share)
    held = one.ruled == "modal" and not one.member and one.note.pitch.pitch_class.name in place.lent
    if place.overruled or held:
        kinds = [chance * (kind == one.ruled) for kind, chance in zip(_KINDS, kinds, strict=True)]
    rounded = [round(chance, 9) for chance in kinds]
    best = rounded.index(max(rounded))
    given = straightened(weights.given[best], kinds[best] / max(1.0 - share[-1], SMALL))
    sure = min(straightened(weights.lines[best], kinds[best]), given)
    return _KINDS[best], given if named else sure, given


def _told(table: NoteTable, one: Foreign, kind: BorrowedKind, place: Place, sure: float, given: float) -> BorrowedTone:
    chord, note = place.chord, one.note
    return BorrowedTone(
        start=note.onset_quarters,
        end=note.end_quarters,
        bar=table.measures[one.bar].number,
        beat=one.beat,
        part=table.parts[note.part].id,
        pitch=note.pitch.name,
        degree=one.degree,
        kind=kind,
        modes=modes_of(one.degree, place.around) if kind == "modal" else (),
        chord=chord.symbol,
        key=chord.key,
        confidence=round(sure, 4),
        in_key=round(given, 4),
        pivot=_pivot(place) if kind == "modal" else "",
    )


def _pivot(place: Place) -> str:
    """The tone that the chord shares with its neighbour: the tonic or the fifth degree where one of them is shared."""
    other = place.before or place.after
    if other is None:
        return ""
    shared = [t for t in place.chord.tones if t in other.tones]
    for one in ("1", "5"):
        if (name := place.key.pitch_class(one).name) in shared:
            return name
    return shared[0] if shared else ""


def _place(chords: Sequence[ChordSpan], i: int, key: Key) -> Place:
    chord = chords[i]
    beside = _beside(chords, i)
    before, after = (None if k is None else chords[k] for k in beside)
    near = [k for k in beside if k is not None]
    tonic = key.tonic.name
    sounding = {t for k in (i, *near) for t in (*chords[k].tones, *chords[k].nonchord)}
    degrees = frozenset([degree(t, tonic) for t in sounding])
    applied = _is_applied(chords, i, key)
    lent = frozenset(t for k in near if not _is_applied(chords, k, Key.parse(chords[k].key)) for t in chords[k].tones)
    flat_two = chord.quality == "major" and degree(chord.root, tonic) == "b2"
    overruled = not applied and ("/" in chord.figure or flat_two)
    return Place(chord, before, after, key, applied, overruled, frozenset(chord.tones), degrees, lent)


def _beside(chords: Sequence[ChordSpan], i: int) -> tuple[int | None, int | None]:
    """The chord before, and the next one that is another."""
    return (i - 1 if i else None), next_other(chords, i)


def _is_applied(chords: Sequence[ChordSpan], i: int, key: Key) -> bool:
    """Whether the chord is heard as leading to another degree; it is written so in the figure, with exceptions."""
    chord = chords[i]
    if chord.quality in ("italian-sixth", "german-sixth", "french-sixth"):
        return True
    if "/" not in chord.figure:
        return False
    before, after = (None if k is None else chords[k] for k in _beside(chords, i))
    tonic = key.tonic.name
    root = degree(chord.root, tonic)
    following = after.root if after is not None else ""
    if root == "1":
        return following not in ("", tonic, key.pitch_class("b7").name)
    if root == "2" and chord.quality in ("major", "dominant-seventh"):
        over = chord.bass == tonic or tonic in chord.nonchord
        back = following in ("", tonic) and (after is None or after.inversion != 2)
        return not (back and (over or (before is not None and before.root == tonic)))
    return True


def _kind(note: NoteRow, degree: str, place: Place, line: tuple[int | None, int | None]) -> BorrowedKind:
    known = any(degree in degrees for _, degrees in _BRIGHT)
    if note.pitch.pitch_class.name in place.members:
        return "applied" if place.applied else "modal" if known else "chromatic"
    came, went = line
    left_by_semitone = went is not None and abs(went) == 1
    came_by_step = came is not None and abs(came) <= 2
    short = note.duration_quarters < 1 - SMALL
    if not known or left_by_semitone or (short and (came_by_step or (went is not None and abs(went) <= 2))):
        return "chromatic"
    return "modal"
