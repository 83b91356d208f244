"""Phrases of the sung line, and whether each comes to rest.

Every gap between two sung notes is weighed by what a listener and a reader of the words can point to: a rest, a long
note before it, punctuation and line ends of the lyric, slurs, breath marks and fermatas, a cadence below, and the
place in the metre; without words also the two-bar groups and the rhythm of the beginning. A dynamic programme then
picks the cuts that together have the best sum of weights, with a preference for phrases of two to four bars. The
weights of rests, long notes, metre and rhythm follow a search on the printed lines of folk songs
(`python -m tests.bench.phrases`), held back towards longer phrases; those of words, slurs and marks are set by hand,
since no open set of songs with words has its phrases marked.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tutor.analysis.columns import SMALL, Floats, Line, Spans, beats_at, degree, members
from tutor.analysis.findings import ChordSpan, KeySpan, PhraseEnd, PhraseSpan
from tutor.music.table import NoteTable

FEATURES = (
    "bias",
    "rest",
    "rest_bars",
    "long_note",
    "full_stop",
    "comma",
    "line_start",
    "inside_word",
    "slur_over",
    "breath",
    "fermata",
    "cadence",
    "tonic_rest",
    "bar_line",
    "interval",
    "punctuated_line",
    "same_place",
    "two_bars",
    "same_rhythm",
)
"""What is measured at the gap after each sung note (columns of `gap_features`).

`same_place`: the next note stands at the place in the bar where the song begins, so phrases with one kind of pick-up.
`two_bars`: it stands a whole number of two-bar groups after the first note; `same_rhythm`: the rhythm with which the
song begins begins again. These two only where there are neither words nor many rests: those say better where a line
ends.
"""
_CLOSING = frozenset(("I", "i", "V", "V7"))
_STOPS, _COMMAS = frozenset(".!?;:…"), frozenset(",–—")
_BREATH = 4
"""Bars to a rest from which on a line is held to breathe where it rests."""
_OPENING = 5
"""Notes whose rhythm is compared with that of the song's beginning; four at least."""


@dataclass(frozen=True, slots=True)
class PhraseWeights:
    """Weights of the gap features and of a phrase's length in bars."""

    gap: tuple[float, ...]
    length: tuple[float, ...]
    """Log preference for a phrase of up to 1, 2, 3, 4, 6, 8 and more bars."""


FITTED = PhraseWeights(
    gap=(-2.4, 1.9, 0.8, 1.6, 2.2, 1.0, 1.6, -5.0, -1.5, 6.0, 1.0, 0.7, 0.4, -0.5, 0.0, 1.2, 1.5, 1.5, 0.7),
    length=(-4.5, 0.1, 0.0, 0.6, -0.3, -1.0, -3.0),
)
LONGER = PhraseWeights((*FITTED.gap[:17], 0.0, 0.0), FITTED.length)
"""Without two-bar groups and recurring rhythm: longer phrases, by which two tunes are better compared."""
_MOST = 96
"""Most notes of a phrase."""
_EDGES = (1.25, 2.5, 3.5, 4.75, 6.5, 9.0)


def find_phrases(
    table: NoteTable,
    line: Line,
    chords: Sequence[ChordSpan] = (),
    keys: Sequence[KeySpan] = (),
    weights: PhraseWeights = FITTED,
) -> tuple[PhraseSpan, ...]:
    """Cut the sung line into phrases."""
    if not len(line):
        return ()
    score = gap_features(table, line, chords, keys) @ np.array(weights.gap)
    cuts = _choose(table, line, score, weights)
    spans = []
    for number, (first, last) in enumerate(zip(cuts, [*(c - 1 for c in cuts[1:]), len(line) - 1], strict=True)):
        rows = line.rows[first : last + 1]
        spans.append(
            PhraseSpan(
                id=number,
                start=rows[0].onset_quarters,
                end=round(line.ends[last], 6),
                bars=(table.measures[rows[0].measure].number, table.bar_at(line.ends[last] - 0.001).number),
                lyric=lyric(rows),
            )
        )
    return tuple(spans)


def lyric(rows: Sequence[object]) -> str:
    """The words sung on some rows, syllables joined."""
    text = ""
    for row in rows:
        syllable = getattr(row, "syllable", "")
        if not syllable:
            continue
        joined = getattr(row, "syllabic", "") in ("middle", "end")
        text += syllable if joined or not text else " " + syllable
    return text


def gap_features(
    table: NoteTable, line: Line, chords: Sequence[ChordSpan] = (), keys: Sequence[KeySpan] = ()
) -> Floats:
    """Measure the gap after each sung note but the last; shape (n - 1, len(FEATURES))."""
    n = len(line)
    out = np.zeros((max(n - 1, 0), len(FEATURES)))
    if n < 2:
        return out
    rest = line.onset[1:] - line.end[:-1]
    spacing = np.diff(line.onset)
    bars = _bars(table, line)
    usual = _usual(spacing)
    out[:, 0] = 1.0
    out[:, 1] = rest > SMALL
    out[:, 2] = np.minimum(rest / bars[:-1], 2.0)
    out[:, 3] = np.clip(np.log2(spacing / np.maximum(usual, 0.05)), 0.0, 3.0)
    out[:, 14] = np.minimum(np.abs(np.diff(line.midi)), 12) / 12
    starts = [m.start_quarters for m in table.measures]
    out[:, 13] = [abs(at - starts[r.measure]) < SMALL for at, r in zip(line.onsets[1:], line.rows[1:], strict=True)]
    places = np.round(beats_at(table, line.onset), 3)
    out[:, 16] = places[1:] == places[0]
    rests = int((rest > SMALL).sum())
    breathes = rests > 0 and (rests + 1) * _BREATH >= line.end[-1] / bars[0]
    if not breathes and not any(r.syllable for r in line.rows):
        out[:, 17], out[:, 18] = _two_bars(line, bars), _same_rhythm(line)
    _words_and_slurs(line, (rest < SMALL).tolist(), out)
    _cadences(line, chords, keys, out)
    return out


def _bars(table: NoteTable, line: Line) -> Floats:
    """Length of the bar in which each note starts, in quarters, shape (n,)."""
    lengths = [m.bar_quarters for m in table.measures]
    return np.array([lengths[r.measure] for r in line.rows])


def _words_and_slurs(line: Line, joined: Sequence[bool], out: Floats) -> None:
    """Fill in the columns of words, slurs and marks; ``joined`` says after which notes there is no rest."""
    capitals = _capitals_mark_lines(line)
    slurred = 0
    for i, (row, after, together) in enumerate(zip(line.rows, line.rows[1:], joined, strict=False)):
        if row.slur_start or row.slur_end:
            slurred = max(slurred + row.slur_start - row.slur_end, 0)
        end = row.syllable[-1:]
        stop, comma = end in _STOPS, end in _COMMAS
        if stop or comma:
            out[i, 4], out[i, 5] = stop, comma
        if after.syllabic in ("single", "begin") and after.syllable[:1].isupper():
            out[i, 6], out[i, 15] = capitals, stop or comma
        melisma = together and not after.syllable and (row.syllable or row.slur_start or slurred)
        if melisma or row.syllabic in ("begin", "middle") or after.syllabic in ("middle", "end"):
            out[i, 7] = 1.0
        if slurred or row.breath or row.fermata:
            out[i, 8:11] = slurred > 0, row.breath, row.fermata


def _usual(spacing: Floats) -> Floats:
    """Median of the eight values before each, itself and the eight after; fewer at the edges."""
    values = spacing.tolist()
    near, out = sorted(values[:8]), []
    for i in range(len(values)):
        if i + 8 < len(values):
            insort(near, values[i + 8])
        if i > 8:
            del near[bisect_left(near, values[i - 9])]
        half = len(near) // 2
        out.append(near[half] if len(near) % 2 else (near[half - 1] + near[half]) / 2)
    return np.array(out)


def _two_bars(line: Line, bars: Floats) -> Floats:
    """1 where the next note is a whole number of two-bar groups after the first; all 0 where the metre changes."""
    groups = (line.onset[1:] - line.onset[0]) / (2 * bars[0])
    place: Floats = (np.abs(groups - np.round(groups)) < 0.02).astype(np.float64)
    return place * float(np.ptp(bars) < SMALL)


def _same_rhythm(line: Line) -> Floats:
    """1 where the notes after a gap have the rhythm of the song's first notes, unless those are all of one length."""
    spacing = np.round(np.diff(np.append(line.onset, line.end[-1])), 3)
    out = np.zeros(len(line) - 1)
    for i in range(1, len(line) - 3):
        notes = min(_OPENING, len(line) - i)
        out[i - 1] = np.ptp(spacing[:notes]) > SMALL and np.array_equal(spacing[i : i + notes], spacing[:notes])
    return out


def _capitals_mark_lines(line: Line) -> bool:
    """False where over a fifth of the words inside lines have a capital, as the nouns of German do."""
    inside = capitals = 0
    before = ""
    for row in line.rows:
        if row.syllable:
            if row.syllabic in ("single", "begin") and before and before[-1].isalnum():
                inside += 1
                capitals += row.syllable[:1].isupper()
            before = row.syllable
    return capitals <= 0.2 * inside


def _cadences(line: Line, chords: Sequence[ChordSpan], keys: Sequence[KeySpan], out: Floats) -> None:
    """Fill in the two columns that need harmony."""
    if not chords:
        return
    key_spans = Spans(keys)
    starts, inside = np.array([c.start for c in chords]), line.end[:-1] - 0.01
    for i, at in enumerate((starts.searchsorted(inside + SMALL, side="right") - 1).tolist()):
        figure = chords[at].figure
        if at <= 0 or figure not in _CLOSING or inside[i] >= chords[at].end - SMALL:
            continue
        led = chords[at - 1].figure.startswith(("V", "vii")) and "/" not in chords[at - 1].figure
        out[i, 11] = led == (figure in ("I", "i"))
        if figure in ("I", "i"):
            key = key_spans.index(line.onsets[i])
            if key is not None:
                out[i, 12] = degree(line.rows[i].pitch.pitch_class.name, keys[key].tonic) == "1"


def _choose(table: NoteTable, line: Line, score: Floats, weights: PhraseWeights) -> list[int]:
    """Indices of the first note of each phrase, by dynamic programming over the gaps."""
    n = len(line)
    bar = _bars(table, line)
    edges, prefer = np.array(_EDGES), np.array(weights.length)
    best = np.full(n + 1, -np.inf)
    back = [0] * (n + 1)
    best[0] = 0.0
    starts = np.arange(1 - min(_MOST, n), 1) + np.arange(n)[:, None]  # the last notes that may open the phrase
    held = np.maximum(starts, 0)
    liking = prefer[np.searchsorted(edges, (line.end[:, None] - line.onset[held]) / bar[held])]
    gain = [*score.tolist(), 0.0]
    for stop in range(1, n + 1):
        first = max(0, stop - _MOST)
        total = best[first:stop] + liking[stop - 1, first - stop :]
        k = int(total.argmax())
        best[stop] = total[k] + gain[stop - 1]
        back[stop] = first + k
    cuts = [back[n]]
    while cuts[-1] > 0:
        cuts.append(back[cuts[-1]])
    return cuts[::-1]


def phrase_ends(
    line: Line, phrases: Sequence[PhraseSpan], chords: Sequence[ChordSpan], keys: Sequence[KeySpan]
) -> tuple[PhraseEnd, ...]:
    """How each phrase closes: at rest on root, third or fifth of the chord below, or hanging.

    A phrase with no chord or key below its last note has no entry.
    """
    spans, key_spans = Spans(chords), Spans(keys)
    found = []
    for phrase in phrases:
        inside = line.inside(phrase.start, phrase.end)
        if not len(inside):
            continue
        last = inside[-1]
        at, key = spans.index(line.ends[last] - 0.01), key_spans.index(line.onsets[last])
        if at is None or key is None:
            continue
        name = line.rows[last].pitch.pitch_class.name
        triad = members(chords[at].root, chords[at].quality)[:3]
        rest = any(line.rows[last].pitch.pitch_class == m for m in triad)
        found.append(PhraseEnd(phrase.id, line.rows[last].pitch.name, degree(name, keys[key].tonic), rest))
    return tuple(found)
