"""Songs told in a mode: training pieces with the degrees that part the modes from major and minor moved.

Analysed songs of the nineteenth century are in major or minor almost throughout, so that a model fitted on them takes
the scale for the tonic. Here major songs become Mixolydian or Lydian and minor ones Dorian or Aeolian: in every
key of the song the degrees of the mode are moved, the raised seventh of minor with them. The tonic, the rhythm
and what stands where remain, and so does the key of the analysis; chords foreign to their key are left as they are.
"""

from __future__ import annotations

import zlib
from bisect import bisect_right
from dataclasses import replace
from typing import Any

import numpy as np

from tests.bench.corpus import LONG, Piece, chord_number
from tutor.analysis.slices import NO_NOTE, Floats, Frames
from tutor.analysis.vocabulary import AUGMENTED_SIXTHS, BASS, CLASSES, MEMBERS, SIZE
from tutor.music.pitch import PitchClass
from tutor.music.scale import Key
from tutor.music.table import NoteRow

_SCALES = {"major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10, 11)}
_MOVES = {
    "mixolydian": {"7": -1},
    "lydian": {"4": 1},
    "dorian": {"b6": 1, "7": -1},
    "aeolian": {"7": -1},
}
_SIGNS = {"mixolydian": -1, "lydian": 1, "dorian": 1, "aeolian": 0}
"""Sharps that each mode's signature has more than the major or minor one."""
_DEALT = {
    "major": ("mixolydian", "mixolydian", "lydian", "mixolydian", "mixolydian", "lydian"),
    "minor": ("dorian", "aeolian", "dorian", "dorian", "dorian", "aeolian"),
}
_AT = {"4": 5, "b6": 8, "7": 11}
_BY_TONES = {
    (frozenset(i for i in range(12) if MEMBERS[k][i]), int(BASS[k])): k
    for k, (quality, _) in reversed(list(enumerate(CLASSES)))
    if quality not in AUGMENTED_SIXTHS
}


def in_mode(piece: Piece) -> Piece:
    """The piece with its major keys in one mode and its minor keys in another, dealt by its name.

    Two pieces of three carry the signature of the mode, the others that of the major or minor key.
    """
    number = zlib.crc32(piece.id.encode())
    modes = {home: dealt[number % len(dealt)] for home, dealt in _DEALT.items()}
    spans = sorted(piece.spans, key=lambda s: float(s["offset_ql"]))
    told = [_moved(span, modes) for span in spans]
    starts = [float(s["offset_ql"]) for s in spans]
    notes = tuple(_note(n, starts, told) for n in piece.table.notes)
    signs = _SIGNS[modes[_key(spans[-1]["key"]).mode]] * (number // 6 % 3 > 0)
    bars = tuple(replace(m, fifths=m.fifths + signs) for m in piece.table.measures)
    table = replace(piece.table, notes=notes, measures=bars)
    return Piece(piece.id, table, [span for span, _, _ in told])


def lifted(frames: Frames, fifths: int) -> Frames:
    """The frames of a song whose last third is moved up, under the old signature: its last tone is not its tonic."""
    late = np.arange(frames.count) >= frames.count * 2 // 3
    turn = (fifths * 7) % 12

    def moved(name: str, by: int) -> Floats:
        values: Floats = getattr(frames, name)
        return np.where(late[:, None], np.roll(values, by, axis=1), values)

    return replace(
        frames,
        sound=moved("sound", fifths),
        attack=moved("attack", turn),
        bass=moved("bass", turn),
        voice=moved("voice", turn),
        step=moved("step", turn),
        low=np.where(late & (frames.low < NO_NOTE), frames.low + turn, frames.low),
        low_fifths=np.where(late & (frames.low < NO_NOTE), frames.low_fifths + fifths, frames.low_fifths),
    )


def _key(name: str) -> Key:
    tonic = PitchClass.parse(name[0].upper() + name[1:].replace("-", "b"))
    return Key(tonic, "minor" if name[0].islower() else "major")


def _moved(span: dict[str, Any], modes: dict[str, str]) -> tuple[dict[str, Any], Key, dict[str, int]]:
    """A span in the mode, its key, and by how many semitones which degrees move in it."""
    key = _key(span["key"])
    moves = _MOVES[modes[key.mode]]
    number = chord_number(span)
    if number < 0:
        return span, key, {}
    root, kind = divmod(number, SIZE)
    tonic = key.tonic.chroma
    shift = {(tonic + _AT[degree]) % 12: by for degree, by in moves.items()}
    tones = [(root + i) % 12 for i in range(12) if MEMBERS[kind][i]]
    if any((t - tonic) % 12 not in _SCALES[key.mode] for t in tones):
        return span, key, {}
    root, bass = (t + shift.get(t, 0) for t in (root, (root + int(BASS[kind])) % 12))
    own = frozenset((t + shift.get(t, 0) - root) % 12 for t in tones)
    index = _BY_TONES.get((own, (bass - root) % 12))
    if index is None:
        return span, key, {}
    quality, inversion = CLASSES[index]
    changed = {"root_pc": root % 12, "bass_pc": bass % 12, "quality": LONG[quality], "inversion": inversion}
    return {**span, **changed}, key, moves


def _note(note: NoteRow, starts: list[float], told: list[tuple[dict[str, Any], Key, dict[str, int]]]) -> NoteRow:
    at = max(bisect_right(starts, note.onset_quarters + 1e-6) - 1, 0)
    _, key, moves = told[at]
    by = moves.get(key.degree_of(PitchClass.of(note.step, note.alter)), 0) if abs(note.alter) <= 2 else 0
    return replace(note, alter=note.alter + by) if by else note
