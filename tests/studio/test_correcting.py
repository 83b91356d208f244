"""Corrections from short words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.analysis.invented import chord, key, sounding, table
from tests.score import makers
from tutor.analysis.findings import Corrections
from tutor.analysis.reading import read
from tutor.errors import SidecarError
from tutor.practice.drill import Song
from tutor.practice.material import bars_between
from tutor.score import sidecar
from tutor.score.read import read_score
from tutor.studio.correcting import told, with_analysis, with_chord, with_key, with_section
from tutor.studio.exports import _passage
from tutor.studio.playback import _ACCENT, _clicks
from tutor.tui.correction import corrected
from tutor.tui.songview import bars_of


@pytest.fixture(scope="module")
def song() -> Song:
    spans = [chord(0, 2, "C"), chord(2, 4, "G"), chord(4, 6, "C"), chord(6, 8, "G"), chord(8, 12, "C")]
    one = table("E4:1 G4:1 D4:1 B4:1 E4:1 G4:1 D4:1 B4:1 C5:4", sounding(spans), metre=(2, 4))
    return Song("s", "A Song", one, read(one, Corrections(keys=(key(0, 12),))))


def test_a_beat_that_the_bar_lacks_is_told_and_not_put_into_the_next(song: Song) -> None:
    assert with_chord(Corrections(), song, "2.2=V").chords[0].start == 3.0
    with pytest.raises(SidecarError, match="bar 2 has no beat 3"):
        with_chord(Corrections(), song, "2.3=V")


def test_a_numeral_is_read_in_the_key_that_the_user_named(song: Song) -> None:
    mine = with_key(Corrections(), song, "2-3=A minor")
    assert [c.symbol for c in with_chord(mine, song, "2=V").chords] == ["E"]
    assert [c.symbol for c in with_chord(mine, song, "2=V in F major").chords] == ["C"]
    assert [c.symbol for c in with_chord(mine, song, "4=V").chords] == ["G"]


def test_a_second_correction_leaves_what_stands_beside_it(song: Song) -> None:
    mine = with_key(with_key(Corrections(), song, "1-4=F major"), song, "2-3=A minor")
    assert [(k.start, k.end, k.name) for k in mine.keys] == [
        (0.0, 2.0, "F major"), (2.0, 6.0, "A minor"), (6.0, 8.0, "F major"),
    ]  # fmt: skip
    mine = with_section(with_section(mine, song, "1-4=A"), song, "4-6=B'")
    assert [(s.name, s.start, s.end, s.bars) for s in mine.sections] == [
        ("A", 0.0, 6.0, ("1", "3")), ("B'", 6.0, 12.0, ("4", "6")),
    ]  # fmt: skip


def test_a_key_named_amid_an_analysis_leaves_the_rest_of_its_keys(song: Song, tmp_path: Path) -> None:
    path, analysis = tmp_path / "song.musicxml", tmp_path / "mine.txt"
    analysis.write_text("m1 b1 F: I\nm6 b1 V\n")
    mine = with_key(with_analysis(Corrections(), song, analysis), song, "2-3=A minor")
    sidecar.save(path, song.table, mine)
    kept = sidecar.load(path, song.table)
    assert [(k.start, k.end, k.name) for k in kept.keys] == [
        (0.0, 2.0, "F major"), (2.0, 6.0, "A minor"), (6.0, 12.0, "F major"),
    ]  # fmt: skip
    sidecar.details_path(path).write_text("form = 1\n")
    assert [(k.start, k.end, k.name) for k in sidecar.load(path, song.table).keys] == [(0.0, 12.0, "F major")]


def test_a_key_in_the_file_is_laid_over_those_of_the_analysis(song: Song, tmp_path: Path) -> None:
    path = tmp_path / "song.musicxml"
    sidecar.harmony_path(path).write_text("m1 b1 F: I\nm6 b1 V\n")
    sidecar.details_path(path).write_text('[[key]]\ntonic = "A"\nmode = "minor"\nfrom = ["2", 1]\nto = ["4", 1]\n')
    assert [(k.start, k.end, k.name) for k in sidecar.load(path, song.table).keys] == [
        (0.0, 2.0, "F major"), (2.0, 6.0, "A minor"), (6.0, 12.0, "F major"),
    ]  # fmt: skip


@pytest.mark.parametrize("beat", ["2.33", "2.3333", "2.333333"])
def test_a_rounded_third_of_a_beat_means_the_chord_that_begins_there(song: Song, beat: str) -> None:
    thirds = (chord(0, 1.333333, "C"), chord(1.333333, 2, "G"), *song.reading.chords[1:])
    split = replace(song, reading=replace(song.reading, chords=thirds))
    (found,) = with_chord(Corrections(), split, f"1.{beat}=IV").chords
    assert (found.start, found.end, found.symbol) == (1.333333, 2, "F")


def test_a_chord_corrected_at_the_end_says_nothing_of_the_key(song: Song, tmp_path: Path) -> None:
    path = tmp_path / "song.musicxml"
    mine = with_chord(Corrections(), song, "5=IV in F major")
    assert mine.chords[0].end == song.table.length_quarters
    sidecar.save(path, song.table, mine)
    assert sidecar.load(path, song.table).keys == ()


def test_an_analysis_with_a_pause_brings_its_keys_too(song: Song, tmp_path: Path) -> None:
    analysis = tmp_path / "mine.txt"
    analysis.write_text("m1 b1 F: I\nm3 NC\nm4 d: i\n")
    found = with_analysis(Corrections(), song, analysis)
    assert [(k.start, k.end, k.name) for k in found.keys] == [(0.0, 4.0, "F major"), (6.0, 12.0, "D minor")]


@pytest.fixture(scope="module")
def split() -> Song:
    """Bars 1 to 3 with an up-beat, of which the second is split at a repeat: its rest is numbered 'X1' in the file."""
    tune = [makers.note(p, lyric="la") for p in ("C5", "E5", "G5", "C5")]
    below = makers.note("C3", 3), makers.note("G2")
    back = '<repeat direction="backward"/>'
    voice = [
        makers.bar(0, makers.attributes(), tune[0], implicit=True), makers.bar(1, *tune),
        makers.bar(2, *tune[:3], right=back), makers.bar("X1", tune[3], implicit=True), makers.bar(3, *tune),
    ]  # fmt: skip
    piano = [
        makers.bar(0, makers.attributes(), makers.note("r"), implicit=True), makers.bar(1, *below),
        makers.bar(2, below[0], right=back), makers.bar("X1", below[1], implicit=True), makers.bar(3, *below),
    ]  # fmt: skip
    one = read_score(makers.score([("Voice", voice), ("Piano", piano)]).encode(), "split.musicxml")
    return Song("s", "A Split Song", one, read(one))


def test_a_split_bar_is_one_bar_to_who_names_it(split: Song, tmp_path: Path) -> None:
    assert {b for s in split.reading.form.sections for b in s.bars} <= {"0", "1", "2", "3"}
    mine = with_chord(with_chord(Corrections(), split, "2=vi"), split, "2.4=V")
    assert [(c.start, c.bar, c.beat, c.figure) for c in mine.chords] == [(5.0, "2", 1.0, "vi"), (8.0, "2", 4.0, "V")]
    assert with_chord(Corrections(), split, "X1=V").chords == mine.chords[1:], "as the file calls it"
    assert with_chord(Corrections(), split, "2#2=V").chords == mine.chords[1:], "as the second of its number"
    with pytest.raises(SidecarError, match="bar 2 has no beat 5"):
        with_chord(Corrections(), split, "2.5=V")
    mine = with_section(with_key(mine, split, "1-2=A minor"), split, "2=B")
    assert [(k.start, k.end) for k in mine.keys] == [(1.0, 9.0)]
    assert [(s.start, s.end, s.bars) for s in mine.sections] == [(5.0, 9.0, ("2", "2"))]
    path = tmp_path / "split.musicxml"
    sidecar.save(path, split.table, mine)
    assert sidecar.load(path, split.table) == mine
    sidecar.details_path(path).write_text(
        'form = 1\n[[key]]\ntonic = "F"\nmode = "major"\nfrom = ["X1", 1]\nto = "end"\n'
    )
    assert [(k.start, k.end) for k in sidecar.load(path, split.table).keys] == [(8.0, 13.0)]


def test_what_is_corrected_is_told_with_its_bars(split: Song) -> None:
    mine = with_section(with_key(with_chord(Corrections(), split, "2.4=V"), split, "1-2=A minor"), split, "2=B'")
    assert list(told(replace(mine, voice_part="P1"), split.table)) == [
        "key     bars 1 to 2: A minor",
        "chord   bar 2, beat 4: V in C major (G)",
        "section bar 2: B'",
        "sung    P1",
    ]
    assert list(told(Corrections(), split.table)) == ["Nothing is corrected: the engine's reading stands."]


def test_an_analysis_counts_the_beats_of_a_split_bar_through(split: Song, tmp_path: Path) -> None:
    path = tmp_path / "split.rntxt"
    path.write_text("m0 b4 C: I\nm1 V\nm2 I b4 V7\nm3 I\n")
    read_there = with_analysis(Corrections(), split, path).chords
    assert [(c.start, c.end, c.figure) for c in read_there][2:] == [(5.0, 8.0, "I"), (8.0, 9.0, "V7"), (9.0, 13.0, "I")]


def test_the_rest_of_a_split_bar_is_heard_shown_and_corrected_at_its_beat(split: Song, tmp_path: Path) -> None:
    bars = bars_of(split)
    assert [(b.number, b.beat) for b in bars] == [("0", 1.0), ("1", 1.0), ("2", 1.0), ("2", 4.0), ("3", 1.0)]
    assert corrected(Corrections(), split, "V", bars[3].number, bars[3].beat).chords[0].start == 8.0
    assert corrected(Corrections(), split, "V", bars[2].number, bars[2].beat).chords[0].start == 5.0
    strong = [t.onset_quarters for t in _clicks(split.table, 0.0, 13.0) if t.pitch == _ACCENT]
    assert strong == [1.0, 5.0, 9.0]
    assert max(t.end_quarters for t in _passage(split, ("1", "2")).tones) == 8.0
    assert bars_between(split.table, 8.0, 9.0)[0].number == "2"
