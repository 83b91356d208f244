"""Where the sung line of a song sets off again as it did before: a fact of the notes, sure where sections are not."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from drills._draw import Draw, and_list, number
from drills._sheet import Sheet
from drills._songs import per_song, tune_of
from drills._statements import wordless
from tutor.analysis.findings import PhraseSpan
from tutor.music.pitch import pretty
from tutor.music.table import NoteRow
from tutor.practice.drill import Excerpt, Song
from tutor.practice.material import cut, source_words, sung_notes, tempo_at, whole_bars

HEADS = (6, 5, 4, 3)
"""By how many notes a phrase is known when it sets off again, the surest first (a choice of ours)."""
LISTEN_S = 75.0
"""Longest stretch of a song that is followed for one question, in seconds (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class Again:
    """A phrase, and where in what follows the sung line sets off in the same way."""

    phrase: PhraseSpan
    at: tuple[float, ...]
    """Offsets in the song."""
    end: float
    """Where the stretch ends that is heard from the phrase on."""
    size: int
    """Notes by which it is known."""
    lag: float
    """Quarters from the first of these to the last."""


def heads(notes: Sequence[NoteRow], size: int) -> tuple[list[float], bool]:
    """Where the first notes of a line are sung again: the same pitches at the same distances.

    Args:
        notes: the line, one note at a time.
        size: how many of its notes are looked for.

    Returns:
        The offsets, and whether anywhere all but one of the notes agree, or all but those split or joined for the
        words, so that it could be argued.
    """
    head, found, near = notes[:size], [], False
    lag = head[-1].onset_quarters - head[0].onset_quarters
    tune = [(onset, midi) for onset, _, midi in tune_of(head, head[0].onset_quarters)]
    for i in range(1, len(notes) - size + 1):
        shift = notes[i].onset_quarters - head[0].onset_quarters
        pairs = zip(head, notes[i : i + size], strict=True)
        alike = sum(a.midi == b.midi and abs(b.onset_quarters - a.onset_quarters - shift) < 1e-3 for a, b in pairs)
        if alike == size:
            found.append(notes[i].onset_quarters)
        near = near or alike == size - 1
        if alike < size and not near and notes[i].midi == head[0].midi:
            last = bisect_right(notes, notes[i].onset_quarters + lag + 1e-3, lo=i, key=lambda n: n.onset_quarters)
            sung = tune_of(notes[i:last], notes[i].onset_quarters)
            near = tune == [(onset, midi) for onset, _, midi in sung]
    return found, near


def _known(notes: Sequence[NoteRow], size: int) -> tuple[tuple[float, ...], int, float] | None:
    """Places, number of notes and their span where a line sets off again one to four times, beyond argument."""
    if len(notes) <= size or len({n.pitch.pitch_class for n in notes[:size]}) < min(3, size - 1):
        return None
    places, near = heads(notes, size)
    lag = notes[size - 1].onset_quarters - notes[0].onset_quarters
    apart = all(b - a > 2 * lag + 2 for a, b in pairwise([notes[0].onset_quarters, *places]))
    return (tuple(places), size, lag) if 1 <= len(places) <= 4 and apart and not near else None


@per_song
def _again(song: Song) -> list[Again]:
    """Phrases that set off again, once to four times, within a stretch that can be listened to."""
    out = []
    for phrase in song.reading.phrases:
        quarters = LISTEN_S * tempo_at(song.table, phrase.start) / 60
        end = whole_bars(song.table, phrase.start, min(phrase.start + quarters, song.table.length_quarters))[1]
        heard = sung_notes(song.table, phrase.start, end)
        notes = [n for i, n in enumerate(heard) if not i or n.onset_quarters > heard[i - 1].onset_quarters]
        own = sum(n.onset_quarters < phrase.end - 1e-6 for n in notes)
        found = next((x for x in (_known(notes, size) for size in HEADS if size <= own) if x is not None), None)
        if found is not None:
            places, size, lag = found
            last = min(end, places[-1] + phrase.end - phrase.start)
            out.append(Again(phrase, places, whole_bars(song.table, phrase.start, last)[1], size, lag))
    return out


def song_again(draw: Draw) -> Sheet | None:
    """A stretch of a song: tap where the sung line sets off as at its beginning."""
    song = draw.song(lambda s: bool(_again(s)))
    again = draw.rng.choice(_again(song))
    start = again.phrase.start
    phrase = cut(song.table, start, again.end)
    places = [round(a - start, 6) for a in again.at]
    first = next(t.onset_quarters for t in phrase.tones if t.line == "voice")
    tones = tuple(
        replace(t, mark="target") if t.line == "voice" and any(
            -1e-6 <= t.onset_quarters - p <= again.lag + 1e-6 for p in (first, *places)) else t
        for t in phrase.tones
    )  # fmt: skip
    bars = [song.table.bar_at(a).number for a in again.at]
    head = [pretty(t.pitch.pitch_class.name) for t in tones if t.line == "voice"][: again.size]
    wide = max(2, math.ceil(again.lag + 1))
    return Sheet(
        prompt=f"Note how the sung line sets off. Tap each time it sets off like that again, with the same first "
        f"{number(again.size)} notes.",
        ask="marks", right="again", words=f"in bar{'s' if len(bars) > 1 else ''} {and_list(bars)}",
        why=f"There the line sets off as in bar {song.table.bar_at(start + first).number}: {' '.join(head)}. A tap "
        f"counts within {number(wide)} quarter notes of the first of them.",
        shown=Excerpt("The places marked", replace(phrase, tones=tones)),
        heard=(Excerpt("The passage", wordless(phrase.only("voice") if draw.level > 0.6 else phrase)),),
        wanted=tuple((0, p, 0.0) for p in places), tap_quarters=float(wide), bpm=phrase.bpm,
        source=source_words(song, start, again.end), song_id=song.id,
        hint="Sing the first notes to yourself while the song goes on.",
    )  # fmt: skip
