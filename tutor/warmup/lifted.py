"""The high note's own phrase, lifted from the song and moved by semitones, with the piano as written."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tutor.analysis.columns import SMALL
from tutor.music.phrase import Phrase, Tone
from tutor.warmup.facts import SongFacts, move_of
from tutor.warmup.piano import LOUDNESS, chord, clicks

BREATH_S = 2.5
"""Least silence of the singer after each time, seconds (a choice of ours)."""
_UNDER = 0.38
"""Velocity of the song's own accompaniment."""


@dataclass(frozen=True, slots=True)
class Cut:
    """How the fragment is sung at one stage of the approach."""

    start: float
    """First note, quarters as written."""
    end: float
    """End of the last note, quarters as written."""
    sound: str
    """One sound for every note; empty for the song's words."""
    dynamic: str
    """A key of `piano.LOUDNESS`."""
    held_most_s: float
    """Longest that any note is held, seconds."""


def lifted(facts: SongFacts, cut: Cut, below: int, *, leads_up: bool) -> Phrase:
    """The fragment once.

    Args:
        facts: the song.
        cut: from where, on what, how loud and how long.
        below: semitones under the key in which the song is sung.
        leads_up: True where the next time is a semitone higher: the piano leads there.
    """
    shift = facts.transposed - below
    move = move_of(shift, facts.fifths) if shift else (0, 0)
    bar = facts.table.bar_at(cut.start)
    beat = bar.beat_quarters
    lead = _lead(facts, cut.start)
    sung, over = _sung(facts, cut, move, lead)
    end = sung[-1].end_quarters
    tones = clicks(math.ceil(lead / beat - SMALL), beat) + _first_note(sung[0], lead, beat)
    tones += sung + _accompaniment(facts, cut.start, over, move, lead)
    first_line = lead - _inside(facts, cut.start)
    bars = -(-(end + max(BREATH_S * facts.bpm / 60, beat) - first_line) // bar.bar_quarters)
    stop = first_line + bar.bar_quarters * bars
    tones += _way_on(facts, shift, end, stop, leads_up)
    kept = sorted(tones, key=lambda t: (t.onset_quarters, t.line, t.midi))
    return Phrase(
        tuple(kept),
        bpm=facts.bpm,
        numerator=bar.numerator,
        denominator=bar.denominator,
        fifths=facts.fifths + move[0],
        first_bar=_count_in_bar(facts, cut.start, lead),
    )


def _inside(facts: SongFacts, start: float) -> float:
    """Quarters from the bar line (as if the bar were whole) to ``start``."""
    index = facts.table.bar_index(start)
    return start - facts.table.measures[index].start_quarters + facts.table.lacking(index)


def _count_in_bar(facts: SongFacts, start: float, lead: float) -> str:
    """Printed number of the bar in which the count-in begins; empty before the first bar of the song."""
    index = facts.table.printed_start(facts.table.bar_index(start))
    for _ in range(round((lead - _inside(facts, start)) / facts.table.bar_at(start).bar_quarters)):
        if index == 0:
            return ""
        index = facts.table.printed_start(index - 1)
    return facts.table.measures[index].number


def _lead(facts: SongFacts, start: float) -> float:
    """Quarters of count-in: a whole bar, and the part of the bar that goes before the first note."""
    bar = facts.table.bar_at(start)
    beat = bar.beat_quarters
    whole = bar.bar_quarters + _inside(facts, start)
    while whole - bar.bar_quarters >= 4 * beat - SMALL:
        whole -= bar.bar_quarters
    return whole


def _sung(facts: SongFacts, cut: Cut, move: tuple[int, int], lead: float) -> tuple[list[Tone], float]:
    """The sung notes, and where the piano stops (quarters as written)."""
    most = cut.held_most_s * facts.bpm / 60
    tones: list[Tone] = []
    over = cut.start
    for k, i in enumerate(facts.line.inside(cut.start, cut.end)):
        row = facts.line.rows[i]
        held = min(float(facts.line.held[i]), most)
        at = lead + row.onset_quarters - cut.start
        text = row.printed_syllable if not cut.sound else (cut.sound if k == 0 else "")
        mark = "target" if row is facts.peak else ""
        tones.append(Tone(round(at, 6), held, row.pitch.moved(*move), "voice", LOUDNESS[cut.dynamic], text, mark))
        over = row.onset_quarters + held
    return tones, over


def _first_note(tone: Tone, lead: float, beat: float) -> list[Tone]:
    """The piano gives the first note through the count-in."""
    return [Tone(0.0, max(lead - beat, beat), tone.pitch, "upper", 0.42)]


def _accompaniment(facts: SongFacts, start: float, over: float, move: tuple[int, int], lead: float) -> list[Tone]:
    """The song's own accompaniment under the fragment, cut at both ends."""
    voice = facts.table.voice_part
    found: dict[tuple[float, int], Tone] = {}
    for row in facts.table.notes:
        if row.part == voice or row.grace or row.onset_quarters >= over - SMALL or row.end_quarters <= start + SMALL:
            continue
        at, end = max(row.onset_quarters, start), min(row.end_quarters, over)
        pitch = row.pitch.moved(*move)
        line = "upper" if row.midi >= 60 else "lower"
        tone = Tone(round(lead + at - start, 6), end - at, pitch, "upper" if line == "upper" else "lower", _UNDER)
        found[(tone.onset_quarters, pitch.midi)] = tone
    return list(found.values())


def _way_on(facts: SongFacts, shift: int, at: float, stop: float, leads_up: bool) -> list[Tone]:
    """The breath: to the dominant of the next key, or the tonic where the phrase comes to rest."""
    tonic = facts.tonic.chroma + shift
    fifths = facts.fifths + move_of(shift + leads_up, facts.fifths)[0]
    if leads_up:
        half = (stop - at) / 2
        return chord(tonic + 1 + 7, (0, 4, 7, 10), stop - half, half, fifths, loud=0.36)
    third = 3 if facts.minor else 4
    return chord(tonic, (0, third, 7), at, stop - at, fifths, loud=0.3)


def tonic_midi(facts: SongFacts, below: int) -> int:
    """MIDI number of the song's tonic under the first note, that many semitones below pitch."""
    first = facts.target - below
    return first - (first - (facts.tonic.chroma + facts.transposed - below)) % 12
