"""Sung notes that clash with what sounds below, and sung notes at rest over harmony that is not.

What counts, against each accompaniment note that sounds together with the sung note and belongs to the chord:
    a minor second or its compounds (1, 13, 25 … semitones; harsh, also where the sung note belongs to the chord, as
    the root sung against the seventh of a major-seventh chord);
    a major seventh or its compounds (11, 23 … semitones);
    a tritone or its compounds, only where the sung note is foreign to the chord (inside a seventh chord it is the
    chord's own sound);
    a suspension: the sung note was a member of the chord before, is held or repeated over the change, is foreign now
    and falls by step: 9-8, 7-6 or 4-3 above the bass.
The clash test follows Open Music Theory's embellishing tones and, for the harshness of the semitone above a chord
tone, M. Levine, The Jazz Theory Book (1995; recalled). Very short notes (under half a beat) rub only on a beat.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.columns import SMALL, Below, Line, Spans, degree, members
from tutor.analysis.findings import ChordSpan, KeySpan, PhraseSpan, Resolution, RestOverUnresolved, Rub
from tutor.music.pitch import FIFTHS, PitchClass
from tutor.music.quality import Quality
from tutor.music.table import NoteRow, NoteTable

_RUBBING = (1, 6, 11)
"""Semitones that can rub, without whole octaves."""
_RUBS: NDArray[np.bool_] = np.array([apart in _RUBBING for apart in range(12)])
"""Whether each distance does."""
_HARSH = {"m2": 0, "m9": 1, "M7": 2, "M14": 3, "TT": 4}
_FOLLOWED = 3
"""Most sung notes by which a rub is followed to its resolution (a choice of ours)."""
_RESTING = {"1", "3", "b3", "5"}


@dataclass(frozen=True, slots=True, eq=False)
class _Song:
    """What stays the same while the rubs of a song are looked for."""

    line: Line
    under: Below
    chords: Sequence[ChordSpan]
    spans: Spans
    inside: Sequence[frozenset[int]]
    """The members of each chord by their places on the line of fifths."""


@dataclass(frozen=True, slots=True)
class _Clash:
    against: str
    interval: str
    harsh: int
    """Lower is harsher."""


def find_rubs(table: NoteTable, line: Line, under: Below, chords: Sequence[ChordSpan]) -> tuple[Rub, ...]:
    """Every rub of the sung line, at most one for a note and a chord: the harshest."""
    song = _Song(line, under, chords, Spans(chords), [_tones(c.root, c.quality) for c in chords])
    found: list[Rub] = []
    near = _meeting(line, under)
    starts, beats = [m.start_quarters for m in table.measures], [m.beat_quarters for m in table.measures]
    for i, (row, onset, last) in enumerate(zip(line.rows, line.onsets, line.ends, strict=True)):
        at = song.spans.index(onset)
        while at is not None and at < len(chords) and chords[at].start < last - SMALL:
            start, end = max(onset, chords[at].start), min(last, chords[at].end)
            beat = beats[max(bisect_right(starts, start + SMALL) - 1, 0)]
            if _noticed(table, start, end - start, beat):
                clash = _suspension(song, i, at, start)
                if not clash and near[i]:
                    clash = _harshest(row, under, song.inside[at], start, end)
                if clash:
                    resolution = _resolution(song, i, at, start)
                    found.append(
                        Rub(
                            start=round(start, 6),
                            end=round(end, 6),
                            bar=table.bar_at(start).number,
                            beat=table.beat_at(start),
                            voice=row.pitch.name,
                            chord=chords[at].symbol,
                            against=clash.against,
                            interval=clash.interval,
                            resolves=resolution,
                        )
                    )
            at += 1
    return tuple(found)


def find_hanging(
    table: NoteTable, line: Line, phrases: Sequence[PhraseSpan], chords: Sequence[ChordSpan], keys: Sequence[KeySpan]
) -> tuple[RestOverUnresolved, ...]:
    """Phrase ends on degree 1, 3 or 5 of the key while the chord below is not its tonic triad in root position."""
    spans, key_spans = Spans(chords), Spans(keys)
    found = []
    for phrase in phrases:
        notes = line.inside(phrase.start, phrase.end)
        if not len(notes):
            continue
        i = notes[-1]
        at, key = spans.index(line.ends[i] - 0.01), key_spans.index(line.onsets[i])
        if at is None or key is None:
            continue
        chord, tonic = chords[at], keys[key].tonic
        sung = degree(line.rows[i].pitch.pitch_class.name, tonic)
        settled = chord.root == tonic and chord.inversion == 0 and chord.quality in ("major", "minor", "major-sixth")
        if sung in _RESTING and not settled:
            start = max(chord.start, line.onsets[i])
            found.append(
                RestOverUnresolved(
                    phrase.id, start, *table.place_at(start), line.rows[i].pitch.name, sung,
                    chord.symbol, chord.figure,
                )
            )  # fmt: skip
    return tuple(found)


def _meeting(line: Line, under: Below) -> list[bool]:
    """Whether each sung note meets at any time with something below that is at a distance that can rub."""
    first = line.end.searchsorted(under.onset)
    count = np.maximum(line.onset.searchsorted(under.end) - first, 0)
    below = np.repeat(np.arange(len(count)), count)
    sung = np.arange(len(below)) + np.repeat(first - np.cumsum(count) + count, count)
    apart = (line.midi[sung] - under.midi[below]) % 12
    meets = np.zeros(len(line), dtype=bool)
    meets[sung[_RUBS[apart]]] = True
    return meets.tolist()


@lru_cache(maxsize=1024)
def _tones(root: str, quality: Quality) -> frozenset[int]:
    return frozenset(tone.fifths for tone in members(root, quality))


def _tone(row: NoteRow) -> int:
    """Place of a note on the line of fifths."""
    return FIFTHS[row.step] + 7 * row.alter


def _noticed(table: NoteTable, start: float, length: float, beat: float) -> bool:
    """Whether a clash of some length, in quarters, is long enough for its place."""
    if length >= beat / 2 - SMALL or length < beat / 4 - SMALL:
        return length >= beat / 2 - SMALL
    return abs(table.beat_at(start) % 1.0) < 1e-3


def interval_label(semitones: int) -> str | None:
    """'m2', 'm9', 'M7', 'M14', 'TT' for a distance that can rub; None for any other."""
    size = abs(semitones)
    if size % 12 == 1:
        return "m2" if size == 1 else "m9"
    if size % 12 == 11:
        return "M7" if size == 11 else "M14"
    return "TT" if size % 12 == 6 else None


def _harshest(row: NoteRow, under: Below, inside: frozenset[int], start: float, end: float) -> _Clash | None:
    midi = row.midi
    sounding = under.during(start, end)
    below = zip(sounding.tolist(), under.midi[sounding].tolist(), strict=True)
    rubbing = [(k, midi - other) for k, other in below if (midi - other) % 12 in _RUBBING]
    if not rubbing:
        return None
    foreign = _tone(row) not in inside
    best: tuple[int, int, _Clash] | None = None
    for k, distance in rubbing:
        other, label = under.rows[k], interval_label(distance)
        if label is None or _tone(other) not in inside or (label == "TT" and not foreign):
            continue
        rank = _HARSH[label]
        if best is None or (rank, abs(distance)) < best[:2]:
            best = (rank, abs(distance), _Clash(other.pitch.pitch_class.name, label, rank))
    return best[2] if best else None


def _suspension(song: _Song, i: int, at: int, start: float) -> _Clash | None:
    """A member of the chord before, held or repeated, foreign now, falling by step into the chord.

    Its figure counts from the chord's bass, which must be the lowest note that sounds under it.
    """
    line, under, chord, inside = song.line, song.under, song.chords[at], song.inside
    if at == 0 or abs(start - chord.start) > SMALL:
        return None
    row = line.rows[i]
    if _tone(row) in inside[at] or _tone(row) not in inside[at - 1]:
        return None
    held = line.onsets[i] < start - SMALL
    repeated = i > 0 and line.midis[i - 1] == line.midis[i] and line.ends[i - 1] > start - 1.0
    if not (held or repeated) or i + 1 >= len(line):
        return None
    fall = line.midis[i] - line.midis[i + 1]
    if fall not in (1, 2) or _tone(line.rows[i + 1]) not in inside[at]:
        return None
    bass = PitchClass.parse(chord.bass)
    sounding = under.during(start, min(line.ends[i], chord.end))
    lowest = min(sounding.tolist(), key=lambda k: int(under.midi[k]), default=None)
    if lowest is None or _tone(under.rows[lowest]) != bass.fifths:
        return None
    above = (row.pitch.diatonic - "CDEFGAB".index(bass.step)) % 7 + 1
    figure = {2: "9-8", 7: "7-6", 4: "4-3"}.get(above)
    if figure is None:
        return None
    return _Clash(line.rows[i + 1].pitch.pitch_class.name, figure, 0)


def _resolution(song: _Song, i: int, at: int, start: float) -> Resolution:
    """The voice resolves by moving by step to a member that does not clash; the accompaniment by moving under it.

    The accompaniment is asked first for as long as the sung note lasts, then the voice's next notes, if they follow
    without a rest longer than a quarter: a passing note goes on by step in its direction, and a note sung again over
    another chord, of which it is a member, was resolved by the accompaniment.
    """
    under, chords, inside = song.under, song.chords, song.inside
    row, last = song.line.rows[i], song.line.ends[i]
    later = at + 1
    while later < len(chords) and chords[later].start < last - SMALL:
        begin, end = chords[later].start, min(chords[later].end, last)
        if _tone(row) in inside[later] and not _harshest(row, under, inside[later], begin, end):
            begin = max(begin, _still_clashing(row, under, inside[at], start, begin))
            if begin < last - SMALL:
                return Resolution("accompaniment", round(begin, 6))
        later += 1
    moved = _accompaniment_moves(row, under, inside[at], start, min(chords[at].end, last))
    if moved is not None:
        return Resolution("accompaniment", round(moved, 6))
    return _by_next_notes(song, i) or Resolution("none", None)


def _by_next_notes(song: _Song, i: int) -> Resolution | None:
    """How the next sung notes resolve a rub: by step, or sung again over what has changed below."""
    line, way = song.line, 0
    for k in range(i + 1, min(i + 1 + _FOLLOWED, len(line))):
        step, at = line.midis[k] - line.midis[k - 1], round(line.onsets[k], 6)
        if line.onsets[k] - line.ends[k - 1] > 1.0 + SMALL or abs(step) > 2 or step * way < 0:
            return None
        now = song.spans.index(at)
        if now is None:
            return None
        way = way or step
        if _tone(line.rows[k]) in song.inside[now]:
            end = min(line.ends[k], song.chords[now].end)
            if way or not _harshest(line.rows[k], song.under, song.inside[now], at, end):
                return Resolution("voice" if way else "accompaniment", at)
    return None


def _still_clashing(row: NoteRow, under: Below, inside: frozenset[int], start: float, until: float) -> float:
    """When the last note of a clash that began before ``until`` has gone, for it may outlast its chord."""
    held = (k for k in under.during(start, until) if _tone(under.rows[k]) in inside)
    ends = (float(under.end[k]) for k in held if (row.midi - under.midi[k]) % 12 in (1, 11))
    return max(ends, default=start)


def _accompaniment_moves(row: NoteRow, under: Below, inside: frozenset[int], start: float, end: float) -> float | None:
    """When the last clashing accompaniment note has gone while the sung note still sounds, or None."""
    last = start
    for k in under.during(start, end):
        other = under.rows[k]
        if _tone(other) in inside and interval_label(row.midi - other.midi):
            last = max(last, float(under.end[k]))
    if last <= start + SMALL or last >= end - SMALL or not len(under.during(last, end)):
        return None
    return last if _tone(row) in inside else None
