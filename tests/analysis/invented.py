"""Invented songs as note tables, written in the lesson shorthand: 'C4:1=hush r:1 D4:2=now,'."""

from __future__ import annotations

from collections.abc import Sequence

from tutor.analysis.columns import members
from tutor.analysis.findings import ChordSpan, KeySpan, Quality
from tutor.music.pitch import Pitch, PitchClass
from tutor.music.table import MeasureRow, NoteRow, NoteTable, OrderRow, PartRow, TempoRow, TextRow


def notes(text: str, part: int, start: float = 0.0) -> list[NoteRow]:
    """Rows of a line; '=word' sets the syllable, a hyphen joins it to the next ('hea-')."""
    rows: list[NoteRow] = []
    at, inside = start, False
    for word in text.split():
        body, _, syllable = word.partition("=")
        name, _, length = body.partition(":")
        quarters = float(length)
        if name != "r":
            for one in name.split("+"):
                pitch = Pitch.parse(one)
                goes_on = syllable.endswith("-")
                kind = {(False, False): "single", (False, True): "begin", (True, True): "middle", (True, False): "end"}
                syllabic = kind[(inside, goes_on)] if syllable else ""
                rows.append(
                    NoteRow(
                        round(at, 6), quarters, pitch.step, pitch.alter, pitch.octave, part, 0,
                        syllable=syllable.rstrip("-"), syllabic=syllabic,
                    )
                )  # fmt: skip
            if syllable:
                inside = syllable.endswith("-")
        at += quarters
    return rows


def table(
    voice: str,
    below: str = "",
    *,
    metre: tuple[int, int] = (4, 4),
    pickup: float = 0.0,
    fifths: int = 0,
    bpm: float | None = None,
    order: Sequence[tuple[float, float, int]] = (),
    texts: Sequence[TextRow] = (),
    role: str = "voice",
    bars: int | None = None,
) -> NoteTable:
    """A song with one sung part and one accompaniment."""
    rows = notes(voice, 0) + notes(below, 1)
    bar = metre[0] * 4.0 / metre[1]
    end = max((n.end_quarters for n in rows), default=0.0)
    measures: list[MeasureRow] = []
    at, number = 0.0, 0 if pickup else 1
    while at < end - 1e-6 or (bars is not None and len(measures) < bars):
        length = pickup if pickup and not measures else bar
        measures.append(MeasureRow(str(number), at, length, *metre, fifths))
        at, number = at + length, number + 1
    placed = []
    for row in rows:
        k = max(i for i, m in enumerate(measures) if m.start_quarters <= row.onset_quarters + 1e-9)
        placed.append(NoteRow(**{f: getattr(row, f) for f in row.__slots__ if f != "measure"}, measure=k))
    placed.sort(key=lambda n: (n.onset_quarters, n.midi, n.part))
    parts = (PartRow("P1", "Voice", role), PartRow("P2", "Piano", "accompaniment"))  # type: ignore[arg-type]
    return NoteTable(
        title="An Invented Song",
        composer="",
        format="musicxml",
        sha256="0" * 64,
        parts=parts,
        measures=tuple(measures),
        notes=tuple(placed),
        tempos=(TempoRow(0.0, bpm),) if bpm else (),
        texts=tuple(texts),
        order=tuple(OrderRow(*o) for o in order),
    )


def chord(
    start: float,
    end: float,
    root: str,
    quality: Quality = "major",
    inversion: int = 0,
    *,
    figure: str = "I",
    key: str = "C major",
) -> ChordSpan:
    """A chord of a reading."""
    bass = members(root, quality)[inversion].name
    short = {"major": "", "minor": "m", "dominant-seventh": "7", "major-seventh": "maj7"}.get(quality, quality)
    symbol = f"{root}{short}" + (f"/{bass}" if inversion else "")
    return ChordSpan(start, end, "1", 1.0, root, quality, bass, inversion, figure, key, symbol, 0.9)


def key(start: float, end: float, tonic: str = "C") -> KeySpan:
    """A major key."""
    return KeySpan(start, end, tonic, "major", 0.9)


def sounding(chords: Sequence[ChordSpan], octave: int = 3) -> str:
    """The chords as block harmony in the shorthand, each in close position above its bass."""
    words, at = [], 0.0
    for span in chords:
        if span.start > at:
            words.append(f"r:{span.start - at:g}")
        base = PitchClass.parse(span.bass)
        bass = Pitch(base.step, base.alter, octave)
        stack = [bass.name]
        for member in members(span.root, span.quality):
            if member.name != base.name:
                pitch = Pitch(member.step, member.alter, octave)
                stack.append((pitch if pitch.midi > bass.midi else Pitch(member.step, member.alter, octave + 1)).name)
        words.append("+".join(stack) + f":{span.end - span.start:g}")
        at = span.end
    return " ".join(words)
