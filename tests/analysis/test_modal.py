"""Songs that stand in a mode, and songs that do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.analysis.progressions import table_of
from tutor.analysis.harmony import read_harmony
from tutor.analysis.modal import GLANCED, glance, leaning, modal_share
from tutor.analysis.model import shipped
from tutor.analysis.slices import frames_of
from tutor.music.table import NoteTable

_MAJOR = [
    "C3 E4 G4 C5", "A2 E4 A4 C5", "F3 C4 F4 A4", "G2 D4 F4 B4", "C3 E4 G4 C5", "F3 D4 A4 D5", "G2 D4 F4 B4",
    "C3 E4 G4 C5",
]  # fmt: skip
_DORIAN = [
    "D3 A3 D4 F4 | D3 B3 D4 G4", "D3 A3 D4 F4", "B2 G3 D4 G4 | A2 A3 C4 F4", "C3 G3 C4 E4 | D3 A3 D4 F4",
    "A2 A3 C4 F4 | A2 A3 C4 E4", "D3 A3 D4 F4 | G2 B3 D4 G4", "A2 A3 C4 E4 | D3 A3 D4 F4", "D3 A3 D4 F4",
] * 2  # fmt: skip
_MIXOLYDIAN = [
    "G2 D4 G4 B4", "F3 A3 C4 F4", "C3 G3 C4 E4", "G2 D4 G4 B4", "G2 D4 G4 B4", "F3 A3 C4 F4", "C3 G3 C4 E4",
    "G2 D4 G4 B4", "D3 A3 D4 F4", "C3 G3 C4 E4", "F3 A3 C4 F4", "G2 D4 G4 B4",
]  # fmt: skip


def _share(table: NoteTable) -> float:
    return modal_share(shipped().nets["gate"], frames_of(table))


@pytest.mark.parametrize(("bars", "key"), [(_DORIAN, "D minor"), (_MIXOLYDIAN, "G major")])
def test_a_song_in_a_mode_is_read_from_its_final(bars: list[str], key: str) -> None:
    table = table_of(bars)
    assert _share(table) > 0.5
    keys, _ = read_harmony(table)
    assert sum(k.end - k.start for k in keys if k.name == key) > 0.7 * table.length_quarters


def test_a_song_in_major_is_not_touched() -> None:
    table = table_of(_MAJOR)
    assert _share(table) == 0
    assert leaning(shipped().tables, 0.0) is shipped().tables
    keys, _ = read_harmony(table)
    assert [k.name for k in keys] == ["C major"]


def test_the_glance_is_the_same_in_every_key() -> None:
    table = table_of(_DORIAN)
    notes = []
    for note in table.notes:
        moved = note.pitch.moved(2, 1)
        notes.append(replace(note, step=moved.step, alter=moved.alter, octave=moved.octave))
    bars = tuple(replace(bar, fifths=bar.fifths + 2) for bar in table.measures)
    other = replace(table, notes=tuple(notes), measures=bars)
    assert glance(frames_of(other)) == pytest.approx(glance(frames_of(table)), abs=1e-5)


def test_tables_that_lean_still_hold_probabilities() -> None:
    tables = leaning(shipped().tables, 0.5)
    assert np.exp(tables["unigram"]).sum(axis=(1, 2)) == pytest.approx([1, 1], abs=1e-4)
    assert np.exp(tables["keys"]).sum(axis=(1, 2)) == pytest.approx([1, 1], abs=1e-4)
    assert not np.allclose(tables["bigram"], shipped().tables["bigram"])


def test_silence_is_glanced_at_without_fuss() -> None:
    table = replace(table_of(_MAJOR), notes=())
    assert glance(frames_of(table)).tolist() == [0.0] * GLANCED
