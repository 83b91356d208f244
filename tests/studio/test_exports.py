"""A whole warm-up, and passages of songs, written to files."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import mido
import numpy as np
import pytest

from tutor.errors import TutorError
from tutor.lessons import bundled_songs
from tutor.music.voice import SingerProfile
from tutor.practice.drill import Song
from tutor.sound.ports import RATE, Samples
from tutor.sound.synth import Sounds
from tutor.studio import Studio
from tutor.studio.exports import write_passage, write_plan
from tutor.warmup.model import Plan


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    here = Studio.open(tmp_path_factory.mktemp("data"), silent_ports=True)
    tenor = next(b for b in bundled_songs() if b.voice == "tenor")
    here.keep_singer(SingerProfile.default("Ada", "tenor"))
    given = here.warmup(here.open_song(tenor.name), minutes=8)
    here.close()
    assert isinstance(given, Plan)
    return given


@pytest.mark.parametrize("ending", [".html", ".md"])
def test_pages_carry_the_caution(plan: Plan, tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"warmup{ending}"
    write_plan(plan, path)
    text = " ".join(path.read_text(encoding="utf-8").split())
    assert "not a diagnosis" in text
    assert "<script" not in text


def test_minutes_of_compressed_sound(plan: Plan, tmp_path: Path) -> None:
    soundfile = pytest.importorskip("soundfile")
    path = tmp_path / "warmup.ogg"
    write_plan(plan, path)
    about = soundfile.info(str(path))
    assert about.duration == pytest.approx(plan.seconds, abs=4.0)


def test_midi(plan: Plan, tmp_path: Path) -> None:
    path = tmp_path / "warmup.mid"
    write_plan(plan, path)
    assert path.read_bytes()[:4] == b"MThd"


def test_nothing_is_overwritten_and_endings_are_known(plan: Plan, tmp_path: Path) -> None:
    (tmp_path / "mine.md").write_text("mine")
    with pytest.raises(TutorError, match="already"):
        write_plan(plan, tmp_path / "mine.md")
    with pytest.raises(TutorError, match=r"\.wav"):
        write_plan(plan, tmp_path / "warmup.xyz")


@pytest.fixture(scope="module")
def counted() -> Song:
    """A bundled song that counts its bars."""
    with closing(Studio.open(silent_ports=True, in_memory=True, seed=1)) as studio:
        return studio.open_song("ebb-counting")


def test_a_passage_is_written_in_its_bars_lines_key_and_tempo(counted: Song, tmp_path: Path) -> None:
    whole, moved = tmp_path / "whole.mid", tmp_path / "moved.mid"
    write_passage(counted, whole, bars=("3", "4"))
    write_passage(counted, moved, bars=("3", "4"), semitones=-2, tempo=0.5, mute=("voice",))
    as_printed, changed = mido.MidiFile(whole), mido.MidiFile(moved)
    assert changed.length == pytest.approx(2 * as_printed.length, rel=0.1)
    assert [t.name for t in as_printed.tracks[1:]] == ["voice", "upper", "lower"]
    assert [t.name for t in changed.tracks[1:]] == ["upper", "lower"]

    def keys(file: mido.MidiFile) -> list[int]:
        return [m.note for m in file.tracks[-1] if m.type == "note_on"]

    assert keys(changed) == [k - 2 for k in keys(as_printed)]


def test_a_passage_is_played_with_the_chosen_sounds(counted: Song, tmp_path: Path) -> None:
    asked: list[int] = []

    class Told:
        name = "told"

        def note(self, midi: int, held_s: float, velocity: float, rate: int = RATE) -> Samples:
            """Silence."""
            asked.append(midi)
            return np.zeros(100, dtype=np.float32)

    write_passage(counted, tmp_path / "a.wav", bars=("3", "3"), sounds=Sounds(piano=Told(), voice=Told()))
    assert asked


@pytest.mark.parametrize(("bars", "words"), [(("3", "900"), "no bar 900"), (("4", "3"), "comes before")])
def test_bars_that_are_not_there_are_told(counted: Song, tmp_path: Path, bars: tuple[str, str], words: str) -> None:
    with pytest.raises(TutorError, match=words):
        write_passage(counted, tmp_path / "a.wav", bars=bars)
    (tmp_path / "b.wav").write_text("mine")
    with pytest.raises(TutorError, match="already"):
        write_passage(counted, tmp_path / "b.wav")
