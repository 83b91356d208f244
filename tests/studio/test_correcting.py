"""Corrections from short words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.analysis.invented import chord, key, sounding, table
from tutor.analysis.findings import Corrections
from tutor.analysis.reading import read
from tutor.errors import SidecarError
from tutor.practice.drill import Song
from tutor.score import sidecar
from tutor.studio.correcting import with_analysis, with_chord, with_key, with_section


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
    sidecar.details_path(path).write_text(sidecar.details_path(path).read_text().split("[[key]]")[0])
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
