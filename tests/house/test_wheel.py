"""The wheel, in fresh environments: version, a reading of a bundled song, a headless start of the app."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PYTHONS = [sys.executable, *filter(None, os.environ.get("LARKSTAIR_PYTHONS", "").split(os.pathsep))]
HEADLESS = """
import asyncio
from tutor.studio import Studio
from tutor.tui.app import LarkstairApp

async def main():
    app = LarkstairApp(Studio.open(silent_ports=True))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        print(type(app.screen).__name__)

asyncio.run(main())
"""

pytestmark = pytest.mark.wheel


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the source package and the wheel made from it."""
    out = tmp_path_factory.mktemp("built")
    subprocess.run([sys.executable, "-m", "build", "--outdir", str(out), str(ROOT)], check=True)
    return out


@pytest.fixture(scope="module")
def wheel(built: Path) -> Path:
    return next(built.glob("*.whl"))


def files_in(*folders: str) -> set[str]:
    """What git holds of some folders, but for the tests' own."""
    listed = subprocess.run(["git", "ls-files", "-z", *folders], cwd=ROOT, capture_output=True, text=True, check=True)
    return {name for name in listed.stdout.split("\0") if name}


def test_wheel_carries_code_drills_and_lessons_and_nothing_else(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    own = {n for n in names if ".dist-info/" not in n}
    assert own == files_in("tutor", "drills", "lessons")
    assert any(n.startswith("lessons/songs/") and n.endswith(".musicxml") for n in own)
    assert {"tutor/__main__.py", "tutor/py.typed"} & own


def test_source_package_carries_what_is_needed_to_test_it(built: Path) -> None:
    with tarfile.open(next(built.glob("*.tar.gz"))) as source:
        names = {n.partition("/")[2] for n in source.getnames()}
    wanted = files_in("tutor", "drills", "lessons", "tests", "README.md", "DEVELOPERS.md", "pyproject.toml")
    assert wanted <= names
    assert names - wanted <= {"PKG-INFO", ".gitignore", ""}


@pytest.mark.parametrize("python", PYTHONS)
def test_wheel_runs(wheel: Path, python: str, tmp_path: Path) -> None:
    subprocess.run([python, "-m", "venv", str(tmp_path / "env")], check=True)
    home = tmp_path / "home"
    env = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")} | {
        "LARKSTAIR_HOME": str(home)
    }

    def inside(*command: str) -> str:
        done = subprocess.run(
            [str(tmp_path / "env" / "bin" / command[0]), *command[1:]],
            capture_output=True, text=True, env=env, cwd=tmp_path,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    inside("python", "-m", "pip", "install", "-q", "--disable-pip-version-check", str(wheel))
    assert inside("larkstair", "--version").startswith("larkstair ")
    song = inside("python", "-c", "from tutor.lessons import bundled_songs; print(bundled_songs()[0].name)").strip()
    reading = json.loads(inside("larkstair", "read", song, "--json"))
    assert reading["chords"]
    assert inside("python", "-c", HEADLESS).strip().endswith("Screen")
