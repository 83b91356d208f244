"""Small songs and voices for the tests, built from pitches; all invented."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import strategies as st

from tutor.analysis.columns import sung_line
from tutor.analysis.findings import Bassline, Form, KeySpan, PartInfo, PhraseSpan, Reading, SongInfo
from tutor.analysis.voice import profile
from tutor.music.pitch import Pitch, PitchClass
from tutor.music.table import MeasureRow, NoteRow, NoteTable, PartRow, TempoRow
from tutor.music.voice import VOICES, SingerProfile

Sung = tuple[int, float, str]
"""MIDI number (0 for a rest), quarters, syllable."""


def table_of(sung: Sequence[Sung], *, bpm: float = 90.0, fifths: int = 0, title: str = "The Lantern") -> NoteTable:
    """A voice over held chords, in 4/4."""
    notes: list[NoteRow] = []
    at = 0.0
    for midi, quarters, text in sung:
        if midi:
            p = Pitch.from_midi(midi, fifths=fifths)
            notes.append(NoteRow(at, quarters, p.step, p.alter, p.octave, 0, int(at // 4), syllable=text))
        at += quarters
    bars = max(1, int(-(-at // 4)))
    tonic = 48 + (fifths * 7) % 12
    for bar in range(bars):
        for size in (0, 4, 7):
            p = Pitch.from_midi(tonic + size, fifths=fifths)
            notes.append(NoteRow(4.0 * bar, 4.0, p.step, p.alter, p.octave, 1, bar))
    notes.sort(key=lambda n: (n.onset_quarters, n.midi, n.part))
    return NoteTable(
        title=title,
        composer="",
        format="musicxml",
        sha256="0" * 64,
        parts=(PartRow("P1", "Voice", "voice"), PartRow("P2", "Piano", "accompaniment")),
        measures=tuple(MeasureRow(str(i + 1), 4.0 * i, 4.0, 4, 4, fifths) for i in range(bars)),
        notes=tuple(notes),
        tempos=(TempoRow(0.0, bpm),),
    )


def reading_of(table: NoteTable) -> Reading:
    """A reading whose voice is measured by the engine and whose phrases end at rests."""
    line = sung_line(table)
    phrases: list[PhraseSpan] = []
    start = 0
    for i in range(len(line)):
        last = i + 1 == len(line)
        if last or line.onset[i + 1] - line.end[i] > 1e-6:
            bars = tuple(table.measures[line.rows[k].measure].number for k in (start, i))
            phrases.append(
                PhraseSpan(len(phrases), float(line.onset[start]), float(line.end[i]), (bars[0], bars[1]), "")
            )
            start = i + 1
    fifths = table.measures[0].fifths
    return Reading(
        song=SongInfo(
            table.title, "", table.format, table.sha256, len(table.measures), table.length_quarters,
            tuple(PartInfo(p.id, p.name, p.role) for p in table.parts),
        ),
        order=(), keys=(KeySpan(0.0, table.length_quarters, PitchClass(fifths).name, "major", 1.0),), chords=(),
        borrowed=(), phrases=tuple(phrases), ends=(), form=Form("through-composed", ()), returns=(), rubs=(),
        bassline=Bassline(1.0, (), ()), voice=profile(table, line, phrases),
    )  # fmt: skip


LANTERN: tuple[Sung, ...] = (
    (52, 1, "Late"), (55, 1, "in"), (57, 1, "the"), (59, 1, "rain"), (57, 3, "light"), (0, 1, ""),
    (57, 1, "some"), (60, 1, "one"), (62, 1, "is"), (64, 1, "wait"), (62, 3, "ing"), (0, 1, ""),
    (57, 1, "Hold"), (57, 1, "the"), (57, 1, "lan"), (69, 4, "high"), (67, 1, "and"), (64, 1, "burn"), (62, 2, "on"),
    (0, 1, ""), (60, 1, "till"), (59, 1, "the"), (57, 1, "morn"), (57, 4, "ing"),
)  # fmt: skip
"""A tenor song: low start on E3, an octave leap from A3 to A4 that is held."""


@st.composite
def singers(draw: st.DrawFn) -> SingerProfile:
    """Voices from a bare octave to three, any type, sometimes with a note that strained."""
    voice = draw(st.sampled_from(sorted(VOICES)))
    row = VOICES[voice]
    low = row.low + draw(st.integers(-6, 6))
    high = low + draw(st.integers(12, 38))
    first = row.first_transition + draw(st.integers(-3, 3))
    second = row.second_transition + draw(st.integers(-3, 3))
    strained = draw(st.lists(st.integers(high - 4, high + 1), max_size=2))
    return SingerProfile("Robin", voice, low, high, first, second, None, tuple(strained))


@st.composite
def songs(draw: st.DrawFn, low: int = 45, high: int = 79) -> NoteTable:
    """Songs of 4 to 40 notes within a compass of up to two octaves."""
    bottom = draw(st.integers(low, high - 5))
    top = min(high, bottom + draw(st.integers(4, 24)))
    note = st.tuples(
        st.one_of(st.integers(bottom, top), st.just(0)),
        st.sampled_from((0.25, 0.5, 0.5, 1.0, 1.0, 1.5, 2.0, 4.0, 6.0)),
        st.sampled_from(("", "la", "night", "you")),
    )
    sung = draw(st.lists(note, min_size=4, max_size=40).filter(lambda x: any(m for m, _, _ in x)))
    return table_of(sung, bpm=draw(st.sampled_from((48.0, 72.0, 96.0, 132.0, 180.0))), fifths=draw(st.integers(-6, 6)))
