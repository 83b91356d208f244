"""Melody by ear: hear a line and play it or sing it back.

Axes of difficulty: three notes, then nine; steps, then leaps; major, then minor; with a bent degree. The first note is
named. The whole line may be given in another octave.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

from drills._draw import Draw, Drawn, capital, key_heard, number, pretty_key
from drills._melody import melody
from drills._modal import bent_scale, degree_words, line
from drills._sheet import Part, Sheet
from drills._songs import per_song
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, pretty
from tutor.music.progression import harmonies
from tutor.music.scale import Key
from tutor.music.table import NoteRow
from tutor.practice.drill import Excerpt, Song
from tutor.practice.material import cut, source_words, sung_notes


def _lengths(draw: Draw, count: int) -> list[list[float]]:
    """Note lengths of two bars for a number of notes, the last one long."""
    if count == 3:
        return [[1.0, 1.0, 2.0]]
    first = count // 2 if count > 4 else count - 1
    cells = {1: (4.0,), 2: (2.0, 2.0), 3: (1.0, 1.0, 2.0), 4: (1.0, 1.0, 1.0, 1.0), 5: (1.0, 0.5, 0.5, 1.0, 1.0)}
    first = min(5, first)
    second = min(5, count - first)
    return [list(cells[first]), [*list(cells[second])[:-1], cells[second][-1]]]


def _drawn(draw: Draw, mode: str, steps: bool) -> tuple[Key, tuple[Tone, ...]] | None:
    key = draw.key(mode)
    count = 3 + round(draw.level * 6)
    tonic, dominant, fourth = ("I", "V", "IV") if mode == "major" else ("i", "V", "iv")
    names = draw.rng.choice(((tonic, tonic), (tonic, dominant), (tonic, fourth), (dominant, tonic)))
    low, high = _limits(draw)
    ends = ("1", "3", "b3", "5", "2", "7", "4", "6", "b6")
    lengths = _lengths(draw, count)
    tones = melody(draw.rng, key, harmonies(names[: len(lengths)], key), lengths, low=low, high=high,
                   level=0.2 if steps else max(0.4, draw.level), end=ends, steps_only=steps)  # fmt: skip
    if tones is None or len({t.midi for t in tones}) < min(3, len(tones)):
        return None
    return key, tones


def _limits(draw: Draw) -> tuple[int, int]:
    """The singer's range, for what is heard may be sung back."""
    return draw.material.low_midi, max(draw.material.low_midi + 9, draw.material.high_midi)


def _sheet(draw: Draw, key: Key, tones: Sequence[Tone], *, sung: bool = False, note: str = "") -> Sheet:
    bpm = draw.bpm(60, 92)
    phrase = Phrase(tuple(tones), bpm=bpm, fifths=key.fifths)
    shown = replace(phrase, tones=tuple(replace(t, mark="target") for t in tones))
    names = " ".join(pretty(t.pitch.pitch_class.name) for t in tones)
    degrees = " ".join(degree_words(key.degree_of(t.pitch.pitch_class)) for t in tones)
    return Sheet(
        prompt=f"{'Sing' if sung else 'Play'} the melody of {number(len(tones))} notes back. It begins on "
        f"{pretty(tones[0].pitch.name)}; another octave is fine.",
        ask="take" if sung else "notes", right=degrees, words=names,
        why=f"In {pretty_key(key)} these are the degrees {degrees}.{note}", shown=Excerpt("The melody", shown),
        heard=(key_heard(draw, key), Excerpt("The melody", phrase)),
        wanted=tuple((t.midi, t.onset_quarters, t.duration_quarters) for t in tones), any_octave=True, bpm=bpm,
        also=("notes",) if sung else (), hint="Hear it through once, sing it in your mind, then begin.",
    )  # fmt: skip


def steps(draw: Draw) -> Sheet | None:
    """By step, in major."""
    made = _drawn(draw, "major", steps=True)
    return None if made is None else _sheet(draw, *made)


def leaps(draw: Draw) -> Sheet | None:
    """With leaps, in major."""
    made = _drawn(draw, "major", steps=False)
    return None if made is None else _sheet(draw, *made)


def minor(draw: Draw) -> Sheet | None:
    """In minor."""
    made = _drawn(draw, "minor", steps=draw.level < 0.3)
    return None if made is None else _sheet(draw, *made)


def sing_back(draw: Draw) -> Sheet | None:
    """Sung back."""
    made = _drawn(draw, draw.rng.choice(("major", "minor")), steps=draw.level < 0.5)
    if made is None:
        return None
    low, high = draw.material.low_midi, draw.material.high_midi
    if not all(low <= t.midi <= high for t in made[1]):
        return None
    return _sheet(draw, *made, sung=True)


def bent(draw: Draw) -> Sheet | None:
    """With a bent degree."""
    key = draw.key("major")
    degree = draw.rng.choice(("b7", "#4", "b3", "b6"))
    low, high = _limits(draw)
    pitches = line(draw.rng, key, bent_scale(degree), 5 + round(draw.level * 4), (degree,), low=low, high=high)
    if pitches is None:
        return None
    tones = [Tone(float(i), 1.0 if i < len(pitches) - 1 else 2.0, p) for i, p in enumerate(pitches)]
    return _sheet(draw, key, tones, note=f" {capital(degree_words(degree))} is the bent one.")


@per_song
def _spots(song: Song, size: int) -> list[tuple[NoteRow, ...]]:
    notes = sung_notes(song.table, 0.0, song.table.length_quarters)
    starts = [i for i in range(len(notes) - size + 1) if _opens(song, notes[i])]
    out = []
    for i in starts:
        run = notes[i : i + size]
        joined = all(b.onset_quarters - a.end_quarters < 0.51 for a, b in itertools.pairwise(run))
        rising = all(b.onset_quarters > a.onset_quarters for a, b in itertools.pairwise(run))
        if joined and rising and len({n.midi for n in run}) > 2:
            out.append(tuple(run))
    return out


def _opens(song: Song, note: NoteRow) -> bool:
    return any(abs(p.start - note.onset_quarters) < 1e-6 for p in song.reading.phrases)


def song(draw: Draw) -> Sheet:
    """The opening of a phrase of a song."""
    size = 4 + round(draw.level * 4)
    chosen = draw.song(lambda s: bool(_spots(s, size)))
    run = draw.rng.choice(_spots(chosen, size))
    start, end = run[0].onset_quarters, run[-1].end_quarters
    phrase = cut(chosen.table, start, end)
    heard = phrase.only("voice") if draw.level < 0.5 else phrase
    tones = tuple(replace(t, mark="target") if t.line == "voice" else t for t in phrase.tones)
    names = " ".join(pretty(n.pitch.pitch_class.name) for n in run)
    first: Pitch = run[0].pitch
    return Sheet(
        prompt=f"Play the {number(size)} sung notes back. They begin on {pretty(first.name)}; another octave is fine.",
        ask="notes", right=names, words=names, why=f"{source_words(chosen, start, end)}: {names}.",
        shown=Excerpt(source_words(chosen, start, end), replace(phrase, tones=tones)),
        heard=(Excerpt(source_words(chosen, start, end), heard),),
        wanted=tuple((n.midi, n.onset_quarters - start, n.duration_quarters) for n in run), any_octave=True,
        bpm=phrase.bpm, source=source_words(chosen, start, end), song_id=chosen.id,
        hint="Hear it through once, sing it in your mind, then begin.",
    )  # fmt: skip


PARTS = {
    "steps": Part("by step, play it back", steps, ask="notes"),
    "leaps": Part("with leaps, play it back", leaps, ask="notes"),
    "sing-back": Part("sing or play it back", sing_back, ask="take"),
    "minor": Part("in minor, play it back", minor, ask="notes"),
    "bent": Part("with a bent degree, play it back", bent, ask="notes"),
    "song": Part("a phrase of your song, play it back", song, song=True, ask="notes"),
}


class MelodyByEar(Drawn):
    """The drill."""

    name = "melody-by-ear"
    title = "Melody by ear"
    about = "Hear a melody and give it back, on the keyboard or with the voice."
    lesson = "melody-by-ear"
    parts = PARTS


drill = MelodyByEar()
