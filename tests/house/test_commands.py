"""The command line as a user types it: what it prints, and one clear line with exit code 2 when input is bad."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tutor import __version__
from tutor.__main__ import main
from tutor.lessons import bundled_songs

SONG = bundled_songs()[0].name


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LARKSTAIR_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["--version"])
    assert capsys.readouterr().out == f"larkstair {__version__}\n"


def test_read_for_a_person(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", SONG]) == 0
    out = capsys.readouterr().out
    for heading in ("FORM", "KEYS", "CHORDS", "BORROWED TONES", "WHAT COMES BACK", "RUBS", "VOICE"):
        assert heading in out
    assert max(map(len, out.splitlines())) <= 100


def test_read_for_a_program_is_the_same_byte_for_byte(capsys: pytest.CaptureFixture[str]) -> None:
    main(["read", SONG, "--json"])
    first = capsys.readouterr().out
    main(["read", SONG, "--json"])
    assert capsys.readouterr().out == first
    reading = json.loads(first)
    assert reading["schema"] == 1
    assert {
        "song",
        "order",
        "keys",
        "chords",
        "borrowed",
        "melody",
        "form",
        "returns",
        "rubs",
        "bassline",
        "voice",
    } <= set(reading)


def test_warmup_shows_the_caution_and_the_bar(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["warmup", SONG, "--minutes", "12", "--voice", "soprano"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "not a diagnosis" in out
    assert "laryngologist" in out
    assert "Because" in out
    assert " bar " in out


def test_warmup_heeds_what_it_is_told_of_voice_and_day(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["warmup", SONG, "--voice", "soprano", "--low", "B3", "--high", "C6", "--passaggi", "F4", "E5"]
    words += ["--last-sang", "15", "--recording-in", "9", "--above", "1", "--minutes", "12", "--json"]
    assert main(words) == 0
    plan = json.loads(capsys.readouterr().out)
    assert (plan["bottom"], plan["today_top"]) == (59, 84), "a semitone above, and one taken back after two weeks"
    assert plan["transitions"] == [65, 76]
    assert plan["minutes"] == 9
    assert any("15 days" in n for n in plan["notes"])


def test_warmup_for_a_hoarse_voice_is_no_plan(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["warmup", SONG, "--voice", "soprano", "--feel", "hoarse"]) == 0
    out = capsys.readouterr().out
    assert "laryngologist" in out
    assert "Because" not in out


def test_songs_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["songs"]) == 0
    assert SONG in capsys.readouterr().out


def test_everything_moves(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["read", SONG])
    assert main(["export", str(tmp_path / "all.larkstair")]) == 0
    assert main(["import", str(tmp_path / "all.larkstair")]) == 0
    assert "brought in" in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [
        ["read", "no-such-file.musicxml"],
        ["warmup", "."],
        ["read", "\x1b[31mred.xml"],
        ["read", "~nobody-of-this-name/song.xml"],
        ["read", "long" * 2000],
        ["read", "nul\0name.xml"],
        ["assignment", "~nobody-of-this-name/a.toml"],
        ["quiz", "page", "~nobody-of-this-name/q.json", "--out", "x"],
        ["quiz", "page", "nul\0name.json", "--out", "x"],
        ["quiz", "gather", "long" * 2000, "x"],
        ["import", "nul\0name"],
        ["import", "long" * 2000],
        ["warmup", SONG, "--minutes", "500"],
        ["warmup", SONG, "--high", "H9"],
        ["warmup", SONG, "--low", "C5", "--high", "D5"],
        ["warmup", SONG, "--minutes", "nan"],
        ["warmup", SONG, "--above", "3"],
        ["warmup", SONG, "--last-sang", "-1"],
        ["warmup", SONG, "--recording-in", "inf"],
        ["warmup", SONG, "--recording-in", "-5"],
        ["warmup", SONG, "--passaggi", "D4", "H4"],
        ["warmup", SONG, "--passaggi", "G4", "D4"],
        ["warmup", SONG, "--out", "~nobody-here/plan.md"],
        ["import", "no-such-file"],
        ["export", "no/such/folder/file"],
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    _refused(words, capsys)


def _refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """The one line with which a command ends that cannot go on."""
    assert main(words) == 2, words
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith("larkstair: ")
    assert told.err.count("\n") == 1
    assert "\x1b" not in told.err
    return told.err.removeprefix("larkstair: ").removesuffix("\n")


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    """A song of the user's own, in a folder of its own."""
    song = tmp_path / "songs" / "mine.musicxml"
    song.parent.mkdir()
    song.write_bytes(bundled_songs()[0].file.read_bytes())
    return song


def test_damaged_corrections_are_told_and_left_as_they_are(
    mine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    song, beside = str(mine), mine.with_name("mine.musicxml.toml")
    beside.write_text("form = = 1")
    asked = (
        ["read", song, "--json"], ["compare", SONG, song], ["warmup", song], ["correct", song, "--chord", "2=V"],
        ["correct", song, "--forget"], ["quiz", "make", song, "--out", str(tmp_path / "quiz")],
    )  # fmt: skip
    for words in asked:
        told = _refused(words, capsys)
        assert told.startswith(f"{beside}: the corrections cannot be read")
        assert told.endswith("Mend the file or move it away.")
        assert beside.read_text() == "form = = 1"
    beside.unlink()
    harmony = mine.with_name("mine.musicxml.rntxt")
    harmony.write_text("m1 b1 C: I\nm2 nonsense\n")
    assert main(["read", str(mine.parent)]) == 2
    told_both = capsys.readouterr()
    assert told_both.out == ""
    assert f"larkstair: {harmony}, line 2: " in told_both.err


@pytest.mark.parametrize("ending", ["rntxt", "toml"])
def test_corrections_cut_short_are_told_and_left_as_they_are(
    mine: Path, ending: str, capsys: pytest.CaptureFixture[str]
) -> None:
    song, file = str(mine), mine.with_name(f"mine.musicxml.{ending}")
    assert main(["correct", song, "--chord", "2=V", "--chord", "5=IV", "--key", "3-4=D minor"]) == 0
    capsys.readouterr()
    whole = file.read_text()
    half = "".join(whole.splitlines(keepends=True)[: whole.count("\n") // 2])
    file.write_text(half)
    for words in (["read", song], ["correct", song, "--chord", "9=V"]):
        told = _refused(words, capsys)
        assert told.startswith(f"{file}: the corrections were cut short: ")
        assert told.endswith("or move the file away.")
        assert file.read_text() == half
    file.write_text(whole)
    assert main(["read", song]) == 0


def test_a_broken_store_does_not_stop_a_reading(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    home.write_text("a file where the folder should be")
    assert main(["read", SONG]) == 0
    told = capsys.readouterr()
    assert "Going on without it" in told.err
    assert "FORM" in told.out


def test_no_terminal_is_told() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tutor"], stdin=subprocess.DEVNULL, capture_output=True, text=True, env=dict(os.environ)
    )
    assert done.returncode == 2
    assert "needs a terminal" in done.stderr


def test_a_closed_pipe_is_quiet() -> None:
    done = subprocess.run(
        f"{sys.executable} -m tutor read {SONG} --json | head -c 10", shell=True, capture_output=True, text=True
    )
    assert done.stderr == ""


@pytest.mark.parametrize(
    "line", [["--silent", "open", "x"], ["open", "--silent", "x"], ["--silent", "assignment", "x"]]
)
def test_silence_may_be_asked_for_before_or_after_the_command(line: list[str]) -> None:
    from tutor.__main__ import _parser

    assert _parser().parse_args(line).silent
    assert not _parser().parse_args(["open", "x"]).silent


def test_an_output_that_knows_no_musical_signs_gets_question_marks() -> None:
    plain = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = subprocess.run([sys.executable, "-m", "tutor", "songs"], capture_output=True, env=plain, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.isascii()
    assert b"?" in done.stdout
