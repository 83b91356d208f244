"""Cutting music out of a song: real bars, with their metre, signature, words and numbers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tutor.analysis.findings import ChordSpan
from tutor.music.phrase import Line, Phrase, Tone
from tutor.music.table import MeasureRow, NoteRow, NoteTable
from tutor.practice.drill import Excerpt, Song

SURE = 0.9
"""Least confidence of a claim that a drill asks about."""
DEFAULT_BPM = 96.0
"""Tempo where the score gives none."""
_SPLIT = 60
"""An accompaniment on one staff is divided at middle C."""
_LENGTHS = {
    0.25: "a sixteenth note", 0.333: "a third of a quarter note", 0.375: "a dotted sixteenth note",
    0.5: "an eighth note", 0.667: "two thirds of a quarter note", 0.75: "a dotted eighth note", 1.0: "a quarter note",
    1.5: "a dotted quarter note", 2.0: "a half note", 3.0: "a dotted half note", 4.0: "a whole note",
}  # fmt: skip
_PARTS = {
    0.0: "", 1 / 4: " and a quarter", 1 / 3: " and a third", 1 / 2: " and a half", 2 / 3: " and two thirds",
    3 / 4: " and three quarters", 1.0: "",
}  # fmt: skip
"""Parts of a beat in words."""


def cut(table: NoteTable, start: float, end: float) -> Phrase:
    """The music between two offsets as a phrase.

    Notes that reach over an edge are clipped there; words stay with notes that begin inside, with a hyphen where a
    word goes on. Grace notes are left out. The sung part becomes the voice; of two or more accompanying staves the
    last is the lower, and a single one is divided at middle C.

    Args:
        table: the score.
        start: first offset, in quarters as written.
        end: offset behind the last, in quarters.
    """
    bar = table.bar_at(start)
    lines = _lines(table)
    tones = []
    for note in table.notes:
        if note.onset_quarters >= end:
            break
        if note.end_quarters <= start or note.grace:
            continue
        onset = max(note.onset_quarters, start)
        length = min(note.end_quarters, end) - onset
        inside = note.onset_quarters >= start - 1e-6
        line = _line(note, lines[note.part])
        tones.append(
            Tone(round(onset - start, 6), round(length, 6), note.pitch, line, 0.8 if line == "voice" else 0.6,
                 note.printed_syllable if inside and line == "voice" else "")
        )  # fmt: skip
    left = bar.end_quarters - start
    return Phrase(
        tuple(tones), bpm=tempo_at(table, start), numerator=bar.numerator, denominator=bar.denominator,
        fifths=bar.fifths, first_bar=bar.number,
        pickup_quarters=round(left, 6) if 1e-6 < left < bar.bar_quarters - 1e-6 else 0.0,
    )  # fmt: skip


def tempo_at(table: NoteTable, at: float) -> float:
    """Quarters a minute at an offset; `DEFAULT_BPM` where the score gives none."""
    marks = [t.bpm for t in table.tempos if t.onset_quarters <= at + 1e-6]
    return marks[-1] if marks else table.tempos[0].bpm if table.tempos else DEFAULT_BPM


def whole_bars(table: NoteTable, start: float, end: float) -> tuple[float, float]:
    """The bars that hold a stretch: offsets of the first bar line and the last."""
    return table.bar_at(start).start_quarters, table.bar_at(max(start, end - 1e-3)).end_quarters


def bars_between(table: NoteTable, start: float, end: float) -> tuple[MeasureRow, ...]:
    """The bars that begin within a stretch or hold its start."""
    return tuple(m for m in table.measures if m.end_quarters > start + 1e-6 and m.start_quarters < end - 1e-6)


def bar_words(table: NoteTable, start: float, end: float) -> str:
    """'bar 9' or 'bars 9–12'."""
    first, last = table.bar_at(start).number, table.bar_at(max(start, end - 1e-3)).number
    return f"bar {first}" if first == last else f"bars {first}–{last}"


def beat_words(beat: float) -> str:
    """'beat 2', 'beat 4 and a half', 'beat 2 and a third'; the nearest of these."""
    whole = int(beat + 1e-6)
    part = min(_PARTS, key=lambda p: abs(p - (beat - whole)))
    return f"beat {whole + int(part)}{_PARTS[part]}"


def length_words(quarters: float) -> str:
    """'a quarter note', 'a dotted half note'; other lengths as '5 eighth notes' or '0.2 quarter notes'."""
    known = _LENGTHS.get(round(quarters, 3))
    if known is not None:
        return known
    for each, name in ((1, "quarter"), (2, "eighth"), (4, "sixteenth")):
        if quarters >= 1 and abs(quarters * each - round(quarters * each)) < 1e-3:
            return f"{round(quarters * each)} {name} notes"
    return f"{round(quarters, 2):g} quarter notes"


def and_list(words: Sequence[str]) -> str:
    """'a, b and c'."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def source_words(song: Song, start: float, end: float) -> str:
    """'Bars 9–12 of “Title”'."""
    words = bar_words(song.table, start, end)
    return f"{words[0].upper()}{words[1:]} of “{song.title}”"


def excerpt(song: Song, start: float, end: float, caption: str = "") -> Excerpt:
    """A stretch of a song with its bars as caption."""
    return Excerpt(caption or source_words(song, start, end), cut(song.table, start, end))


def sure_chords(song: Song, least: float = SURE) -> tuple[ChordSpan, ...]:
    """The chords that the reading is sure of."""
    return tuple(c for c in song.reading.chords if c.confidence >= least)


def sung_notes(table: NoteTable, start: float, end: float) -> tuple[NoteRow, ...]:
    """The sung notes that begin within a stretch, without graces."""
    part = table.voice_part
    return tuple(
        n for n in table.notes
        if n.part == part and not n.grace and start - 1e-6 <= n.onset_quarters < end - 1e-6
    )  # fmt: skip


def lowest_sounding(notes: Iterable[NoteRow]) -> NoteRow | None:
    """The lowest of some notes."""
    return min(notes, key=lambda n: n.midi, default=None)


def _lines(table: NoteTable) -> list[Line | None]:
    """For each part its line; None where one staff is to be divided."""
    others = [i for i, p in enumerate(table.parts) if p.role != "voice"]
    out: list[Line | None] = []
    for i, part in enumerate(table.parts):
        if part.role == "voice":
            out.append("voice")
        elif len(others) == 1:
            out.append(None)
        else:
            out.append("lower" if i == others[-1] else "upper")
    return out


def _line(note: NoteRow, line: Line | None) -> Line:
    return line or ("lower" if note.midi < _SPLIT else "upper")
