"""A parsed music21 score as a NoteTable."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import partial
from itertools import pairwise
from typing import Any

from tutor.errors import ScoreError
from tutor.music.table import MeasureRow, NoteTable, PartRow
from tutor.score import spell, vocal
from tutor.score.bars import BarReader, bar_number, counted_from_one, repeats_for_verses
from tutor.score.order import unfold
from tutor.score.rows import (
    Gathered,
    Gatherer,
    RawNote,
    merge_ties,
    note_row,
    rounded,
    short,
    slur_ends,
    tempo_rows,
    text_rows,
)
from tutor.score.xmlscan import XmlFacts


def table_from_music21(
    score: Any,
    *,
    fmt: str = "musicxml",
    sha256: str = "",
    voice_part: str | None = None,
    facts: XmlFacts | None = None,
    warnings: Sequence[str] = (),
) -> NoteTable:
    """Turn a music21 score (also one of its corpus) into a table.

    Args:
        score: A music21 Score, Part or Opus (of an Opus the first piece is read).
        fmt: What `NoteTable.format` should say; 'midi' asks for new spelling.
        sha256: Digest of the file.
        voice_part: Id of the sung part as the user says; None to choose it.
        facts: What a first pass over the file found beside music21.
        warnings: Lines to put before those found here.

    Raises:
        ScoreError: no notes, or no part with the id given.
    """
    remarks = list(warnings)
    score = _one_piece(score, remarks)
    facts = facts or XmlFacts()
    streams = _parts(score)
    instruments = _instruments(streams)
    _sound(streams, instruments, facts.transposing)
    raws, found, measures = _gathered(score, streams, facts, remarks, fmt)
    if fmt == "midi":
        measures = _spell_midi(raws, measures, remarks)
    raws.sort(key=lambda r: (r.onset, r.midi, r.part, r.voice))
    rows = tuple(note_row(raw) for raw in raws)
    parts, more = vocal.settle(_part_rows(streams, instruments), rows, [_is_staff(s) for s in streams], voice_part)
    order, order_warnings = unfold(measures)
    _remarks(found.unpitched, found.microtones, parts, remarks)
    title, composer = _credits(score)
    return NoteTable(
        title=title,
        composer=composer,
        format=fmt,
        sha256=sha256,
        parts=parts,
        measures=measures,
        notes=rows,
        tempos=tempo_rows(found, partial(_beat_at, measures)),
        texts=text_rows(found),
        order=order,
        warnings=tuple(dict.fromkeys([*remarks, *more, *order_warnings])),
    )


def _beat_at(measures: Sequence[MeasureRow], at: float) -> float:
    """Length of a beat at an offset, in quarters."""
    return measures[max(bisect_right(measures, at + 1e-6, key=lambda m: m.start_quarters) - 1, 0)].beat_quarters


def _gathered(
    score: Any, streams: list[Any], facts: XmlFacts, remarks: list[str], fmt: str
) -> tuple[list[RawNote], Gathered, tuple[MeasureRow, ...]]:
    """Notes with ties merged, all else that one pass collects, and the bars."""
    bars = [_bars(stream) for stream in streams]
    if not any(bars):
        raise ScoreError("there are no bars in this score", remedy="Open a score with notes")
    starts, durations, reference = _starts(streams, bars, facts.numbers, remarks)
    gatherer = Gatherer(slur_ends(score))
    for index, part_bars in enumerate(bars):
        for place, bar in enumerate(part_bars):
            gatherer.bar(bar, index, place, starts[place])
    raws = merge_ties(gatherer.found.notes)
    if not raws:
        raise ScoreError("there are no notes in this score", remedy="Open a score with notes")
    reader = BarReader(bars[reference], starts, durations, facts.numbers)
    for part_bars in bars:
        reader.add_part(part_bars)
    reader.add_brackets(score)
    reader.add_jumps(facts.jumps)
    remarks += reader.warnings
    rows = counted_from_one(reader.rows()) if fmt == "abc" else reader.rows()
    return raws, gatherer.found, repeats_for_verses(rows, raws, reader.uncounted, remarks)


def _sound(streams: list[Any], instruments: list[int], transposing: Collection[int]) -> None:
    """Put the parts of transposing instruments where they sound."""
    for stream, instrument in zip(streams, instruments, strict=True):
        if instrument in transposing:
            stream.atSoundingPitch = False
            stream.toSoundingPitch(inPlace=True)


def _one_piece(score: Any, warnings: list[str]) -> Any:
    if "Opus" in score.classes:
        pieces = list(score.scores)
        if not pieces:
            raise ScoreError("there are no notes in this score", remedy="Open a score with notes")
        if len(pieces) > 1:
            warnings.append(f"the file holds {len(pieces)} pieces: the first is read")
        return pieces[0]
    return score


def _parts(score: Any) -> list[Any]:
    """The parts that have bars; music without bar lines is given bars by its metre."""
    streams = [score] if "Part" in score.classes else list(score.parts) or [score]
    for stream in streams:
        if not _bars(stream) and stream.recurse().notes:
            stream.makeMeasures(inPlace=True)
            stream.makeTies(inPlace=True)
    return [stream for stream in streams if _bars(stream)] or [score]


def _bars(stream: Any) -> list[Any]:
    return list(stream.getElementsByClass("Measure"))


def _is_staff(stream: Any) -> bool:
    return "PartStaff" in stream.classes


def _starts(
    streams: list[Any], bars: list[list[Any]], numbers: Sequence[str], warnings: list[str]
) -> tuple[list[float], list[float], int]:
    """Where each bar starts and how long it is, and the index of the part that numbers the bars.

    Bars of the same place are lined up across the parts. Where they differ in length, a bar with notes counts for
    more than one that only rests: a full-bar rest in an up-beat is read as a full bar.
    """
    reference = max(range(len(bars)), key=lambda i: (len(bars[i]), -i))
    lengths = [_bar_lengths(stream, part_bars) for stream, part_bars in zip(streams, bars, strict=True)]
    starts: list[float] = []
    durations: list[float] = []
    uneven: list[str] = []
    exact = Fraction(0)
    for place, bar in enumerate(bars[reference]):
        here = [(lengths[i][place], bars[i][place]) for i in range(len(bars)) if place < len(bars[i])]
        given = {length for length, _ in here}
        if len(given) > 1:
            given = {length for length, one in here if one.recurse().notes} or given
            if len(given) > 1:
                uneven.append(bar_number(bar, numbers[place] if place < len(numbers) else ""))
        length = max(given)
        starts.append(rounded(exact))
        durations.append(rounded(length))
        exact += length
    if uneven:
        named = ", ".join(uneven[:8]) + (" and others" if len(uneven) > 8 else "")
        where = f"bar {named}" if len(uneven) == 1 else f"bars {named}"
        warnings.append(f"{where}: the parts differ in length; they are lined up bar by bar")
    return starts, durations, reference


def _bar_lengths(stream: Any, part_bars: list[Any]) -> list[Fraction]:
    """From bar line to bar line; the last bar as long as what it holds."""
    offsets = [Fraction(stream.elementOffset(bar)).limit_denominator(100_000) for bar in part_bars]
    last = [Fraction(part_bars[-1].duration.quarterLength).limit_denominator(100_000)] if part_bars else []
    return [max(b - a, Fraction(0)) for a, b in pairwise(offsets)] + last


def _instruments(streams: list[Any]) -> list[int]:
    """For each stream, the place of its instrument in the score: staves of one instrument share it."""
    places: list[int] = []
    last = ""
    for stream in streams:
        whole = str(stream.id).partition("-Staff")[0] if _is_staff(stream) else ""
        same = bool(whole) and whole == last
        places.append(places[-1] if same else (places[-1] + 1 if places else 0))
        last = whole
    return places


def _part_rows(streams: list[Any], instruments: list[int]) -> list[PartRow]:
    rows: list[PartRow] = []
    for index, stream in enumerate(streams):
        place = instruments[index]
        ident = f"P{place + 1}"
        if instruments.count(place) > 1:
            ident += f"-Staff{index - instruments.index(place) + 1}"
        program, instrument_name = _instrument(stream)
        rows.append(PartRow(ident, _name(stream.partName) or instrument_name, "other", program))
    return rows


def _name(given: Any) -> str:
    """A part's name; the reader's own placeholder counts as none."""
    name = short(given)
    return "" if name == "MusicXML Part" else name


def _instrument(stream: Any) -> tuple[int | None, str]:
    first = stream.recurse().getElementsByClass("Instrument").first()
    if first is None:
        return None, ""
    program = first.midiProgram
    name = _name(first.partName) or _name(first.instrumentName)
    return (int(program) if isinstance(program, int) and 0 <= program <= 127 else None), name


def _credits(score: Any) -> tuple[str, str]:
    metadata = score.metadata
    if metadata is None:
        return "", ""
    # A song of a set carries its own name as the movement's title and the set's as the work's.
    song, work = short(metadata.movementName), short(metadata.title)
    if song and work and song != work:
        return short(f"{song} ({work})"), short(metadata.composer)
    return song or work or short(metadata.bestTitle), short(metadata.composer)


def _spell_midi(raws: list[RawNote], measures: tuple[MeasureRow, ...], warnings: list[str]) -> tuple[MeasureRow, ...]:
    """Spell the notes; without a signature of its own the file gets the one that its notes suggest.

    A signature without sharps or flats counts as none: programs write it where nobody chose a key.
    """
    if {bar.fifths for bar in measures} == {0}:
        fifths = spell.estimate_key(spell.weights_of(raws))[0]
        if fifths:
            warnings.append("the file names no key: the notes are spelled in the key that they suggest")
        measures = tuple(replace(bar, fifths=fifths) for bar in measures)
    for fifths in {bar.fifths for bar in measures}:
        spell.respell([raw for raw in raws if measures[raw.measure].fifths == fifths], fifths)
    return measures


def _remarks(unpitched: set[int], microtones: int, parts: Sequence[PartRow], warnings: list[str]) -> None:
    if unpitched:
        names = ", ".join(parts[i].name or parts[i].id for i in sorted(unpitched))
        warnings.append(f"notes without pitch are left out: {names}")
    if microtones:
        notes = "a note" if microtones == 1 else f"{microtones} notes"
        warnings.append(f"{notes} between the semitones: read as a semitone beside it")
