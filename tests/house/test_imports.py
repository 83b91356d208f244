"""The front door stays light: what must not be loaded at start is not loaded."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("music21", "sounddevice", "rtmidi", "miniaudio", "mido", "scipy")


def loaded_after(statement: str, names: tuple[str, ...]) -> list[str]:
    code = f"{statement}\nimport sys\nprint([n for n in {names!r} if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return [name for name in names if f"'{name}'" in done.stdout]


@pytest.mark.parametrize("module", ["tutor.tui.app", "tutor.studio"])
def test_start_loads_no_heavy_library(module: str) -> None:
    assert loaded_after(f"import {module}", HEAVY) == []


def test_the_first_screen_waits_for_no_part_of_the_program_but_itself() -> None:
    later = ("numpy", "sqlite3", "tutor.analysis", "tutor.practice", "tutor.sound", "tutor.studio", "tutor.warmup")
    assert loaded_after("import tutor.__main__, tutor.tui.app", later) == []


def test_command_line_works_without_textual() -> None:
    assert loaded_after("import tutor.__main__, tutor.studio", ("textual", *HEAVY)) == []


def test_the_check_itself_can_fail() -> None:
    assert loaded_after("import mido", HEAVY) == ["mido"]
