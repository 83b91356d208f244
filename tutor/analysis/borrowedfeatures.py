"""What is measured of a note foreign to its key, for the model that tells lent, applied and melodic tones apart.

Kept apart from the telling in `borrowed`: a new measurement is a new column here and a new fit, nothing else.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import log

import numpy as np

from tutor.analysis.borrowedplaces import HOME, Nearby, Scales, Struck
from tutor.analysis.columns import SMALL, Floats, degree
from tutor.analysis.findings import BorrowedKind, ChordSpan, KeySpan
from tutor.music.pitch import LETTERS, PitchClass
from tutor.music.scale import Key
from tutor.music.table import MeasureRow, NoteRow, NoteTable

PARALLEL = {"major": frozenset(("b3", "b6", "b7")), "minor": frozenset(("3", "6"))}
"""Degrees lent by the other mode on the same tonic."""
_DEGREES = {
    "major": ("b2", "#1", "b3", "#2", "#4", "b5", "#5", "b6", "#6", "b7"),
    "minor": ("b2", "#1", "3", "b4", "#4", "b5", "6"),
}
_NEAR, _WIDE = 2.0, 8.0
"""Bars to either side that count as near, and as the neighbourhood."""
_FAMILIES = ("dominant-seventh", "diminished-seventh", "half-diminished-seventh", "diminished", "major", "minor")
_MEMBERS = 5

COLUMNS = (
    "bias",
    *(f"major {d}" for d in _DEGREES["major"]),
    *(f"minor {d}" for d in _DEGREES["minor"]),
    "other degree",
    *(f"ruled {k}" for k in ("modal", "applied", "chromatic")),
    "figure applied",
    "heard applied",
    "sixth",
    "neapolitan",
    *(f"member {k}" for k in ("root", "third", "fifth", "seventh", "ninth")),
    *(f"chord {k}" for k in _FAMILIES),
    "root foreign",
    "foreign members",
    "members parallel",
    "down a fifth",
    "up a semitone",
    "same root next",
    "to the tonic",
    "from the tonic",
    "next applied",
    "before applied",
    "next parallel",
    "before parallel",
    "next foreign",
    "before foreign",
    "chord sure",
    "key sure",
    "next sure",
    "before sure",
    "chord length",
    "chords near parallel",
    "chords near applied",
    "chords near foreign",
    "key length",
    "key begins",
    "key ends",
    "next key has it",
    "key before has it",
    "in signature",
    "signature apart",
    "length",
    "on the beat",
    "on the bar",
    "sung",
    "lowest",
    "doubled",
    "came by semitone",
    "came by step",
    "came by leap",
    "came from silence",
    "repeated",
    "left by semitone",
    "left by step",
    "left by leap",
    "into silence",
    "leads on",
    "member leads on",
    "natural just before",
    "natural just after",
    "altered near",
    "altered around",
    "natural near",
    "chord changes in it",
    *(f"{what} {where}" for where in ("near", "around") for what in ("fit", "parallel gain", "gain", "third lent")),
    "ruled modal, parallel",
    "ruled modal, key sure",
    "ruled applied, chord sure",
    "ruled modal, chord sure",
    "parallel, near parallel",
    "member, foreign members",
)
"""Names of the measurements."""
_AT = {name: i for i, name in enumerate(COLUMNS)}


@dataclass(frozen=True, slots=True)
class Foreign:
    """A note foreign to its key, with its place."""

    note: NoteRow
    degree: str
    chord: int
    """Index of its chord."""
    member: bool
    """It belongs to that chord."""
    ruled: BorrowedKind
    """What the rules say it is."""
    applied: bool
    """Its chord is heard as applied by the rules."""
    came: int | None
    """Semitones from the note before it in its part to this one, None after silence; negative where it fell."""
    went: int | None
    """Semitones from this note to the next in its part, None before silence."""
    bar: int
    """Index of the bar in which it starts."""
    beat: float
    """Beat in that bar."""


class _Chords:
    """What is measured of the chords, once for each."""

    def __init__(self, chords: Sequence[ChordSpan], homes: Sequence[Key], places: list[float]) -> None:
        self.chords, self.homes = chords, homes
        degrees = [_foreign_degrees(c.key, c.tones) for c in chords]
        self.foreign = [len(d) for d in degrees]
        self.applied = ["/" in c.figure for c in chords]
        self.parallel = [
            bool(d) and d <= PARALLEL[home.mode] and not applied
            for d, home, applied in zip(degrees, homes, self.applied, strict=True)
        ]
        self.middle = places
        self.known: dict[int, list[float]] = {}

    def row(self, i: int) -> list[float]:
        """The measurements of a chord, in a new list."""
        if i not in self.known:
            self.known[i] = self._measure(i)
        return self.known[i].copy()

    def _measure(self, i: int) -> list[float]:
        row = [0.0] * len(COLUMNS)
        chord, home = self.chords[i], self.homes[i]
        after = next_other(self.chords, i)
        before = i - 1 if i else None
        row[_AT["bias"]] = 1.0
        row[_AT["figure applied"]] = self.applied[i]
        row[_AT["sixth"]] = chord.quality.endswith("-sixth") and not chord.quality.startswith(("major", "minor"))
        tonic = home.tonic.name
        root = degree(chord.root, tonic)
        row[_AT["neapolitan"]] = root == "b2" and chord.quality == "major"
        if chord.quality in _FAMILIES:
            row[_AT[f"chord {chord.quality}"]] = 1.0
        row[_AT["root foreign"]] = root not in HOME[home.mode]
        row[_AT["foreign members"]] = min(self.foreign[i], 3.0) / 2
        row[_AT["members parallel"]] = self.parallel[i]
        row[_AT["chord sure"]] = log_odds(chord.confidence)
        row[_AT["chord length"]] = log(max(chord.end - chord.start, 0.1))
        for name, k in (("next", after), ("before", before)):
            if k is None:
                continue
            row[_AT[f"{name} applied"]] = self.applied[k]
            row[_AT[f"{name} parallel"]] = self.parallel[k]
            row[_AT[f"{name} foreign"]] = min(self.foreign[k], 2.0) / 2
            row[_AT[f"{name} sure"]] = log_odds(self.chords[k].confidence)
            row[_AT["to the tonic" if name == "next" else "from the tonic"]] = self.chords[k].root == tonic
        if after is not None:
            moved = (PitchClass.parse(self.chords[after].root).chroma - PitchClass.parse(chord.root).chroma) % 12
            row[_AT["down a fifth"]] = moved == 5
            row[_AT["up a semitone"]] = moved == 1
            row[_AT["same root next"]] = moved == 0
        middle, around = self.middle[i], range(max(i - 8, 0), min(i + 9, len(self.chords)))
        near = [k for k in around if k != i and abs(self.middle[k] - middle) <= 4.0]
        if near:
            row[_AT["chords near parallel"]] = sum([self.parallel[k] for k in near]) / len(near)
            row[_AT["chords near applied"]] = sum([self.applied[k] for k in near]) / len(near)
            row[_AT["chords near foreign"]] = sum([self.foreign[k] > 0 for k in near]) / len(near)
        return row


def next_other(chords: Sequence[ChordSpan], i: int) -> int | None:
    """Index of the next chord that is another."""
    root, quality = chords[i].root, chords[i].quality
    for k in range(i + 1, len(chords)):
        if chords[k].root != root or chords[k].quality != quality:
            return k
    return None


@lru_cache(maxsize=8192)
def _foreign_degrees(key: str, tones: tuple[str, ...]) -> frozenset[str]:
    """The degrees of some tones that are foreign to a key."""
    home = Key.parse(key)
    tonic = home.tonic.name
    return frozenset([degree(t, tonic) for t in tones]) - HOME[home.mode]


def log_odds(share: float) -> float:
    """Log odds of a confidence, held within plus or minus four."""
    held = min(max(share, 0.02), 0.98)
    return log(held / (1 - held))


def measure(
    table: NoteTable,
    keys: Sequence[KeySpan],
    chords: Sequence[ChordSpan],
    found: Sequence[Foreign],
    struck: Struck | None = None,
) -> Floats:
    """Measure foreign notes; shape (n, len(COLUMNS)).

    Args:
        table: The score as rows.
        keys: Keys without gaps.
        chords: Chords without gaps.
        found: The foreign notes, in the order of the table.
        struck: The notes of the table, where they are at hand.
    """
    if not found:
        return np.zeros((0, len(COLUMNS)))
    known = _Chords(chords, [Key.parse(c.key) for c in chords], _bar_places(table, chords))
    struck = struck or Struck(table)
    notes, scales = Nearby(table, struck), Scales(table, struck)
    key_starts = [k.start for k in keys]
    around: dict[tuple[int, str, int], tuple[float, float, float]] = {}
    fit = slice(_AT["fit near"], _AT["fit near"] + 8)
    rows = []
    for one in found:
        note, home, row = one.note, known.homes[one.chord], known.row(one.chord)
        bar, tone = table.measures[one.bar], PitchClass.of(note.step, note.alter)
        _of_note(row, one, tone, bar, chords[one.chord], home, notes)
        at = max(bisect_right(key_starts, note.onset_quarters + SMALL) - 1, 0)
        _of_key(row, bar, one, tone, keys, at)
        slot = (int(note.onset_quarters), note.step, note.alter)
        if slot not in around:
            around[slot] = _recurring(notes, note, bar.bar_quarters)
        row[fit] = scales.row(one.bar, home, tone)
        row[_AT["altered near"]], row[_AT["altered around"]], row[_AT["natural near"]] = around[slot]
        _together(row, one)
        rows.append(row)
    return np.array(rows, dtype=np.float64)


def _bar_places(table: NoteTable, chords: Sequence[ChordSpan]) -> list[float]:
    """Where the middle of each chord lies, in bars."""
    starts = np.array([m.start_quarters for m in table.measures])
    lengths = np.maximum(np.array([m.bar_quarters for m in table.measures]), SMALL)
    middle = np.array([(c.start + c.end) / 2 for c in chords])
    bar = np.maximum(starts.searchsorted(middle + SMALL, side="right") - 1, 0)
    places: list[float] = (bar + (middle - starts[bar]) / lengths[bar]).tolist()
    return places


def _of_note(
    row: list[float], one: Foreign, tone: PitchClass, bar: MeasureRow, chord: ChordSpan, home: Key, notes: Nearby
) -> None:
    note, onset, end = one.note, one.note.onset_quarters, one.note.end_quarters
    row[_AT.get(f"{home.mode} {one.degree}", _AT["other degree"])] = 1.0
    row[_AT[f"ruled {one.ruled}"]] = 1.0
    row[_AT["heard applied"]] = one.applied
    if one.member:
        distance = (LETTERS.index(note.step) - LETTERS.index(chord.root[0])) % 7
        row[_AT["member root"] + {0: 0, 2: 1, 4: 2, 6: 3}.get(distance, 4)] = 1.0
    row[_AT["length"]] = log(max(note.duration_quarters, 0.05))
    row[_AT["on the beat"]] = abs(one.beat - round(one.beat)) < 0.01
    row[_AT["on the bar"]] = abs(one.beat - 1) < 0.01
    row[_AT["sung"]] = note.part == notes.voice
    sounding, midi = notes.sounding(onset), note.midi
    row[_AT["lowest"]] = bool(sounding) and midi <= min(sounding)
    row[_AT["doubled"]] = min(sum([(other - midi) % 12 == 0 for other in sounding]) - 1, 2)
    row[_AT["chord changes in it"]] = end > chord.end + SMALL
    for told, step in (("came", one.came), ("left", one.went)):
        if step is None:
            row[_AT["came from silence" if told == "came" else "into silence"]] = 1.0
        elif step:
            how = "semitone" if abs(step) == 1 else "step" if abs(step) == 2 else "leap"
            row[_AT[f"{told} by {how}"]] = 1.0
        elif told == "came":
            row[_AT["repeated"]] = 1.0
    raised = tone.fifths > home.fifths + 5  # beyond the tones of the key
    on = one.went is not None and (one.went == 1 if raised else one.went in (-1, -2))
    row[_AT["leads on"]] = on
    row[_AT["member leads on"]] = on and one.member
    half = bar.bar_quarters / 2
    for told, low, high in (
        ("natural just before", onset - half, onset - SMALL),
        ("natural just after", end, end + half),
    ):
        _, alters = notes.around(note.step, low, high)
        row[_AT[told]] = alters.count(note.alter) < len(alters)


def _of_key(
    row: list[float], bar: MeasureRow, one: Foreign, tone: PitchClass, keys: Sequence[KeySpan], at: int
) -> None:
    if not keys:
        return
    key, note = keys[at], one.note
    length = max(bar.bar_quarters, SMALL)
    row[_AT["key sure"]] = log_odds(key.confidence)
    row[_AT["key length"]] = log(max((key.end - key.start) / length, 0.25))
    row[_AT["key begins"]] = at > 0 and note.onset_quarters - key.start <= 2 * length
    row[_AT["key ends"]] = at + 1 < len(keys) and key.end - note.onset_quarters <= 2 * length
    for told, k in (("next key has it", at + 1), ("key before has it", at - 1)):
        if 0 <= k < len(keys):
            near = abs((keys[k].start if k > at else keys[k].end) - note.onset_quarters) <= 8 * length
            other = Key.parse(keys[k].name)
            row[_AT[told]] = near and other.degree_of(tone) in HOME[other.mode]
    row[_AT["in signature"]] = -1 <= tone.fifths - bar.fifths <= 5
    home = Key.parse(key.name)
    row[_AT["signature apart"]] = min(abs(home.fifths - bar.fifths), 4) / 2


def _recurring(notes: Nearby, note: NoteRow, bar: float) -> tuple[float, float, float]:
    """Shares of the notes of one letter that bear the same sign: near and around, and whether the other is near."""
    at = note.onset_quarters
    onsets, alters = notes.around(note.step, at - _WIDE * bar, at + _WIDE * bar)
    near = near_same = wide = wide_same = 0
    for onset, alter in zip(onsets, alters, strict=True):
        away, same = abs(onset - at), alter == note.alter
        if SMALL < away <= _NEAR * bar:
            near += 1
            near_same += same
        if 0.5 * bar < away <= _WIDE * bar:
            wide += 1
            wide_same += same
    return near_same / (near + 1.0), wide_same / (wide + 1.0), (near - near_same) / (near + 1.0)


def _together(row: list[float], one: Foreign) -> None:
    """Products of measurements that mean more together."""
    modal, applied = one.ruled == "modal", one.ruled == "applied"
    row[_AT["ruled modal, parallel"]] = modal * row[_AT["members parallel"]]
    row[_AT["ruled modal, key sure"]] = modal * row[_AT["key sure"]]
    row[_AT["ruled modal, chord sure"]] = modal * row[_AT["chord sure"]]
    row[_AT["ruled applied, chord sure"]] = applied * row[_AT["chord sure"]]
    row[_AT["parallel, near parallel"]] = row[_AT["members parallel"]] * row[_AT["chords near parallel"]]
    inside = sum(row[_AT["member root"] : _AT["member root"] + _MEMBERS])
    row[_AT["member, foreign members"]] = inside * row[_AT["foreign members"]]
