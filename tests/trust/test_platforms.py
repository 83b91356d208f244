"""Other systems, as far as they can be played here: where data lies, and a Python without the modules of POSIX."""

from __future__ import annotations

import importlib
import os
import subprocess
import sys
from pathlib import Path

import platformdirs
import pytest

from tutor.store import folder

_WITHOUT = """
import asyncio, importlib, multiprocessing, pkgutil, subprocess, sys, tempfile
import textual.app, textual.drivers.headless_driver, textual.widgets
for name in ("resource", "fcntl", "termios", "tty", "pty", "pwd", "grp", "posix", "syslog"):
    sys.modules[name] = None  # as where there is no such module
assert not [m for m in sys.modules if m.split(".")[0] in ("tutor", "drills")]
import tutor
for found in pkgutil.walk_packages(tutor.__path__, "tutor."):
    if not found.name.endswith("__main__"):
        importlib.import_module(found.name)
from tutor.__main__ import main
from tutor.score import isolate
assert isolate.peak_bytes.__module__
isolate._limit_memory(1 << 40)
assert main(["songs"]) == 0
"""


@pytest.mark.parametrize(
    ("system", "where"),
    [
        ("windows.Windows", "C:/Users/Ada/AppData/Local/larkstair"),
        ("macos.MacOS", "/home/ada/Library/Application Support/larkstair"),
        ("unix.Unix", "/home/ada/.local/share/larkstair"),
    ],
)
def test_data_lies_where_the_system_wants_it(system: str, where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LARKSTAIR_HOME", raising=False)
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    monkeypatch.setenv("HOME", "/home/ada")
    local = {"CSIDL_LOCAL_APPDATA": "C:/Users/Ada/AppData/Local"}  # what Windows itself answers
    monkeypatch.setattr("platformdirs.windows.get_win_folder", local.__getitem__)
    module, name = system.split(".")
    kind = getattr(importlib.import_module(f"platformdirs.{module}"), name)
    monkeypatch.setattr(platformdirs, "user_data_path", lambda *words, **more: kind(*words, **more).user_data_path)
    assert folder.data_folder() == Path(where)


def test_a_folder_of_ones_own_goes_before_the_systems(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", "/home/ada")
    monkeypatch.setenv("LARKSTAIR_HOME", "~/larkstair-data")
    assert folder.data_folder() == Path("/home/ada/larkstair-data")
    monkeypatch.setenv("LARKSTAIR_HOME", "~nobody-of-this-name/x")
    assert folder.data_folder() == Path("~nobody-of-this-name/x")


def test_the_program_loads_where_posix_is_missing(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", _WITHOUT], capture_output=True, text=True, check=False,
        env={**os.environ, "LARKSTAIR_HOME": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "slack-water" in done.stdout
