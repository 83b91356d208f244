"""What is printed at each bar line that may part two sections: sentence ends, double bars, new keys, metres, tempos."""

from __future__ import annotations

from dataclasses import dataclass

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
    for b in range(1, n):
        before, here = table.measures[b - 1], table.measures[b]
        double = before.barline in ("double", "final") or before.repeat_end > 0 or here.repeat_start
        mark[b] = double
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
    return int(np.clip(np.searchsorted(start, at + SMALL) - 1, 0, len(start) - 2))


def _sentences(line: Line, start: Floats) -> tuple[Floats, Floats]:
    """Punctuation of the last syllable before the first note that belongs after each bar line.

    A pick-up belongs after the bar line: of the gaps within half a bar before it, the one with punctuation counts.
    """
    n = len(start) - 1
    stop, runs_on = np.zeros(n), np.zeros(n)
    ends = [r.syllable[-1:] for r in line.rows]
    grade = np.array([1.0 if e and e in ".!?" else 0.5 if e and e in ";:" else 0.25 if e == "," else 0.0 for e in ends])
    if not grade.any():
        return stop, runs_on
    spoken = np.flatnonzero([bool(r.syllable) for r in line.rows])
    onsets = line.onset[spoken]
    for b in range(1, n):
        half = (start[b + 1] - start[b]) / 2
        last = int(np.searchsorted(onsets, start[b] - SMALL)) - 1
        if last < 0:
            continue
        first = last
        while first > 0 and onsets[first] >= start[b] - half - SMALL:
            first -= 1
        best = float(grade[spoken[first : last + 1]].max())
        stop[b] = best if best >= 0.5 else 0.0
        runs_on[b] = best == 0.0
    return stop, runs_on
