"""Two melodies side by side: how alike they are, and which turns of melody they share.

Similarity is one minus the cost of turning one melody into the other over the cost of deleting both, by global
sequence alignment on intervals and durations (M. Mongeau and D. Sankoff, Comparison of Musical Sequences, Computers
and the Humanities 24, 1990, 161-175; recalled: the idea of weighing pitch and length together and of splitting and
joining notes is theirs, the weights here are ours). The melodies are put in one key by trying the transpositions
under which most of their sung time agrees. Shared turns are found wherever they stand, so that songs built from the
same phrases in another order are seen: runs of equal intervals and rhythm (cells), and runs of equal staff steps
(contours).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.columns import SMALL, Floats, Ints, Line, sung_line, with_voice
from tutor.analysis.findings import PhraseSpan
from tutor.analysis.phrases import LONGER, find_phrases
from tutor.music.table import NoteTable

MEASURE = "alignment of intervals and durations after Mongeau and Sankoff (1990)"
"""The source of the similarity, to be shown beside the number."""
CELL_NOTES, CONTOUR_NOTES = 4, 6
"""Shortest cell and contour told, in notes."""
REST_QUARTERS = 2.0
"""A turn does not go on over a longer rest (a choice of ours)."""
TOLD = 12
"""Most shared turns told of each kind."""
_PITCH = 3.0 * np.array([0.0, 0.9, 0.7, 0.5, 0.5, 0.45, 0.9, 0.45, 0.5, 0.5, 0.7, 0.9])
"""Cost of a wrong note by its distance in semitones within the octave: consonances weigh less (weights of ours)."""
_DURATION = 0.35
"""Cost of a quarter too long or short."""
_KEYS_TRIED = 3


@dataclass(frozen=True, slots=True)
class SharedTurn:
    """A turn of melody found in both songs."""

    kind: Literal["cell", "contour"]
    """'cell': same intervals and same rhythm; 'contour': same staff steps, with other intervals or another rhythm."""
    a: tuple[float, float]
    """Start and end in the first song."""
    a_bars: tuple[str, str]
    b: tuple[float, float]
    """Start and end in the second song."""
    b_bars: tuple[str, str]
    notes: int
    steps: tuple[int, ...]
    """Intervals in semitones (cell) or staff steps (contour); positive is up."""
    in_rhythm: bool = False
    """True where the rhythm is the same too."""


@dataclass(frozen=True, slots=True)
class PhrasePair:
    """A phrase of the first song with the phrase of the second that is most like it."""

    a: int
    """Phrase number in the first song."""
    a_bars: tuple[str, str]
    b: int
    b_bars: tuple[str, str]
    similarity: float


@dataclass(frozen=True, slots=True)
class Likeness:
    """Two sung melodies compared."""

    similarity: float
    """0 to 1, from beginning to end in order."""
    similarity_any_order: float
    """0 to 1: each phrase against its best partner, weighed by length, both ways."""
    measure: str
    transposed: int
    """Semitones, -5 to 6, that put the first melody into the key of the second."""
    turns: tuple[SharedTurn, ...]
    phrases: tuple[PhrasePair, ...]


def compare(a: NoteTable, b: NoteTable) -> Likeness:
    """Compare the sung melodies of two songs.

    Raises:
        ScoreError: one of them has no singable line.
    """
    a, b = with_voice(a, None), with_voice(b, None)
    one, two = sung_line(a), sung_line(b)
    phrases_a, phrases_b = find_phrases(a, one, weights=LONGER), find_phrases(b, two, weights=LONGER)
    held_a, held_b = in_one_time(one, two)
    best: tuple[float, int, float, float, tuple[PhrasePair, ...], int] | None = None
    for shift in likely_keys(one.midi, one.held, two.midi, two.held):
        in_order = align(one.midi + shift, held_a, two.midi, held_b)
        pairs, any_order = _pair_phrases(one, two, (held_a, held_b), phrases_a, phrases_b, shift)
        rank = round(max(in_order, any_order), 9)
        if best is None or (rank, -min(shift, 12 - shift)) > best[:2]:
            best = (rank, -min(shift, 12 - shift), in_order, any_order, pairs, shift)
    assert best is not None
    _, _, similarity, any_order, pairs, shift = best
    return Likeness(
        similarity=round(similarity, 4),
        similarity_any_order=round(any_order, 4),
        measure=MEASURE,
        transposed=(shift + 5) % 12 - 5,
        turns=(*_cells(a, b, one, two), *_contours(a, b, one, two)),
        phrases=pairs,
    )


def in_one_time(one: Line, two: Line) -> tuple[Floats, Floats]:
    """Lengths of both lines with the one in longer note values halved until the usual ones match."""
    if min(len(one), len(two)) < 2:
        return one.held, two.held
    ratio = float(np.median(np.diff(two.onset)) / np.median(np.diff(one.onset)))
    halvings = round(np.log2(ratio))
    return one.held * 2.0 ** min(halvings, 0), two.held * 2.0 ** min(-halvings, 0)


def likely_keys(midi_a: Ints, held_a: Floats, midi_b: Ints, held_b: Floats) -> list[int]:
    """The transpositions of a, in semitones, under which most of the sung time agrees; ties are all kept."""
    profile_a = np.bincount(midi_a % 12, held_a, 12) / held_a.sum()
    profile_b = np.bincount(midi_b % 12, held_b, 12) / held_b.sum()
    agreement = [round(float(np.minimum(np.roll(profile_a, t), profile_b).sum()), 9) for t in range(12)]
    least = sorted(agreement)[-_KEYS_TRIED]
    return [t for t in range(12) if agreement[t] >= least]


def align(midi_a: Ints, held_a: Floats, midi_b: Ints, held_b: Floats) -> float:
    """Similarity of two melodies in one key, 0 to 1; octaves do not count."""
    pitch = _PITCH[(midi_a[:, None] - midi_b[None, :]) % 12]
    shorter = np.minimum(held_a[:, None], held_b[None, :])
    swap = (pitch * (0.5 + 0.5 * shorter) + _DURATION * np.abs(held_a[:, None] - held_b[None, :])).tolist()
    drop_a, drop_b = (0.5 + _DURATION * held_a).tolist(), (0.5 + _DURATION * held_b).tolist()
    split = _joins(midi_a, held_a, midi_b, held_b)
    joined = _joins(midi_b, held_b, midi_a, held_a)
    rows, columns = len(drop_a), len(drop_b)
    past: list[list[float]] = [[0.0, *np.cumsum(drop_b).tolist()]]
    for i in range(1, rows + 1):
        above, cost_a, swaps = past[-1], drop_a[i - 1], swap[i - 1]
        row = [above[0] + cost_a]
        for j in range(1, columns + 1):
            best = min(above[j - 1] + swaps[j - 1], above[j] + cost_a, row[j - 1] + drop_b[j - 1])
            if j > 1:
                best = min(best, above[j - 2] + split[i - 1][j - 1])
            if i > 1:
                best = min(best, past[-2][j - 1] + joined[j - 1][i - 1])
            row.append(best)
        past = [above, row]
    whole = sum(drop_a) + sum(drop_b)
    return float(max(0.0, 1.0 - past[-1][-1] / whole))


def _joins(midi_a: Ints, held_a: Floats, midi_b: Ints, held_b: Floats) -> list[list[float]]:
    """Cost [i][j] of one note of a standing for the two notes j - 1 and j of b."""
    pitch = _PITCH[(midi_a[:, None] - midi_b[None, :]) % 12] * (
        0.5 + 0.5 * np.minimum(held_a[:, None], held_b[None, :])
    )
    both = np.zeros_like(pitch)
    both[:, 1:] = pitch[:, 1:] + pitch[:, :-1] + 0.1
    both[:, 1:] += _DURATION * np.abs(held_a[:, None] - (held_b[1:] + held_b[:-1])[None, :])
    out: list[list[float]] = both.tolist()
    return out


def _pair_phrases(
    one: Line,
    two: Line,
    held: tuple[Floats, Floats],
    phrases_a: Sequence[PhraseSpan],
    phrases_b: Sequence[PhraseSpan],
    shift: int,
) -> tuple[tuple[PhrasePair, ...], float]:
    """Each phrase of a with its best partner in b, and the mean likeness both ways, weighed by length."""
    spans_a = [one.inside(p.start, p.end) for p in phrases_a]
    spans_b = [two.inside(p.start, p.end) for p in phrases_b]
    table = np.zeros((len(spans_a), len(spans_b)))
    held_a, held_b = held
    for i, x in enumerate(spans_a):
        for j, y in enumerate(spans_b):
            s, t = slice(x.start, x.stop), slice(y.start, y.stop)
            table[i, j] = align(one.midi[s] + shift, held_a[s], two.midi[t], held_b[t])
    if not table.size:
        return (), 0.0
    pairs = tuple(
        PhrasePair(p.id, p.bars, phrases_b[k].id, phrases_b[k].bars, round(float(table[i, k]), 4))
        for i, p in enumerate(phrases_a)
        for k in [int(np.argmax(table[i]))]
    )
    weight_a = np.array([p.end - p.start for p in phrases_a])
    weight_b = np.array([p.end - p.start for p in phrases_b])
    mean_a = float(table.max(axis=1) @ weight_a / weight_a.sum())
    mean_b = float(table.max(axis=0) @ weight_b / weight_b.sum())
    return pairs, (mean_a + mean_b) / 2


def _cells(a: NoteTable, b: NoteTable, one: Line, two: Line) -> tuple[SharedTurn, ...]:
    """Runs with the same intervals in semitones and the same proportions of time from note to note."""
    steps_a = np.diff(one.midi)
    same, ratio = _same_intervals(one, two), _paces(one, two)
    return _told(a, b, one, two, same, ratio, steps_a, "cell", CELL_NOTES)


def _same_intervals(one: Line, two: Line) -> NDArray[np.bool_]:
    """Whether two steps are the same interval in semitones; never over a rest."""
    out: NDArray[np.bool_] = (np.diff(one.midi)[:, None] == np.diff(two.midi)[None, :]) & _unbroken(one, two)
    return out


def _paces(one: Line, two: Line) -> Floats:
    """The time from note to note in the first song over that in the second: constant where the rhythm is the same."""
    out: Floats = np.round(np.diff(one.onset)[:, None] / np.diff(two.onset)[None, :], 3)
    return out


def _unbroken(one: Line, two: Line) -> NDArray[np.bool_]:
    goes_on = [line.onset[1:] - line.end[:-1] <= REST_QUARTERS + SMALL for line in (one, two)]
    out: NDArray[np.bool_] = goes_on[0][:, None] & goes_on[1][None, :]
    return out


def _contours(a: NoteTable, b: NoteTable, one: Line, two: Line) -> tuple[SharedTurn, ...]:
    """Runs with the same steps on the staff, whatever the rhythm."""
    steps_a = np.diff(np.array([r.pitch.diatonic for r in one.rows]))
    steps_b = np.diff(np.array([r.pitch.diatonic for r in two.rows]))
    same = (steps_a[:, None] == steps_b[None, :]) & _unbroken(one, two)
    return _told(a, b, one, two, same, np.zeros(same.shape), steps_a, "contour", CONTOUR_NOTES)


def _told(
    a: NoteTable,
    b: NoteTable,
    one: Line,
    two: Line,
    same: NDArray[np.bool_],
    ratio: Floats,
    steps: Ints,
    kind: Literal["cell", "contour"],
    least: int,
) -> tuple[SharedTurn, ...]:
    """The longest runs along the diagonals of ``same`` with one ``ratio``, no place of the first song told twice.

    A contour that is the same in intervals and rhythm is a cell, and told as such alone.
    """
    runs = []
    for i, j, length in _diagonal_runs(same, ratio):
        turn = steps[i : i + length]
        if length + 1 >= least and len(set(turn.tolist())) > 1:
            runs.append((length, i, j))
    runs.sort(key=lambda r: (-r[0], r[1], r[2]))
    taken = np.zeros(len(one.rows), dtype=bool)
    exact, paces = _same_intervals(one, two), _paces(one, two)
    found = []
    for length, i, j in runs:
        if taken[i : i + length + 1].mean() > 0.5:
            continue
        taken[i : i + length + 1] = True
        run = np.arange(i, i + length), np.arange(j, j + length)
        in_rhythm = len(set(paces[run].tolist())) == 1
        if kind == "contour" and in_rhythm and exact[run].all():
            continue
        found.append(replace(_turn(a, b, one, two, kind, i, j, length, steps), in_rhythm=in_rhythm))
        if len(found) == TOLD:
            break
    return tuple(sorted(found, key=lambda t: t.a))


def _diagonal_runs(same: NDArray[np.bool_], ratio: Floats) -> list[tuple[int, int, int]]:
    """(row, column, length) of each maximal run of true cells along a diagonal in which ``ratio`` is constant."""
    if not same.size:
        return []
    goes_on = np.zeros_like(same)
    goes_on[1:, 1:] = same[1:, 1:] & same[:-1, :-1] & (ratio[1:, 1:] == ratio[:-1, :-1])
    length = np.zeros(same.shape, dtype=np.int64)
    length[-1], length[:, -1] = same[-1], same[:, -1]
    for i in range(same.shape[0] - 2, -1, -1):
        length[i, :-1] = np.where(same[i, :-1], 1 + np.where(goes_on[i + 1, 1:], length[i + 1, 1:], 0), 0)
    heads = np.argwhere(same & ~goes_on & (length >= 2))
    return [(int(i), int(j), int(length[i, j])) for i, j in heads]


def _turn(
    a: NoteTable,
    b: NoteTable,
    one: Line,
    two: Line,
    kind: Literal["cell", "contour"],
    i: int,
    j: int,
    length: int,
    steps: Ints,
) -> SharedTurn:
    def span(table: NoteTable, line: Line, k: int) -> tuple[tuple[float, float], tuple[str, str]]:
        first, last = line.rows[k], line.rows[k + length]
        bars = (table.measures[first.measure].number, table.measures[last.measure].number)
        return (first.onset_quarters, round(float(line.end[k + length]), 6)), bars

    a_span, a_bars = span(a, one, i)
    b_span, b_bars = span(b, two, j)
    return SharedTurn(kind, a_span, a_bars, b_span, b_bars, length + 1, tuple(steps[i : i + length].tolist()))
