"""What is printed at each bar line that may part two sections: sentence ends, double bars, new keys, metres, tempos."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tutor.analysis.columns import SMALL, Floats, Line
from tutor.music.table import NoteTable


@dataclass(frozen=True, slots=True, eq=False)
class Signs:
    """One value for each bar line, shape (n,), 0 to 1."""

    stop: Floats
    """The words before it end a sentence (1) or a clause (0.5)."""
    open: Floats
    """The words run on across it without punctuation."""
    mark: Floats
    """A double bar, repeat sign or rehearsal mark stands here."""
    change: Floats
    """A new key signature or metre."""
    tempo: Floats
    """A new tempo."""
    texted: bool
    """The song has words with punctuation."""


def printed_signs(table: NoteTable, line: Line, start: Floats) -> Signs:
    """Read the signs; ``start`` holds the n bar lines and the end."""
    n = len(start) - 1
    stop, runs_on = _sentences(line, start)
    mark, change, tempo = np.zeros(n), np.zeros(n), np.zeros(n)
    for b, (before, here) in enumerate(pairwise(table.measures), 1):
        mark[b] = before.barline in ("double", "final") or before.repeat_end > 0 or here.repeat_start
        change[b] = (before.fifths, before.numerator, before.denominator) != (
            here.fifths,
            here.numerator,
            here.denominator,
        )
    for text in table.texts:
        if text.kind == "rehearsal":
            mark[_bar(start, text.onset_quarters)] = 1.0
    for sign in table.tempos:
        tempo[_bar(start, sign.onset_quarters)] = 1.0
    tempo[0] = mark[0] = 0.0
    return Signs(stop, runs_on, mark, change, tempo, bool(stop.any()))


def _bar(start: Floats, at: float) -> int:
    return min(max(int(start.searchsorted(at + SMALL)) - 1, 0), len(start) - 2)


def _sentences(line: Line, start: Floats) -> tuple[Floats, Floats]:
    """Punctuation of the last syllable before the first note that belongs after each bar line.

    A pick-up belongs after the bar line: of the gaps within half a bar before it, the one with punctuation counts.
    """
    n = len(start) - 1
    stop, runs_on = np.zeros(n), np.zeros(n)
    spoken = [(at, _grade(row.syllable)) for at, row in zip(line.onsets, line.rows, strict=True) if row.syllable]
    if not any(grade for _, grade in spoken):
        return stop, runs_on
    onsets, grades = [at for at, _ in spoken], [grade for _, grade in spoken]
    for b, (here, after) in enumerate(pairwise(start[1:].tolist()), 1):
        last = bisect_left(onsets, here - SMALL) - 1
        if last < 0:
            continue
        first = min(max(bisect_left(onsets, here - (after - here) / 2 - SMALL) - 1, 0), last)
        best = max(grades[first : last + 1])
        stop[b] = best if best >= 0.5 else 0.0
        runs_on[b] = best == 0.0
    return stop, runs_on


def _grade(syllable: str) -> float:
    """How clearly a syllable closes: 1 a sentence, 0.5 a clause, 0.25 before a comma."""
    end = syllable[-1]
    return 1.0 if end in ".!?" else 0.5 if end in ";:" else 0.25 if end == "," else 0.0
