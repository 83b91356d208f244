"""Small tables made in the test: chords written as pitches, one to a bar unless said otherwise."""

from __future__ import annotations

from tutor.music.pitch import Pitch
from tutor.music.table import MeasureRow, NoteRow, NoteTable, PartRow, TextRow

VOICE, PIANO = 0, 1


def table_of(
    bars: list[str], *, fifths: int = 0, symbols: dict[int, str] | None = None, melody: dict[int, str] | None = None
) -> NoteTable:
    """A song of four-quarter bars.

    Args:
        bars: For each bar one or more chords, 'C3 E4 G4 | G2 F4 B4', of equal length, each written from the bass up.
        fifths: Key signature.
        symbols: Printed chord symbols by the index of their bar.
        melody: Sung notes by the index of their bar, 'B4:1 Bb4:1 A4:2' in quarters; elsewhere the voice doubles the
            top note of each chord.
    """
    notes: list[NoteRow] = []
    for index, bar in enumerate(bars):
        start, chords = 4.0 * index, [c.split() for c in bar.split("|")]
        length = 4.0 / len(chords)
        for i, chord in enumerate(chords):
            notes += [_note(start + i * length, length, name, PIANO, index) for name in chord]
            if melody is None or index not in melody:
                notes.append(_note(start + i * length, length, chord[-1], VOICE, index))
        at = start
        for word in (melody or {}).get(index, "").split():
            name, quarters = word.split(":")
            notes.append(_note(at, float(quarters), name, VOICE, index))
            at += float(quarters)
    notes.sort(key=lambda n: (n.onset_quarters, n.midi, n.part))
    return NoteTable(
        title="Invented",
        composer="",
        format="musicxml",
        sha256="0" * 64,
        parts=(PartRow("P1", "Voice", "voice"), PartRow("P2", "Piano", "accompaniment")),
        measures=tuple(MeasureRow(str(i + 1), 4.0 * i, 4.0, 4, 4, fifths) for i in range(len(bars))),
        notes=tuple(notes),
        texts=tuple(TextRow(4.0 * i, "chord", text, 1) for i, text in sorted((symbols or {}).items())),
    )


def _note(onset: float, length: float, name: str, part: int, measure: int) -> NoteRow:
    pitch = Pitch.parse(name)
    syllable = "la" if part == VOICE else ""
    return NoteRow(onset, length, pitch.step, pitch.alter, pitch.octave, part, measure, syllable=syllable)
