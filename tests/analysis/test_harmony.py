"""Keys, chords and figures of invented songs."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from tests.analysis.progressions import table_of
from tutor.analysis.decode import KEPT, lattice, posteriors
from tutor.analysis.harmony import read_harmony
from tutor.analysis.listen import listen
from tutor.analysis.model import Model, shipped
from tutor.analysis.slices import frames_of
from tutor.music.pitch import Pitch, PitchClass
from tutor.music.roman import parse_roman
from tutor.music.scale import Key
from tutor.music.table import NoteTable

_SONG = [
    "C3 E4 G4 C5", "A2 E4 A4 C5", "F3 C4 F4 A4", "G2 D4 F4 B4", "C3 E4 G4 C5", "E3 C4 G4 C5", "F3 D4 A4 D5",
    "G2 C4 E4 C5 | G2 D4 F4 B4", "C3 E4 G4 C5",
]  # fmt: skip


def _transposed(table: NoteTable, fifths: int, diatonic: int) -> NoteTable:
    notes = []
    for note in table.notes:
        moved = note.pitch.moved(fifths, diatonic)
        notes.append(replace(note, step=moved.step, alter=moved.alter, octave=moved.octave))
    bars = tuple(replace(bar, fifths=bar.fifths + fifths) for bar in table.measures)
    return replace(table, notes=tuple(notes), measures=bars)


def test_a_plain_song_is_read_in_full() -> None:
    keys, chords = read_harmony(table_of(_SONG))
    assert [k.name for k in keys] == ["C major"]
    assert [c.figure for c in chords] == ["I", "vi", "IV", "V7", "I", "I6", "ii6", "I64", "V7", "I"]
    assert [c.symbol for c in chords][:6] == ["C", "Am", "F", "G7", "C", "C/E"]
    assert [c.bar for c in chords] == ["1", "2", "3", "4", "5", "6", "7", "8", "8", "9"]
    assert chords[8].beat == 3
    assert all(0 <= c.confidence <= 1 for c in chords)


def test_spans_leave_no_gap_and_name_one_key_each() -> None:
    table = table_of(_SONG)
    keys, chords = read_harmony(table)
    for spans in ([(k.start, k.end) for k in keys], [(c.start, c.end) for c in chords]):
        assert spans[0][0] == 0
        assert spans[-1][1] == table.length_quarters
        assert all(a[1] == b[0] for a, b in itertools.pairwise(spans))


@pytest.mark.parametrize(("fifths", "diatonic"), [(1, 4), (-3, 2), (5, -1), (-5, 1), (2, 1)])
def test_another_key_changes_nothing_else(fifths: int, diatonic: int) -> None:
    keys, chords = read_harmony(table_of(_SONG))
    moved_keys, moved = read_harmony(_transposed(table_of(_SONG), fifths, diatonic))
    assert [c.figure for c in moved] == [c.figure for c in chords]
    assert moved_keys[0].tonic == PitchClass(PitchClass.parse(keys[0].tonic).fifths + fifths).name
    assert [c.confidence for c in moved] == pytest.approx([c.confidence for c in chords], abs=0.02)


def test_the_same_table_gives_the_same_reading() -> None:
    assert read_harmony(table_of(_SONG)) == read_harmony(table_of(_SONG))


def test_a_broken_chord_is_gathered() -> None:
    bars = ["C3 | G3 | E4 | G3", "F3 | C4 | A4 | C4", "G2 | F4 | B3 | D4", "C3 | G3 | E4 | C4"]
    _, chords = read_harmony(table_of(bars))
    assert [c.figure for c in chords] == ["I", "IV", "V7", "I"]


def test_minor_keys_raise_their_leading_tone() -> None:
    bars = ["A2 E4 A4 C5", "D3 D4 F4 A4", "E3 D4 G#4 B4", "A2 C4 E4 A4", "D3 F4 A4 D5", "E3 D4 G#4 B4", "A2 E4 A4 C5"]
    keys, chords = read_harmony(table_of(bars))
    assert [k.name for k in keys] == ["A minor"]
    assert [c.figure for c in chords] == ["i", "iv", "V7", "i", "iv", "V7", "i"]


def test_a_printed_symbol_settles_a_doubt() -> None:
    bare = ["C3 E4 G4 C5", "A2 A3 C4 A4", "G2 D4 F4 B4", "C3 E4 G4 C5"]
    _, with_symbol = read_harmony(table_of(bare, symbols={0: "C", 1: "F/A", 2: "G7", 3: "C"}))
    assert with_symbol[1].symbol == "F/A"
    _, without = read_harmony(table_of(bare))
    assert without[1].root == "A"


def test_a_printed_symbol_does_not_overrule_plain_tones() -> None:
    _, chords = read_harmony(table_of(_SONG, symbols={2: "D#m7b5", 3: "G7"}))
    assert [c.figure for c in chords][2] == "IV"


def test_a_printed_sixth_and_ninth_are_named() -> None:
    bars = ["C3 E4 G4 A4", "D3 F4 A4 C5", "G2 F4 A4 B4", "C3 E4 G4 A4"]
    _, chords = read_harmony(table_of(bars, symbols={0: "C6", 1: "Dm7", 2: "G9", 3: "C6"}))
    assert [c.quality for c in chords] == ["major-sixth", "minor-seventh", "dominant-ninth", "major-sixth"]
    assert [c.symbol for c in chords] == ["C6", "Dm7", "G9", "C6"]


def test_every_figure_means_its_chord() -> None:
    chromatic = [
        "C3 E4 G4 C5", "C3 E4 G4 Bb4", "F3 C4 F4 A4", "F3 C4 F4 Ab4", "D3 A3 C4 F#4", "G2 D4 G4 B4", "Ab2 C4 Eb4 F#4",
        "G2 C4 E4 C5 | G2 B3 F4 D5", "C3 E4 G4 C5", "F3 F4 Ab4 Db5", "G2 D4 F4 B4", "C3 E4 G4 C5",
    ]  # fmt: skip
    _, chords = read_harmony(table_of(chromatic))
    for chord in chords:
        key = Key.parse(chord.key)
        meant = parse_roman(chord.figure, key.tonic, key.mode)
        assert (meant.root.name, meant.bass.name, meant.quality) == (chord.root, chord.bass, chord.quality)


def test_silence_and_emptiness_are_read_without_fuss() -> None:
    table = table_of(_SONG)
    assert read_harmony(replace(table, notes=())) == ((), ())
    assert read_harmony(replace(table, measures=(), notes=())) == ((), ())
    gap = tuple(n for n in table.notes if n.measure not in (3, 4))
    keys, chords = read_harmony(replace(table, notes=gap))
    assert chords[-1].end == keys[-1].end == table.length_quarters


@pytest.mark.parametrize("quarters", [0.25, 0.5, 1.0, 4.0])
def test_the_shortest_song_is_read(quarters: float) -> None:
    table = table_of(["C3 E4 G4 C5"])
    bar = replace(table.measures[0], duration_quarters=quarters)
    notes = tuple(replace(n, duration_quarters=quarters) for n in table.notes)
    keys, chords = read_harmony(replace(table, measures=(bar,), notes=notes))
    assert chords[-1].end == keys[-1].end == quarters
    assert chords[0].root == "C"


def test_posteriors_are_probabilities() -> None:
    table = table_of(_SONG)
    frames, model = frames_of(table), shipped()
    lat = lattice(frames, listen(model, frames, table), model.tables, model.weights)
    share = posteriors(lat)
    assert share.shape == (len(lat.score), len(lat.keys), KEPT)
    assert share.sum(axis=(1, 2)) == pytest.approx([1.0] * len(share))


def test_the_model_survives_its_file_and_says_where_it_comes_from() -> None:
    model = shipped()
    again = Model.loads(model.dumps())
    assert again.weights == model.weights
    assert len(model.dumps()) < 1_000_000
    assert "CC BY-SA" in model.about["analyses"]
    with pytest.raises(ValueError, match="not a harmony model"):
        Model.loads(b"nothing")


def test_an_unusual_note_does_not_stop_the_reading() -> None:
    table = table_of(_SONG)
    odd = replace(table.notes[0], alter=3)
    assert Pitch(odd.step, odd.alter, odd.octave).midi > 0
    _, chords = read_harmony(replace(table, notes=(odd, *table.notes[1:])))
    assert chords


def test_a_diminished_seventh_that_falls_back_to_the_tonic_is_not_applied() -> None:
    bars = ["C3 E4 G4 C5", "C3 D#4 F#4 A4", "C3 E4 G4 C5", "F3 C4 F4 A4", "G2 D4 F4 B4", "C3 E4 G4 C5"]
    _, chords = read_harmony(table_of(bars))
    assert [c.figure for c in chords][1] == "#iio42"


def test_a_lead_sheet_is_read_by_its_symbols() -> None:
    tune = {0: "E4:2 G4:2", 1: "A4:2 C5:2", 2: "C5:2 A4:2", 3: "B4:2 D5:2", 4: "C5:4"}
    signs = {0: "C", 1: "Am7", 2: "Fmaj7", 3: "G7", 4: "C6"}
    _, chords = read_harmony(table_of([""] * 5, melody=tune, symbols=signs))
    assert [c.root for c in chords] == ["C", "A", "F", "G", "C"]
    assert [c.figure for c in chords][:4] == ["I", "vi7", "IV7", "V7"]
    assert all(c.confidence > 0.7 for c in chords)
