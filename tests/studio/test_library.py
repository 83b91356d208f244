"""Songs: read once, opened from the cache, corrected beside the file."""

from __future__ import annotations

import subprocess
import sys
import threading
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.studio.test_naming_the_voice import SCORE
from tutor.errors import ScoreError, SidecarError
from tutor.lessons import bundled_songs
from tutor.studio import Studio

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


def studio(folder: Path) -> Studio:
    return Studio.open(folder, silent_ports=True, clock=lambda: NOW, seed=5)


@pytest.fixture(scope="module")
def song_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A song of the user's own: a copy of a bundled one under another name."""
    path = tmp_path_factory.mktemp("songs") / "mine.musicxml"
    path.write_bytes(bundled_songs()[0].file.read_bytes())
    return path


def test_a_bundled_song_is_read_and_listed(tmp_path: Path) -> None:
    here = studio(tmp_path)
    assert all(card.bundled for card in here.songs())
    song = here.open_song(bundled_songs()[0].name)
    assert song.title == bundled_songs()[0].title
    assert song.reading.chords
    first = here.songs()[0]
    assert (first.id, first.bundled, first.opened_at) == (song.id, True, NOW)
    assert len(here.songs()) == len(bundled_songs())
    here.close()


def test_a_cached_song_opens_equal_without_the_score_reader(tmp_path: Path, song_file: Path) -> None:
    here = studio(tmp_path)
    first = here.open_song(song_file)
    here.close()
    again = studio(tmp_path)
    assert again.library.get(first.id) == first
    again.close()
    code = (
        "import sys; from pathlib import Path; from tutor.studio import Studio\n"
        f"s = Studio.open(Path({str(tmp_path)!r}), silent_ports=True)\n"
        f"s.open_song({str(song_file)!r}); s.close()\n"
        "print('music21' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"


def test_a_correction_is_kept_beside_the_song_and_marked(tmp_path: Path, song_file: Path) -> None:
    here = studio(tmp_path / "data")
    song = here.open_song(song_file)
    before = song_file.read_bytes()
    chord = next(c for c in song.reading.chords if c.bar == "4")
    mine = replace(chord, root="D", quality="minor", bass="D", inversion=0, figure="vi", symbol="Dm", corrected=True)
    corrected = here.library.correct(song, replace(here.library.corrections(song), chords=(mine,)))
    read = next(c for c in corrected.reading.chords if c.start == chord.start)
    assert (read.figure, read.corrected, read.confidence) == ("vi", True, 1.0)
    assert corrected.reading.corrected
    assert song_file.read_bytes() == before
    here.close()
    again = studio(tmp_path / "data").open_song(song_file)
    assert again.reading == corrected.reading


def test_a_broken_correction_is_left_out_and_said(tmp_path: Path) -> None:
    path = tmp_path / "mine.musicxml"
    path.write_bytes(bundled_songs()[0].file.read_bytes())
    (tmp_path / "mine.musicxml.toml").write_text("this is = = no toml")
    song = studio(tmp_path / "data").open_song(path)
    assert "corrections were left out" in song.reading.warnings[0], "before whatever else is to be said"


def test_a_broken_correction_is_never_written_over(tmp_path: Path) -> None:
    path, beside = tmp_path / "mine.musicxml", tmp_path / "mine.musicxml.toml"
    path.write_bytes(bundled_songs()[0].file.read_bytes())
    here = studio(tmp_path / "data")
    song = here.open_song(path)
    mine = here.library.corrections(song)
    beside.write_text("this is = = no toml")
    for given in (mine, replace(mine, sections=(replace(song.reading.form.sections[0], corrected=True),))):
        with pytest.raises(SidecarError, match="move it away"):
            here.library.correct(song, given)
        assert beside.read_text() == "this is = = no toml"
    here.close()


def test_a_broken_correction_is_said_where_the_song_cannot_be_opened_without_it(tmp_path: Path) -> None:
    path, beside = tmp_path / "piano.musicxml", tmp_path / "piano.musicxml.toml"
    path.write_text(SCORE)
    beside.write_text('[voice]\npart = "P1"\n')
    studio(tmp_path / "data").open_song(path)
    beside.write_text('[voice]\npart = "P1\n')
    with pytest.raises(SidecarError, match=r"piano\.musicxml\.toml"):
        studio(tmp_path / "data").open_song(path)


def test_what_was_said_of_a_broken_correction_is_not_said_once_it_is_mended(tmp_path: Path) -> None:
    path, beside = tmp_path / "mine.musicxml", tmp_path / "mine.musicxml.toml"
    path.write_bytes(bundled_songs()[0].file.read_bytes())
    for broken in ("this is = = no toml", "form = 99"):
        beside.write_text(broken)
        here = studio(tmp_path / "data")
        said = [w for w in here.open_song(path).reading.warnings if "left out" in w]
        here.close()
        assert len(said) == 1
    beside.unlink()
    assert not any("left out" in w for w in studio(tmp_path / "data").open_song(path).reading.warnings)


@pytest.mark.parametrize(("name", "content"), [("none.xml", None), ("empty.xml", b""), ("text.musicxml", b"hello")])
def test_what_is_no_song_is_told_in_one_line(tmp_path: Path, name: str, content: bytes | None) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    here = studio(tmp_path / "data")
    with pytest.raises(ScoreError) as caught:
        here.open_song(tmp_path / name)
    assert name in caught.value.line
    assert "\n" not in caught.value.line
    assert [c for c in here.songs() if not c.bundled] == []
    here.close()


def test_reading_can_be_stopped(tmp_path: Path, song_file: Path) -> None:
    stop = threading.Event()
    stop.set()
    with pytest.raises(ScoreError, match="stopped"):
        studio(tmp_path / "data").open_song(song_file, stop=stop)
