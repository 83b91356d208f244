"""Bundled songs show what their composer meant, and say so."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from tutor.lessons import BundledSong, bundled_songs
from tutor.score.read import read_score
from tutor.studio import Studio, correcting
from tutor.studio.composers import NOTE, composers_reading


@pytest.mark.parametrize("song", bundled_songs(), ids=lambda s: s.name)
def test_the_truth_file_fits_the_song(song: BundledSong) -> None:
    table = read_score(song.file.read_bytes(), song.file.name)
    meant = composers_reading(song, table)
    assert meant.chords[0].start == 0
    assert meant.chords[-1].end == table.length_quarters
    assert all(a.end == b.start for a, b in zip(meant.chords, meant.chords[1:], strict=False))
    assert song.truth is not None
    sections = tomllib.loads(song.truth.read_text(encoding="utf-8"))["form"]["sections"]
    assert [s.label for s in meant.sections if s.label.isupper()] == [s.split()[0] for s in sections]
    assert (meant.sections[0].start, meant.sections[-1].end) == (0, table.length_quarters)


def test_the_reading_is_the_composers_and_says_so(tmp_path: Path) -> None:
    here = Studio.open(tmp_path, silent_ports=True)
    song = here.open_song("ebb-counting")
    assert song.reading.keys[0].name == "D minor"
    assert [s.label for s in song.reading.form.sections if s.label.isupper()] == ["A", "A", "A"]
    assert NOTE in song.reading.warnings
    assert here.library.get(song.id) == song
    here.close()


def test_a_correction_stands_over_the_composers_reading(tmp_path: Path) -> None:
    here = Studio.open(tmp_path, silent_ports=True)
    song = here.open_song("ebb-counting")
    mine = correcting.with_chord(here.library.corrections(song), song, "5.1=iv6")
    corrected = here.library.correct(song, mine).reading
    there = [c for c in corrected.chords if c.bar == "5"]
    assert there[0].figure == "iv6"
    assert [c.figure for c in corrected.chords if c.bar == "6"] == ["VII", "i"]
    assert [s.label for s in corrected.form.sections if s.label.isupper()] == ["A", "A", "A"]
    here.close()


def test_a_section_of_the_users_leaves_the_composers_beside_it(tmp_path: Path) -> None:
    here = Studio.open(tmp_path, silent_ports=True)
    song = here.open_song("ebb-counting")
    before = {s.start: s for s in song.reading.form.sections}
    first = next(s for s in before.values() if s.label == "A")
    mine = correcting.with_section(here.library.corrections(song), song, "5-6=B")
    found = here.library.correct(song, mine).reading.form.sections
    assert [(s.label, s.bars) for s in found if s.start < first.end] == [
        *((s.label, s.bars) for s in before.values() if s.start < first.start),
        ("A", (first.bars[0], "4")), ("B", ("5", "6")), ("A", ("7", first.bars[1])),
    ]  # fmt: skip
    assert all(s.corrected for s in found)
    here.close()
