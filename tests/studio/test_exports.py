"""A whole warm-up written to files."""

from __future__ import annotations

from pathlib import Path

import pytest

from tutor.errors import TutorError
from tutor.lessons import bundled_songs
from tutor.music.voice import SingerProfile
from tutor.studio import Studio
from tutor.studio.exports import write_plan
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
