"""Fresh progressions written out as a score and read back by the engine: where it is sure, it agrees."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest

from drills._draw import Draw
from drills._voicing import Voicing, lead
from tutor.analysis.findings import ChordSpan, KeySpan
from tutor.analysis.harmony import read_harmony
from tutor.music.progression import Harmony, figures, harmonies
from tutor.music.scale import Key
from tutor.music.table import MeasureRow, NoteRow, NoteTable, PartRow
from tutor.practice.drill import Material
from tutor.practice.material import SURE

QUARTERS = 2.0
COUNT = 120


def written(key: Key, voicings: Sequence[Voicing]) -> NoteTable:
    """Two chords a bar, the last a whole bar; the soprano sung."""
    rows: list[NoteRow] = []
    at = 0.0
    for i, voicing in enumerate(voicings):
        length = 4.0 if i == len(voicings) - 1 else QUARTERS
        for j, p in enumerate(voicing):
            part = 0 if j == 3 else 1
            rows.append(NoteRow(at, length, p.step, p.alter, p.octave, part, int(at // 4)))
        at += length
    bars = tuple(MeasureRow(str(i + 1), i * 4.0, 4.0, 4, 4, key.fifths) for i in range(int(-(-at // 4))))
    parts = (PartRow("P1", "Voice", "voice"), PartRow("P2", "Piano", "accompaniment"))
    rows.sort(key=lambda n: (n.onset_quarters, n.midi, n.part))
    return NoteTable("", "", "musicxml", "b" * 64, parts, bars, tuple(rows))


Read = tuple[Key, tuple[Harmony, ...], Sequence[KeySpan], Sequence[ChordSpan]]


@pytest.fixture(scope="module")
def readings() -> list[Read]:
    out: list[Read] = []
    for seed in range(COUNT):
        rng = random.Random(seed)
        key = Draw("x", Material(), rng, (seed % 11) / 10).key()
        chords = harmonies(figures(rng, key.mode, rng.randint(4, 8), rich=True), key)
        voicings = lead(chords, rng)
        assert voicings is not None
        keys, spans = read_harmony(written(key, voicings))
        out.append((key, chords, keys, spans))
    return out


def test_the_engine_hears_the_key(readings: list[Read]) -> None:
    assert sum(all(k.name == key.name for k in keys) for key, _, keys, _ in readings) >= COUNT * 0.97


def test_where_it_is_sure_it_hears_the_chord_and_its_inversion(readings: list[Read]) -> None:
    sure = right = 0
    for _, chords, _, spans in readings:
        for span in spans:
            if span.confidence < SURE:
                continue
            sure += 1
            first, last = int(span.start // QUARTERS), int((span.end - 1e-6) // QUARTERS)
            meant = {
                (h.chord.root.name, h.chord.quality, h.chord.inversion)
                for h in chords[first : min(last, len(chords) - 1) + 1]
            }
            right += meant == {(span.root, span.quality, span.inversion)}
    assert sure >= COUNT * 3
    assert right / sure >= 0.98
