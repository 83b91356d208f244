"""Keys and chords of a song.

The cadential six-four is read as what it is made of, the tonic in second inversion (I64, i64); the analyses the model
was fitted on do the same, and `Cad64` in an imported analysis means the same.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.decode import Path, decode
from tutor.analysis.features import Windows, chord_views, key_views, spell_map, turn, with_chords
from tutor.analysis.findings import ChordSpan, KeySpan, Mode
from tutor.analysis.model import Model, shipped, vote
from tutor.analysis.slices import LOF_ZERO, Floats, Frames, Ints, frames_of
from tutor.analysis.spelling import figure, spell_chord, spell_tonic
from tutor.analysis.vocabulary import SIZE
from tutor.music.pitch import PitchClass
from tutor.music.table import NoteTable


def read_harmony(table: NoteTable) -> tuple[tuple[KeySpan, ...], tuple[ChordSpan, ...]]:
    """Read the keys and chords of a song.

    Returns:
        Keys and chords, each without gaps from the first bar to the last; both empty for a table without notes.
    """
    return read_with(shipped(), table)


def read_with(model: Model, table: NoteTable) -> tuple[tuple[KeySpan, ...], tuple[ChordSpan, ...]]:
    """`read_harmony` with a model of one's own."""
    if not table.measures or not any(n.duration_quarters > 0 for n in table.notes):
        return (), ()
    frames = frames_of(table)
    chord, key = shares(model, frames)
    path = decode(frames, chord, key, model.tables, model.weights)
    return _spans(table, frames, path, model)


def shares(model: Model, frames: Frames) -> tuple[Floats, Floats]:
    """What the models hear in each frame: shares of the chords (n, 12 * SIZE) and of the keys (n, 24)."""
    windows = Windows(frames)
    spelling = spell_map(windows)
    chord = vote(model.nets["chord"], turn(chord_views(windows), spelling))
    key = vote(model.nets["key"], turn(with_chords(key_views(windows), windows, chord), spelling))
    return chord, key


def _runs(*columns: Ints) -> list[tuple[int, int]]:
    """First and last-plus-one frame of each stretch in which nothing changes."""
    changed = np.zeros(len(columns[0]), dtype=bool)
    changed[0] = True
    for column in columns:
        changed[1:] |= column[1:] != column[:-1]
    edges = [*np.flatnonzero(changed).tolist(), len(changed)]
    return list(itertools.pairwise(edges))


def _spans(
    table: NoteTable, frames: Frames, path: Path, model: Model
) -> tuple[tuple[KeySpan, ...], tuple[ChordSpan, ...]]:
    time = frames.end - frames.start
    heard = frames.sound * time[:, None]
    knots = model.tables["calibration"]
    keys: list[KeySpan] = []
    chords: list[ChordSpan] = []
    for a, b in _runs(path.key):
        mode: Mode = "minor" if path.key[a] % 2 else "major"
        tonic = spell_tonic(int(path.key[a]) // 2, mode, heard[a:b].sum(axis=0), int(frames.fifths[a]))
        sure = float(np.average(path.key_share[a:b], weights=time[a:b]))
        keys.append(KeySpan(_at(frames.start[a]), _at(frames.end[b - 1]), tonic.name, mode, round(sure, 4)))
        for first, last in _runs(path.chord[a:b]):
            share = float(np.average(path.chord_share[a + first : a + last], weights=time[a + first : a + last]))
            sure = float(np.interp(share, knots[0], knots[1]))
            part = slice(a + first, a + last)
            chords.append(_chord(table, frames, part, int(path.chord[a + first]), tonic, mode, heard[part], sure))
    return tuple(keys), tuple(chords)


def _chord(
    table: NoteTable,
    frames: Frames,
    part: slice,
    number: int,
    tonic: PitchClass,
    mode: Mode,
    heard: NDArray[np.floating],
    sure: float,
) -> ChordSpan:
    sound = heard.sum(axis=0)
    chord = spell_chord(number // SIZE, number % SIZE, tonic, sound)
    start = _at(frames.start[part.start])
    members = {t.fifths for t in chord.tones}
    sounding = [PitchClass(int(i) - LOF_ZERO) for i in np.flatnonzero(sound > 0)]
    return ChordSpan(
        start=start,
        end=_at(frames.end[part.stop - 1]),
        bar=table.bar_at(start).number,
        beat=table.beat_at(start),
        root=chord.root.name,
        quality=chord.quality,
        bass=chord.bass.name,
        inversion=chord.inversion,
        figure=figure(chord, tonic, mode),
        key=f"{tonic.name} {mode}",
        symbol=chord.symbol,
        confidence=round(sure, 4),
        tones=tuple(t.name for t in chord.tones if t in sounding),
        nonchord=tuple(t.name for t in sounding if t.fifths not in members),
    )


def _at(offset: float) -> float:
    return round(float(offset), 6)
