"""A lesson's example as a score, so that the engine can read it."""

from __future__ import annotations

import math

from tutor.music.phrase import Phrase
from tutor.music.table import MeasureRow, NoteRow, NoteTable, PartRow, TempoRow

LINES = ("voice", "upper", "lower")


def table_of(phrase: Phrase) -> NoteTable:
    """The phrase as a NoteTable; without a voice its right hand's top notes are sung."""
    bar = phrase.numerator * 4.0 / phrase.denominator
    count = max(1, math.ceil(phrase.length_quarters / bar - 1e-9))
    measures = tuple(
        MeasureRow(str(i + 1), i * bar, bar, phrase.numerator, phrase.denominator, phrase.fifths) for i in range(count)
    )
    tones = [(LINES.index(t.line), t) for t in phrase.tones]
    if not phrase.only("voice").tones:
        tops: dict[float, int] = {}
        for _, tone in tones:
            if tone.line == "upper":
                tops[tone.onset_quarters] = max(tops.get(tone.onset_quarters, 0), tone.midi)
        tones += [(0, t) for _, t in tones if t.line == "upper" and tops[t.onset_quarters] == t.midi]
    rows = [
        NoteRow(
            onset_quarters=t.onset_quarters,
            duration_quarters=t.duration_quarters,
            step=t.pitch.step,
            alter=t.pitch.alter,
            octave=t.pitch.octave,
            part=part,
            measure=min(int(t.onset_quarters // bar), count - 1),
            syllable="la" if part == 0 else "",
            syllabic="single" if part == 0 else "",
        )
        for part, t in tones
    ]
    rows.sort(key=lambda n: (n.onset_quarters, n.midi, n.part))
    return NoteTable(
        title="",
        composer="",
        format="musicxml",
        sha256="",
        parts=(
            PartRow("P1", "Voice", "voice"),
            PartRow("P2", "Piano", "accompaniment"),
            PartRow("P3", "Piano", "accompaniment"),
        ),
        measures=measures,
        notes=tuple(rows),
        tempos=(TempoRow(0.0, phrase.bpm),),
    )
