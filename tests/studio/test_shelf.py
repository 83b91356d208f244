"""A folder of songs: every score in it read, what cannot be read told, what was read before opened at once."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from tests.studio.test_naming_the_voice import SCORE
from tutor.__main__ import main
from tutor.errors import ScoreError
from tutor.lessons import bundled_songs
from tutor.score import isolate
from tutor.studio import Studio
from tutor.studio.shelf import open_all, scores_in

TUNE = "X:1\nT:Low Gate\nM:4/4\nL:1/4\nK:G\n" + "GABc|d2B2|cBAG|A2D2|GABc|d2B2|cAF2|G4|\n" * 2


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two songs, one of them in a folder of its own, a score that nobody sings, and a damaged one."""
    place = tmp_path / "book"
    (place / "second half").mkdir(parents=True)
    (place / ".old").mkdir()
    (place / "low-gate.abc").write_text(TUNE)
    (place / "second half" / "Ledger.MUSICXML").write_bytes(bundled_songs()[0].file.read_bytes())
    (place / "damaged.xml").write_text("<score-partwise")
    (place / "piano.musicxml").write_text(SCORE)
    (place / ".old" / "hidden.abc").write_text(TUNE)
    (place / "notes.txt").write_text("no score")
    return place


def test_a_folder_is_read_once(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("LARKSTAIR_HOME", str(tmp_path / "home"))
    assert main(["read", str(folder)]) == 2
    told = capsys.readouterr()
    lines = sorted(told.out.splitlines())
    assert [line.split(":")[0] for line in lines] == ["low-gate.abc", "second half/Ledger.MUSICXML"]
    assert "F major" in lines[1]
    assert "larkstair: damaged.xml, line 1: " in told.err
    assert "larkstair: piano.musicxml: no singable line" in told.err
    assert told.err.endswith("larkstair: book: 2 of 4 could not be read. The others are in your library.\n")

    def asked_again(path: Path, **_: object) -> None:
        assert path.name in ("damaged.xml", "piano.musicxml")
        raise ScoreError("still so")

    monkeypatch.setattr(isolate, "read_and_analyse", asked_again)
    main(["read", str(folder)])
    assert sorted(capsys.readouterr().out.splitlines()) == lines
    alone = Studio.open(tmp_path / "home", silent_ports=True)
    kept = alone.open_song(folder / "second half" / "Ledger.MUSICXML")
    alone.library.let_go()
    alone.close()
    elsewhere = Studio.open(tmp_path / "other", silent_ports=True)
    assert elsewhere.open_song(folder / "second half" / "Ledger.MUSICXML").reading == kept.reading
    elsewhere.close()


def test_a_named_part_is_taken_as_sung(folder: Path, tmp_path: Path) -> None:
    here = Studio.open(tmp_path / "home", silent_ports=True)
    here.library.name_voice(folder / "piano.musicxml", "Piano")
    found = list(open_all(here.library, (folder / "piano.musicxml",)))
    assert [f.song is not None for f in found] == [True]
    here.close()


def test_reading_can_be_stopped(folder: Path, tmp_path: Path) -> None:
    here = Studio.open(tmp_path / "home", silent_ports=True)
    stop = threading.Event()
    stop.set()
    found = list(open_all(here.library, scores_in(folder), stop=stop))
    assert [f.trouble.partition(": ")[2] for f in found] == ["reading was stopped."]
    assert all(card.bundled for card in here.songs())
    here.close()


def test_a_folder_without_scores_is_told(tmp_path: Path) -> None:
    with pytest.raises(ScoreError, match="no score in this folder"):
        scores_in(tmp_path)
