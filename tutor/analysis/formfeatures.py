"""What is measured of a stretch of bars that might be a section, and of two sections that might be alike.

Kept apart from the decoding in `form`: a new measurement is a new column here and a new fit, nothing else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import inf

import numpy as np

from tutor.analysis.columns import Floats, Ints
from tutor.analysis.echoes import LONGEST, Echoes, Flags, ahead

_LENGTHS = np.array([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 16, 24])
"""Upper edges of the classes of length, in bars."""
_CLASS: Ints = np.searchsorted(_LENGTHS, np.arange(1, LONGEST + 1))
"""The class of each length, shape (LONGEST,)."""
_OF_LENGTH: Flags = _CLASS[:, None] == np.arange(len(_LENGTHS))
"""The same as marks, shape (LONGEST, classes)."""
_LINES = np.array([1, 2, 3, 4, 6, 8, 99])
"""Upper edges of the classes of length, in lines of the words."""
START = (
    "voice_enters",
    "voice_leaves",
    "gap",
    "short_gap",
    "rest",
    "place_2",
    "place_4",
    "place_8",
    "song_place_2",
    "song_place_4",
    "repeat_starts",
    "repeat_ends",
    "repeat_starts_squared",
    "repeat_ends_squared",
    "repeated_block_starts",
    "gap_on_place_4",
    "run_starts",
    "run_ends",
    "sentence_ends",
    "sentence_runs_on",
    "sentence_ends_at_rest",
    "printed_mark",
    "key_or_metre_changes",
    "tempo_changes",
)
"""Measured at the bar line where a section begins."""
INSIDE = (
    "echo",
    "echo_squared",
    "clear_echo",
    "clear_echo_bars",
    "fair_echo_bars",
    "exact_echo_bars",
    "halves_alike",
    "halves_clearly_alike",
    "voice_changes",
    "clear_long_echo",
    "doubtful_echo_bars",
    "silent_bars",
    "sung_bars_in_silent",
    "silent_bars_in_sung",
    "texted",
    "texted_bars",
    *(f"lines_{k}" for k in _LINES),
)
"""Measured of the stretch as a whole."""
SECTION_COLUMNS = (
    START + tuple(f"sung_length_{k}" for k in _LENGTHS) + tuple(f"silent_length_{k}" for k in _LENGTHS) + INSIDE
)


_SIZES = (len(START), len(_LENGTHS), len(_LENGTHS), len(INSIDE) - len(_LINES), len(_LINES))
_PARTS = [slice(end - size, end) for size, end in zip(_SIZES, accumulate(_SIZES), strict=True)]
"""Where in these columns stand the beginning, the lengths of sung and of silent stretches, the inside, the lines."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Every stretch of up to `LONGEST` bars, measured; [s, L] is the one that starts at bar s and has L + 1 bars."""

    starts: Floats
    """What is measured at each bar line, shape (len(START), n)."""
    silent: Flags
    """Those with voice in less than half of their bars, shape (n, LONGEST)."""
    inside: Sequence[Floats | Ints | Flags]
    """What is measured of them as a whole, but for the lines of the words; each of shape (n, LONGEST)."""
    lines: Ints
    """The class of their length in lines of the words, len(_LINES) where they have none, shape (n, LONGEST)."""
    fit: Flags
    """Those that end within the song, shape (n, LONGEST)."""


def measure_stretches(echoes: Echoes) -> Stretches:
    """Measure every stretch that might be a section."""
    n = len(echoes.sung)
    starts = _starts(echoes)
    first, bars = np.arange(n)[:, None], np.arange(1, LONGEST + 1)
    end = np.minimum(first + bars, n)
    sung, lines, changes = _before(echoes.sung), _before(echoes.lines), _before(starts[0] + starts[1])
    here = sung[end] - sung[first]
    silent = here / bars < 0.5
    inner = changes[end] - changes[np.minimum(first + 1, n)]
    voiced = ~silent
    words = echoes.signs.texted * voiced
    inside = [
        *_inside(*_repeats(echoes.whole), inner, silent, bars),
        here * silent,
        (bars - here) * voiced,
        words,
        words * bars,
    ]
    worded = lines[end] - lines[first]
    classes = np.where(words & (worded > 0), _LINES.searchsorted(worded), len(_LINES))
    return Stretches(starts, silent, inside, classes, first + bars <= n)


def _before(values: Floats | Ints | Flags) -> Floats:
    """Sums of what stands before each bar line, shape (n + 1,)."""
    out = np.zeros(len(values) + 1)
    values.cumsum(out=out[1:])
    return out


def section_features(echoes: Echoes) -> tuple[Floats, Floats]:
    """Measure every stretch of up to `LONGEST` bars, for a fit.

    Returns:
        Values, shape (n, LONGEST, len(SECTION_COLUMNS)), for the stretch that starts at bar s and has L + 1 bars,
        and a mask of shape (n, LONGEST), 0 where the stretch would end beyond the song.
    """
    told = measure_stretches(echoes)
    n = len(told.silent)
    out = np.concatenate(
        [
            np.broadcast_to(told.starts.T[:, None], (n, LONGEST, len(START))),
            ~told.silent[:, :, None] & _OF_LENGTH,
            told.silent[:, :, None] & _OF_LENGTH,
            np.stack(told.inside, axis=2),
            told.lines[:, :, None] == np.arange(len(_LINES)),
        ],
        axis=2,
    )
    out[~told.fit] = 0.0
    return out, told.fit.astype(np.float64)


def section_scores(echoes: Echoes, weights: Floats) -> Floats:
    """The sum of `section_features` times their weights, -inf where a stretch would end beyond the song.

    Args:
        echoes: The bars compared.
        weights: One for each of `SECTION_COLUMNS`.

    Returns:
        Shape (n, LONGEST).
    """
    told = measure_stretches(echoes)
    start, sung, silent, inside, lines = (weights[part] for part in _PARTS)
    length = np.where(told.silent, silent[_CLASS], sung[_CLASS])
    score: Floats = (start @ told.starts)[:, None] + length
    if echoes.signs.texted:
        score += np.append(lines, 0.0)[told.lines]
    for weight, values in zip(inside.tolist(), told.inside, strict=True):
        score += weight * values
    score[~told.fit] = -np.inf
    return score


def _repeats(whole: Floats) -> tuple[Floats, Floats]:
    """Likeness of each stretch to the most alike one that does not overlap it, and of its halves; 0 where odd."""
    n = len(whole)
    echo, halves = np.zeros((n, LONGEST)), np.zeros((n, LONGEST))
    across = np.ascontiguousarray(whole.T)
    along = np.zeros((n, n))  # likeness summed along the diagonal for the present length; -inf where they overlap
    for bars in range(1, min(LONGEST, n // 2) + 1):  # of a longer stretch every other one overlaps it
        m = n - bars + 1
        along = along[:m, :m] + across[bars - 1 :, bars - 1 :]
        flat = along.reshape(-1)
        flat[bars - 1 : (m - bars + 1) * m : m + 1] = flat[(bars - 1) * m :: m + 1] = -np.inf
        echo[:m, bars - 1] = along.max(axis=0)
        if 2 * bars <= min(LONGEST, n):
            halves[: m - bars, 2 * bars - 1] = along.diagonal(-bars) / bars
    return np.maximum(echo / np.arange(1, LONGEST + 1), 0.0), halves


def _inside(echo: Floats, halves: Floats, inner: Floats, silent: Flags, bars: Ints) -> list[Floats | Ints | Flags]:
    clear = echo > 0.75
    return [
        echo * bars,
        echo**2 * bars,
        clear,
        clear * bars,
        (echo > 0.6) * bars,
        (echo > 0.9) * bars,
        halves,
        halves > 0.7,
        inner,
        clear & (bars >= 8),
        (np.abs(echo - 0.5) < 0.15) * bars,
        silent * bars,
    ]


def _starts(echoes: Echoes) -> Floats:
    """Measure each bar line as the beginning of a section; shape (len(START), n), zero for the first."""
    n = len(echoes.sung)
    sung = echoes.sung
    enters, leaves = np.zeros(n), np.zeros(n)
    enters[1:] = sung[1:] & ~sung[:-1]
    leaves[1:] = ~sung[1:] & sung[:-1]
    bars = np.arange(n)
    place = bars - np.maximum.accumulate(np.where(enters + leaves > 0, bars, 0))
    song_place = bars - int(sung.argmax())  # the first bar where none is sung
    far = np.abs(bars[:, None] - bars) >= 2
    begins, ends, block = _edges(echoes.whole, far)
    columns = [
        enters,
        leaves,
        echoes.gap,
        np.minimum(echoes.gap, 0.5),
        echoes.rest,
        place % 2 == 0,
        place % 4 == 0,
        place % 8 == 0,
        song_place % 2 == 0,
        song_place % 4 == 0,
        begins,
        ends,
        np.maximum(begins, 0) ** 2,
        np.maximum(ends, 0) ** 2,
        block * (begins > 0.15),
        (echoes.gap > 0.3) * (place % 4 == 0),
        *_runs(echoes.whole, far),
        *_printed(echoes),
    ]
    out = np.empty((len(START), n))
    for row, values in zip(out, columns, strict=True):
        row[:] = values
    out[:, 0] = 0.0
    return out


def _printed(echoes: Echoes) -> list[Floats]:
    """What the words and signs say at each bar line."""
    signs = echoes.signs
    at_rest = signs.stop * np.minimum(echoes.rest, 1.0)
    return [signs.stop, signs.open, at_rest, signs.mark, signs.change, signs.tempo]


def _runs(whole: Floats, far: Flags) -> tuple[Floats, Floats]:
    """Length of the longest clear repeat that begins at each bar, and that ends before it, in units of 8 bars."""
    n = len(whole)
    clear = np.zeros((n + 2, n + 2), dtype=bool)  # with nothing clear around
    clear[1:-1, 1:-1] = (whole > 0.8) & far
    if not clear.any():
        return np.zeros(n), np.zeros(n)
    opens, closes = clear[1:, 1:] & ~clear[:-1, :-1], clear[:-1, :-1] & ~clear[1:, 1:]
    (first, _), (last, beyond) = _along_diagonals(opens), _along_diagonals(closes)
    bars = last - first
    begins, ends = np.zeros(n + 1), np.zeros(n + 1)
    np.maximum.at(begins, first, bars)
    np.maximum.at(ends, last, np.where(beyond < n, bars, 0))
    begins, ends = begins[:n], ends[:n]
    return np.minimum(begins, 16) / 8 * (begins >= 3), np.minimum(ends, 16) / 8 * (ends >= 3)


def _along_diagonals(marks: Flags) -> tuple[Ints, Ints]:
    """Rows and columns of the marks, diagonal by diagonal from the top."""
    row, column = np.nonzero(marks)
    order = np.argsort((column - row) * len(marks) + row)
    return row[order], column[order]


def _edges(whole: Floats, far: Flags) -> tuple[Floats, Floats, Floats]:
    """At each bar: how clearly a repeated block of four bars begins, how clearly one has ended, and its likeness."""
    n = len(whole)
    block = ahead(whole, 4)
    before, earlier, past = np.zeros((n, n)), np.zeros((n, n)), np.zeros((n, n))
    before[1:, 1:] = whole[:-1, :-1]
    earlier[2:, 2:] = whole[:-2, :-2]
    for k in range(1, min(4, n - 1) + 1):
        past[k:, k:] += whole[: n - k, : n - k]
    begins = np.where(far, block - 0.5 * (before + np.minimum(before, earlier)), -1.0).max(axis=1)
    ends = np.where(far, past / 4 - whole, -1.0).max(axis=1)
    return begins, ends, np.where(far, block, 0.0).max(axis=1)


PAIR_COLUMNS = (
    "bias",
    "melody",
    "rhythm",
    "harmony",
    "bass",
    "melody_opening",
    "rhythm_opening",
    "harmony_opening",
    "worst_bar",
    "melody_better_half",
    "shifted",
    "melody_best_bar",
    "melody_good_bars",
    "length_ratio",
    "same_length",
    "melody_squared",
    "melody_rhythm",
    "melody_harmony",
    "melody_length",
    "bars",
    "harmony_squared",
    "rhythm_harmony",
    "harmony_same_length",
    "same_words",
)
"""Measured of two sections that may bear one letter."""


Span = tuple[int, int]


def pair_features(echoes: Echoes, pairs: Sequence[tuple[Span, Span]]) -> Floats:
    """Measure pairs of stretches of bars (start, end), each laid over the other at its best.

    Returns:
        Shape (pairs, len(PAIR_COLUMNS)).
    """
    ways: dict[int, list[tuple[int, int, int, bool]]] = {}
    for k, ((a, b), (c, d)) in enumerate(pairs):
        bars, spare = min(b - a, d - c), abs((b - a) - (d - c))
        for off in sorted({0, spare, 4} if spare >= 4 else {0, spare}):
            x, y = (off, 0) if b - a > d - c else (0, off)
            ways.setdefault(min(bars, b - a - x, d - c - y), []).append((k, a + x, c + y, off > 0))
    best = [-inf] * len(pairs)
    out = np.ones((len(pairs), len(PAIR_COLUMNS)))
    values = out[:, 1:13]
    for bars, laid in ways.items():
        places = np.array(laid, dtype=np.int64)
        found = _overlaid(echoes, places[:, 1, None] + np.arange(bars), places[:, 2, None] + np.arange(bars))
        found[:, 9] = places[:, 3]
        ranks = found[:, :4] @ np.array([0.5, 0.15, 0.25, 0.1]) - 0.1 * found[:, 9]
        for k, rank, row in zip(places[:, 0].tolist(), ranks.tolist(), found, strict=True):
            if rank > best[k] + 1e-12:
                best[k], values[k] = rank, row
    sizes = [sorted((b - a, d - c)) for (a, b), (c, d) in pairs]
    short, long = np.array(sizes, dtype=np.float64).reshape(-1, 2).T
    words = _shared_words(echoes, pairs)
    m, r, h, ratio, same = *values[:, :3].T, short / long, short == long
    tail = [ratio, same, m**2, r * m, h * m, m * ratio, np.minimum(short, 8) / 8, h**2, r * h, h * same, words]
    for column, measured in zip(out[:, 13:].T, tail, strict=True):
        column[:] = measured
    return out


def _shared_words(echoes: Echoes, pairs: Sequence[tuple[Span, Span]]) -> Floats:
    """The share of pairs of syllables that two stretches have in common, 0 where one has no words."""
    if not any(echoes.words):
        return np.zeros(len(pairs))
    none = frozenset[tuple[str, str]]()
    sung = {(a, b): none.union(*echoes.words[a:b]) for a, b in {span for pair in pairs for span in pair}}
    texts = [(sung[one], sung[two]) for one, two in pairs]
    return np.array([len(one & two) / min(len(one), len(two)) if one and two else 0.0 for one, two in texts])


def _overlaid(echoes: Echoes, i: Ints, j: Ints) -> Floats:
    """Measure bars over bars; ``i`` and ``j`` have shape (pairs, bars). The tenth column is left for the caller."""
    rows = echoes.strands[:, i, j]
    bars = i.shape[1]
    m = np.sort(rows[0], axis=1)
    half, opening = m[:, -max(1, bars // 2) :], rows[:3, :, :4]
    out = np.zeros((len(i), 12))
    out[:, :4] = rows.sum(axis=2).T / bars
    out[:, 4:7] = opening.sum(axis=2).T / opening.shape[2]
    out[:, 7] = echoes.voiced[i, j].min(axis=1)
    out[:, 8] = half.sum(axis=1) / half.shape[1]
    out[:, 10] = m[:, -1]
    out[:, 11] = (m > 0.6).sum(axis=1) / bars
    return out
