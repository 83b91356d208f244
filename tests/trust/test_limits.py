"""The reader's own watch over time and memory, on this system and on the others as far as they can be played here."""

from __future__ import annotations

import ctypes
import subprocess
import sys
import time
from types import SimpleNamespace
from typing import Any

import pytest

from tutor.score import isolate


def ended(code: str) -> tuple[int, float]:
    """Exit code of a child that runs some code, and its seconds."""
    started = time.monotonic()
    done = subprocess.run([sys.executable, "-c", f"from tutor.score import isolate\n{code}"], timeout=60, check=False)
    return done.returncode, time.monotonic() - started


def test_a_library_that_never_comes_back_is_ended_in_time() -> None:
    # This match would take longer than the world has stood, and lets no other thread of Python run.
    code, seconds = ended("import re\nisolate._limit_time(0.3)\nre.match('(a+)+$', 'a' * 64 + 'b')")
    assert code == isolate._LATE
    assert seconds < 10


def test_a_reader_that_takes_all_memory_is_ended_by_its_own_watch() -> None:
    code, _ = ended(
        "import time, threading\n"
        "threading.Thread(target=isolate._watch_memory, args=(120_000_000,), daemon=True).start()\n"
        "held = []\n"
        "while True:\n    held.append(bytearray(b'x' * 10_000_000)); time.sleep(0.01)\n"
    )
    assert code == isolate._FULL


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such limits")
def test_the_system_bounds_memory_too() -> None:
    code, _ = ended(
        "isolate._watch_memory = lambda most: None\nisolate._limit_memory(400_000_000)\n"
        "try:\n    bytearray(500_000_000)\nexcept MemoryError:\n    raise SystemExit(9) from None\n"
    )
    assert code == 9


def test_memory_is_bounded_where_the_system_has_no_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    watched: list[int] = []
    monkeypatch.setitem(sys.modules, "resource", None)  # as on Windows
    monkeypatch.setattr(isolate, "_watch_memory", watched.append)
    isolate._limit_memory(123)
    deadline = time.monotonic() + 5
    while not watched and time.monotonic() < deadline:
        time.sleep(0.01)
    assert watched == [123]


def test_peak_memory_is_told_in_bytes_on_every_system(monkeypatch: pytest.MonkeyPatch) -> None:
    assert 10_000_000 < isolate.peak_bytes() < 64_000_000_000
    usage = SimpleNamespace(RUSAGE_SELF=0, getrusage=lambda _: SimpleNamespace(ru_maxrss=5_000))
    monkeypatch.setitem(sys.modules, "resource", usage)
    monkeypatch.setattr(sys, "platform", "linux")
    assert isolate.peak_bytes() == 5_000 * 1024
    monkeypatch.setattr(sys, "platform", "darwin")
    assert isolate.peak_bytes() == 5_000


def test_peak_memory_on_windows(monkeypatch: pytest.MonkeyPatch) -> None:
    def told(process: Any, into: Any, size: int) -> int:
        assert size == ctypes.sizeof(into._obj) == 72
        into._obj.sizes[7] = 77_000_000
        return 1

    def process() -> int:
        return 2**64 - 1  # the handle of the process itself

    kernel = SimpleNamespace(GetCurrentProcess=process, K32GetProcessMemoryInfo=told)
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setattr(ctypes, "windll", SimpleNamespace(kernel32=kernel), raising=False)
    assert isolate.peak_bytes() == 77_000_000
    kernel.K32GetProcessMemoryInfo = lambda *_: 0
    assert isolate.peak_bytes() == 0
    monkeypatch.delattr(ctypes, "windll")
    assert isolate.peak_bytes() == 0
