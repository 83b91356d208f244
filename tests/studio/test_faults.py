"""Faults: a kill at any moment, a full disk, two copies at once, a clock set back. Nothing shown as kept is lost."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.bench.kills import kill_sessions
from tutor.errors import StoreError
from tutor.practice.drill import Answer
from tutor.studio import Studio

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9")
def test_a_killed_session_loses_no_answer_that_was_shown_as_kept(tmp_path: Path) -> None:
    told = kill_sessions(tmp_path, turns=4, seed=3)
    assert told.lost == 0
    assert told.notices == ()
    assert told.shown > 0


_FULL = """
import resource, signal, sys
from pathlib import Path
from tutor.errors import StoreError
from tutor.practice.drill import Answer
from tutor.studio import Studio
studio = Studio.open(Path(sys.argv[1]), silent_ports=True, seed=1)
studio.rehearsal.begin(studio.singer, count=30)
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
size = sum(f.stat().st_size for f in Path(sys.argv[1]).iterdir())
resource.setrlimit(resource.RLIMIT_FSIZE, (4096 * 20, 4096 * 20))  # files can grow no further: a full disk
kept = 0
try:
    for _ in range(30):
        studio.rehearsal.answer(Answer(), 1.0)
        kept += 1
except StoreError as error:
    print(kept, error.line)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX limits")
def test_a_full_disk_is_told_and_what_was_kept_stays(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, "-c", _FULL, str(tmp_path)], capture_output=True, text=True, check=True)
    count, line = done.stdout.strip().split(" ", 1)
    assert "last change was not kept" in line
    again = Studio.open(tmp_path, silent_ports=True)
    assert again.store.notice == ""
    assert len(again.store.reviews(again.singer.name)) == int(count)
    again.close()


def test_two_copies_at_once(tmp_path: Path) -> None:
    one = Studio.open(tmp_path, silent_ports=True, clock=lambda: NOW, seed=1)
    one.rehearsal.begin(one.singer, count=4)
    two = Studio.open(tmp_path, silent_ports=True, clock=lambda: NOW, seed=2)
    one.rehearsal.answer(Answer(), 1.0)
    two.rehearsal.begin(two.singer, count=4)
    two.rehearsal.answer(Answer(), 1.0)
    one.rehearsal.answer(Answer(), 1.0)
    assert len(one.store.reviews(one.singer.name)) == 3
    one.close()
    two.close()


def test_a_clock_set_back(tmp_path: Path) -> None:
    now = [NOW]
    here = Studio.open(tmp_path, silent_ports=True, clock=lambda: now[0], seed=1)
    here.rehearsal.begin(here.singer, minutes=5)
    for _ in range(3):
        here.rehearsal.answer(Answer(), 1.0)
        now[0] -= timedelta(days=400)
    assert len(here.reviews()) == 3
    here.close()
    again = Studio.open(tmp_path, silent_ports=True, clock=lambda: now[0], seed=1)
    assert again.rehearsal.resume(again.singer) is not None
    again.rehearsal.answer(Answer(), 1.0)
    again.rehearsal.stop()
    again.rehearsal.begin(again.singer, count=3)
    again.close()


def test_a_store_that_cannot_be_opened_is_told(tmp_path: Path) -> None:
    (tmp_path / "home").write_text("")
    with pytest.raises(StoreError):
        Studio.open(tmp_path / "home", silent_ports=True)
