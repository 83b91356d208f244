"""What the drills look up in a song, found once for each reading."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable
from functools import wraps
from typing import Concatenate, ParamSpec, TypeVar, cast

from tutor.analysis.findings import ChordSpan, Reading
from tutor.music.table import NoteRow
from tutor.practice.drill import Song

P = ParamSpec("P")
T = TypeVar("T")

_KEPT = 1024
_memo: OrderedDict[tuple[object, ...], tuple[Reading, object]] = OrderedDict()


def per_song(find: Callable[Concatenate[Song, P], T]) -> Callable[Concatenate[Song, P], T]:
    """Keep what a function finds in a song until the song is read anew.

    Kept by the reading's identity: hashing a whole song would cost more than the search. The reading is held beside
    the result, so that its identity cannot pass to another.
    """

    @wraps(find)
    def kept(song: Song, *args: P.args, **kwargs: P.kwargs) -> T:
        key = (find, id(song.reading), args, tuple(sorted(kwargs.items())))
        found = _memo.get(key)
        if found is None or found[0] is not song.reading:
            found = (song.reading, find(song, *args, **kwargs))
            _memo[key] = found
            while len(_memo) > _KEPT:
                _memo.popitem(last=False)
        return found[1]  # type: ignore[return-value]

    return cast(Callable[Concatenate[Song, P], T], kept)


def plain_syllable(note: NoteRow) -> str:
    """The text sung on a note as it is named in a sentence: 'Frie-', without its comma or full stop."""
    return note.printed_syllable.strip(' ,.;:!?…–—"„“”‚‘»«()')


def tune_of(notes: Iterable[NoteRow], start: float) -> list[tuple[float, float, int]]:
    """Onset and end of each note of a line, counted from ``start``, and its MIDI number, whatever its syllables.

    A note that is only struck again for a further syllable counts as one with the note before.
    """
    out: list[tuple[float, float, int]] = []
    before: NoteRow | None = None
    for note in notes:
        onset, end = (round(x - start, 3) for x in (note.onset_quarters, note.end_quarters))
        again = before is not None and bool(before.syllable and note.syllable) and before.midi == note.midi
        if again and abs(out[-1][1] - onset) < 2e-3:
            out[-1] = out[-1][0], end, note.midi
        else:
            out.append((onset, end, note.midi))
        before = note
    return out


@per_song
def notes_by_bar(song: Song) -> dict[int, list[NoteRow]]:
    """For each bar the notes that sound in it, graces left out."""
    out: dict[int, list[NoteRow]] = {i: [] for i in range(len(song.table.measures))}
    for note in song.table.notes:
        if note.grace:
            continue
        bar = note.measure
        while bar < len(song.table.measures) and song.table.measures[bar].start_quarters < note.end_quarters - 1e-6:
            out[bar].append(note)
            bar += 1
    return out


def sounding(song: Song, start: float, end: float) -> list[NoteRow]:
    """The notes that sound within a stretch."""
    table = song.table
    found: dict[int, NoteRow] = {}
    bars = notes_by_bar(song)
    for i, bar in enumerate(table.measures):
        if bar.start_quarters < end - 1e-6 and bar.end_quarters > start + 1e-6:
            for note in bars[i]:
                if note.onset_quarters < end - 1e-6 and note.end_quarters > start + 1e-6:
                    found[id(note)] = note
    return list(found.values())


def bass_agrees(song: Song, span: ChordSpan) -> bool:
    """True when the lowest sounding note at the chord's start, and nothing lower in it, is its bass."""
    notes = sounding(song, span.start, span.end)
    first = [n for n in notes if n.onset_quarters <= span.start + 1e-6]
    if not first:
        return False
    lowest = min(first, key=lambda n: n.midi)
    return lowest.pitch.pitch_class.name == span.bass and min(n.midi for n in notes) == lowest.midi
