"""What a song asks of the voice: range, tessitura, time at each pitch, dose, leaps and high notes.

Definitions and sources
    Range: lowest to highest written pitch; tessitura: the smaller band where the part mostly lies (C. Schmidt-Jones,
    Understanding Basic Music Theory, chapter 'Range', seen).
    Tessitura as a number: every sung pitch weighted by its duration, in sounding order. The report gives the 10, 50
    and 90 % points; `quartiles` gives the first to third quartile, the band used in studies of song (Quantitative
    Analysis of Tessitura and Density in Schubert's Die schöne Müllerin, data.mendeley.com/datasets/5msxnzhv27/1,
    seen). Points are lower weighted quantiles without interpolation, so a point is always a sung pitch.
    Time dose: seconds of voicing. Cycle dose: oscillations of the folds, the sum of frequency times seconds
    (I. Titze, J. Švec, P. Popolo, JSLHR 46(4), 2003, 919-932; names seen, formulas recalled). A score carries no
    loudness, so no distance dose is given, and no dose is a limit of safety.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from math import inf

from tutor.analysis.climax import LEAP, find_climax, syllable_at
from tutor.analysis.columns import SMALL, Line, unfolded
from tutor.analysis.findings import Dose, HighNote, Leap, PhraseSpan, Tessitura, VoiceProfile
from tutor.music.pitch import Pitch
from tutor.music.table import NoteTable

BREATH_S = 0.3
"""A rest at least this long, in seconds, leaves time to breathe (a choice of ours)."""
HIGH_BAND = 2
"""High notes lie within this many semitones of the song's highest (a choice of ours)."""
_VOWELS = "aeiouyàáâãäåæèéêëìíîïòóôõöøœùúûüýÿāēīōūąęėįųăěůőű"
_GROUP = re.compile(rf"[{_VOWELS}]+", re.IGNORECASE)


class Clock:
    """Seconds at the marked tempo, by written position."""

    def __init__(self, table: NoteTable) -> None:
        marks = [(t.onset_quarters, t.bpm) for t in table.tempos if t.bpm > 0]
        self.assumed = not marks
        """True where the score has no tempo."""
        self.first_bpm = marks[0][1] if marks else assumed_bpm(table)
        """Quarters a minute at the beginning."""
        marks = [(0.0, self.first_bpm), *(m for m in marks if m[0] > SMALL)]
        ends = [*(at for at, _ in marks[1:]), inf]
        self._stretches = [(at, until, bpm) for (at, bpm), until in zip(marks, ends, strict=True)]

    def seconds(self, start: float, end: float) -> float:
        """Length of [start, end) in seconds; offsets in quarters as written."""
        total = 0.0
        for at, until, bpm in self._stretches:
            if at < end and until > start:
                low, high = start if start > at else at, end if end < until else until
                total += (high - low) * 60.0 / bpm
        return total


def assumed_bpm(table: NoteTable) -> float:
    """Quarters a minute taken where a score has no tempo: common practice, a choice of ours.

    A beat of a quarter at 96; a half-note beat (2/2, 3/2) at 66; a dotted beat (6/8, 9/8, 12/8) at 63; other eighth
    or shorter beats (3/8) at 126.
    """
    if not table.measures:
        return 96.0
    first = max(table.measures[:2], key=lambda m: m.duration_quarters)
    beat = first.beat_quarters
    if first.denominator >= 8:
        return beat * (63.0 if beat > 4.0 / first.denominator else 126.0)
    return {1: 66.0, 2: 66.0}.get(first.denominator, 96.0) * beat


def quantile(weights: Mapping[int, float], share: float) -> int:
    """The lowest pitch at which the cumulated weight reaches ``share`` of the whole (no interpolation)."""
    total = sum(weights.values())
    reached = 0.0
    for midi in sorted(weights):
        reached += weights[midi]
        if reached >= share * total - 1e-9:
            return midi
    return max(weights)


def quartiles(profile: VoiceProfile) -> tuple[str, str, str]:
    """First quartile, median and third quartile of a profile's histogram: the band used in studies of song."""
    names = {Pitch.parse(name).midi: name for name in profile.histogram}
    weights = {midi: profile.histogram[name] for midi, name in names.items()}
    low, middle, high = (names[quantile(weights, q)] for q in (0.25, 0.5, 0.75))
    return low, middle, high


def hertz(midi: int) -> float:
    """Frequency in equal temperament at A4 = 440 Hz."""
    return float(440.0 * 2.0 ** ((midi - 69) / 12))


def profile(table: NoteTable, line: Line, phrases: Sequence[PhraseSpan]) -> VoiceProfile:
    """Measure the sung line. ``line`` must have at least one note."""
    clock = Clock(table)
    spelled: dict[int, dict[str, float]] = {}
    quarters: dict[int, float] = {}
    seconds: dict[int, float] = {}
    known: dict[tuple[str, int, int], str] = {}
    names_of = []
    for row in line.rows:
        spelling = (row.step, row.alter, row.octave)
        names_of.append(known.get(spelling) or known.setdefault(spelling, row.pitch.name))
    sung = [(i, start, end, clock.seconds(start, end)) for i, start, end in unfolded(table, line)]
    for i, start, end, lasting in sung:
        midi, name = line.midis[i], names_of[i]
        quarters[midi] = quarters.get(midi, 0.0) + end - start
        seconds[midi] = seconds.get(midi, 0.0) + lasting
        names = spelled.setdefault(midi, {})
        names[name] = names.get(name, 0.0) + end - start
    name_of = {midi: max(sorted(names), key=names.__getitem__) for midi, names in spelled.items()}
    low, high = min(quarters), max(quarters)
    time_s = sum(seconds.values())
    return VoiceProfile(
        low=name_of[low],
        high=name_of[high],
        span_semitones=high - low,
        tessitura=Tessitura(*(name_of[quantile(quarters, q)] for q in (0.1, 0.5, 0.9))),
        histogram={name_of[m]: round(quarters[m], 4) for m in sorted(quarters)},
        seconds={name_of[m]: round(seconds[m], 3) for m in sorted(seconds)},
        tempo_assumed=clock.assumed,
        dose=Dose(time_s=round(time_s, 3), cycles=round(sum(hertz(m) * s for m, s in seconds.items()), 3)),
        longest_phrase_s=round(longest_breath_s(sung, line, phrases, clock), 3),
        climax=find_climax(table, line),
        high_notes=_high_notes(table, line),
        leaps=_leaps(table, line, high),
        notes_per_s=round(len(sung) / time_s, 4) if time_s > 0 else 0.0,
    )


def longest_breath_s(
    sung: Sequence[tuple[int, float, float, float]], line: Line, phrases: Sequence[PhraseSpan], clock: Clock
) -> float:
    """Seconds of the longest stretch between breaths, in sounding order.

    A breath is taken in a rest of at least `BREATH_S`, at a printed breath mark or caesura, and where a phrase ends.

    Args:
        sung: What `unfolded` gives, each with its seconds.
        line: The sung line.
        phrases: Its phrases.
        clock: Seconds by written position.
    """
    lasts = {p.end for p in phrases}
    longest = current = 0.0
    previous: int | None = None
    onsets, ends = line.onsets, line.ends
    for i, start, _, lasting in sung:
        if previous is not None:
            rested = ends[previous]
            gap = clock.seconds(rested, start) if start > rested else 0.0
            closed = line.rows[previous].breath or gap >= BREATH_S or rested in lasts
            current = 0.0 if closed or start < onsets[previous] else current + gap
        current += lasting
        longest = max(longest, current)
        previous = i
    return longest


def vowel(syllable: str) -> str:
    """The written vowel group of a syllable, lower case: 'love' o, 'you' ou, 'queen' ee; empty where there is none.

    Language-blind: the first group of vowel letters, without a y or u that only glides into it.
    """
    for match in _GROUP.finditer(syllable):
        group, start = match[0].lower(), match.start()
        before = syllable[start - 1].lower() if start else ""
        if before == "q" and group[0] == "u" and len(group) > 1:
            group = group[1:]
        if group[0] == "y" and len(group) > 1:
            group = group[1:]
        return group
    return ""


def _high_notes(table: NoteTable, line: Line) -> tuple[HighNote, ...]:
    """Notes within `HIGH_BAND` of the top: all at the top, the others where held for a beat or more."""
    top = max(line.midis)
    found: list[HighNote] = []
    for i, midi in enumerate(line.midis):
        if midi < top - HIGH_BAND:
            continue
        row, held = line.rows[i], line.lengths[i]
        bar = table.measures[row.measure]
        if midi == top or held >= bar.beat_quarters - SMALL:
            said = syllable_at(line, i)
            found.append(HighNote(row.onset_quarters, bar.number, row.pitch.name, round(held, 6), said, vowel(said)))
    return tuple(found)


def _leaps(table: NoteTable, line: Line, top: int) -> tuple[Leap, ...]:
    """Upward leaps, within a breath, into a note within `HIGH_BAND` + 1 semitones of the top."""
    found: list[Leap] = []
    midi = line.midis
    for i in range(1, len(line)):
        size = midi[i] - midi[i - 1]
        if size < LEAP or midi[i] < top - HIGH_BAND - 1:
            continue
        row, before = line.rows[i], line.rows[i - 1]
        bar = table.measures[row.measure]
        if line.onsets[i] - line.ends[i - 1] < bar.beat_quarters - SMALL and not before.breath:
            found.append(Leap(row.onset_quarters, bar.number, before.pitch.name, row.pitch.name, size))
    return tuple(found)
