"""Keys and chords of a song.

The cadential six-four is read as what it is made of, the tonic in second inversion (I64, i64); the analyses the model
was fitted on do the same, and `Cad64` in an imported analysis means the same.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

import numpy as np

from tutor.analysis.columns import places_at
from tutor.analysis.confidence import confidence, evidence, runs
from tutor.analysis.decode import Doubles, Path, decode
from tutor.analysis.findings import ChordSpan, KeySpan, Mode
from tutor.analysis.listen import listen
from tutor.analysis.model import Model, shipped
from tutor.analysis.slices import LOF, LOF_ZERO, Frames, frames_of
from tutor.analysis.spelling import Spelled, figure, spell_chord, spell_tonic
from tutor.analysis.symbols import DOUBT_LEFT, confirms, printed
from tutor.analysis.vocabulary import SIZE
from tutor.analysis.wider import LASTING_QUARTERS, Sounding, tonic_sixths, widen
from tutor.music.chordsymbol import SymbolChord
from tutor.music.pitch import PitchClass
from tutor.music.table import NoteTable

_NAMES = {fifths: PitchClass(fifths).name for fifths in range(-LOF_ZERO, LOF - LOF_ZERO)}


def read_harmony(table: NoteTable) -> tuple[tuple[KeySpan, ...], tuple[ChordSpan, ...]]:
    """Read the keys and chords of a song.

    Returns:
        Keys and chords, each without gaps from the first bar to the last; both empty for a table without notes.
    """
    return read_with(shipped(), table)


def read_with(model: Model, table: NoteTable) -> tuple[tuple[KeySpan, ...], tuple[ChordSpan, ...]]:
    """`read_harmony` with a model of one's own."""
    if table.length_quarters <= 0 or not any(n.duration_quarters > 0 for n in table.notes):
        return (), ()
    frames = frames_of(table)
    heard = listen(model, frames, table)
    path = decode(frames, heard, model.tables, model.weights)
    spans = runs(path.chord, path.key)
    seen = evidence(frames, heard, path, spans)
    sure = confidence(model.nets["sure"], model.trees, seen, model.tables["sure"])
    return tell(table, frames, path, spans, sure, model.tables["key_sure"])


def tell(
    table: NoteTable, frames: Frames, path: Path, spans: list[tuple[int, int]], sure: Doubles, knots: Doubles
) -> tuple[tuple[KeySpan, ...], tuple[ChordSpan, ...]]:
    """Write a decoded path in names.

    Args:
        table: The score.
        frames: Its frames.
        path: Chord and key of each frame.
        spans: Stretches of one chord in one key.
        sure: Confidence of each stretch.
        knots: Straightening of the keys' posterior, shape (2, k).
    """
    time = frames.end - frames.start
    sound = frames.sound * time[:, None]
    starts, ends = frames.start.tolist(), frames.end.tolist()
    first = [a for a, _ in spans]
    keys: list[KeySpan] = []
    homes: list[tuple[PitchClass, Mode]] = []
    for a, b in runs(path.key):
        mode: Mode = "minor" if path.key[a] % 2 else "major"
        tonic = spell_tonic(int(path.key[a]) // 2, mode, sound[a:b].sum(axis=0), int(frames.fifths[a]))
        heard_as = (path.key_share[a:b] * time[a:b]).sum() / time[a:b].sum()
        share = float(np.interp(heard_as, knots[0], knots[1]))
        keys.append(KeySpan(starts[a], ends[b - 1], tonic.name, mode, round(share, 4)))
        homes += [(tonic, mode)] * (bisect_left(first, b) - bisect_left(first, a))
    signs = printed(table)
    spelled, overs = [], []
    under_each = np.add.reduceat(sound, first, axis=0)
    heard, lengths, chord_of = under_each.tolist(), np.add.reduceat(time, first).tolist(), path.chord[first]
    for (a, b), (tonic, _), number, under, length in zip(spans, homes, chord_of.tolist(), heard, lengths, strict=True):
        chord = spell_chord(number // SIZE, number % SIZE, tonic, under)
        over = _symbol_over(signs, starts[a], ends[b - 1]) if signs else None
        overs.append(over)
        if over is not None or (length >= LASTING_QUARTERS and not chord.inversion):
            share_of = np.minimum(time[a:b] @ np.minimum(frames.sound[a:b], 1) / length, 1)
            moving = (frames.step[a:b] * time[a:b, None]).sum(axis=0)
            chord = widen(chord, Sounding(length, share_of, moving), over)
        spelled.append(chord)
    spelled = tonic_sixths(spelled, [tonic for tonic, _ in homes])
    certain = _surer(spelled, overs, sure)
    places = places_at(table, frames.start[first])
    chords = [
        _span(starts[a], ends[b - 1], *each)
        for (a, b), *each in zip(
            spans, places, spelled, homes, _figures(spelled, homes), _places(under_each), certain, strict=True
        )
    ]
    return tuple(keys), tuple(chords)


def _places(sound: Doubles) -> list[list[int]]:
    """What sounds in each stretch, as places on the line of fifths."""
    out: list[list[int]] = [[] for _ in sound]
    for row, place in np.argwhere(sound > 0).tolist():
        out[row].append(place - LOF_ZERO)
    return out


def _surer(chords: Sequence[Spelled], overs: Sequence[SymbolChord | None], sure: Doubles) -> list[float]:
    """Confidence, raised where a printed symbol names the chord."""
    named = [
        s is not None and confirms(s, c.root.chroma, c.quality, c.inversion) for c, s in zip(chords, overs, strict=True)
    ]
    return [1 - (1 - p) * (DOUBT_LEFT if told else 1.0) for p, told in zip(sure.tolist(), named, strict=True)]


def _figures(chords: Sequence[Spelled], homes: Sequence[tuple[PitchClass, Mode]]) -> list[str]:
    """Figures, from the last chord back, for some depend on what follows."""
    out: list[str] = []
    for i in range(len(chords) - 1, -1, -1):
        after = out[-1] if out and homes[i + 1] == homes[i] else ""
        out.append(figure(chords[i], *homes[i], after))
    return out[::-1]


def _symbol_over(signs: Sequence[tuple[float, float, SymbolChord]], start: float, end: float) -> SymbolChord | None:
    """The printed symbol that covers most of a stretch."""
    best = max(signs, key=lambda s: min(s[1], end) - max(s[0], start), default=None)
    return best[2] if best is not None and min(best[1], end) - max(best[0], start) > (end - start) / 2 else None


def _span(
    start: float,
    end: float,
    place: tuple[str, float],
    chord: Spelled,
    home: tuple[PitchClass, Mode],
    text: str,
    sounding: list[int],
    sure: float,
) -> ChordSpan:
    tonic, mode = home
    names = chord.names
    return ChordSpan(
        start=start,
        end=end,
        bar=place[0],
        beat=place[1],
        root=chord.root.name,
        quality=chord.quality,
        bass=chord.bass.name,
        inversion=chord.inversion,
        figure=text,
        key=f"{tonic.name} {mode}",
        symbol=chord.symbol,
        confidence=round(sure, 4),
        tones=tuple([name for fifths, name in names.items() if fifths in sounding]),
        nonchord=tuple([_NAMES[fifths] for fifths in sounding if fifths not in names]),
    )
