"""Faults of the disk and of other copies: told in one line, and nothing kept before is lost."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.practice.songs import lanterns
from tutor.errors import StoreError
from tutor.music.table import READER_VERSION
from tutor.music.voice import SingerProfile
from tutor.store import moving, opening
from tutor.store.records import SongCard
from tutor.store.store import Store
from tutor.studio import Studio

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
ADA = SingerProfile.default("Ada", "tenor")

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="POSIX permissions and limits")


def told(code: str, *words: object, nobody: bool = False) -> str:
    """What a child prints that runs some code; as a user without rights where this one may do everything."""
    asroot = nobody and os.geteuid() == 0
    first = (
        "import os, signal, sys\nfrom pathlib import Path\nfrom tutor.errors import StoreError\n"
        "from tutor.store import moving\nfrom tutor.store.store import Store\n"
        "def line(do):\n    try:\n        do()\n    except StoreError as error:\n        print(error.line)\n"
    )
    rights = "os.setgroups([])\nos.setgid(65534)\nos.setuid(65534)\n" if asroot else ""
    done = subprocess.run(
        [sys.executable, "-c", first + rights + code, *map(str, words)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


@pytest.fixture
def shared() -> Iterator[Path]:
    """A folder that anybody may reach."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


def test_a_folder_that_cannot_be_written(shared: Path) -> None:
    folder = shared / "data"
    folder.mkdir()
    folder.chmod(0o555)
    try:
        line = told("line(lambda: Store.open(Path(sys.argv[1])))", folder, nobody=True)
    finally:
        folder.chmod(0o755)
    assert "cannot be used" in line
    assert "unable to open" in line
    assert "\n" not in line


def test_a_store_that_may_only_be_read(shared: Path) -> None:
    folder = shared / "data"
    store = Store.open(folder, lambda: NOW)
    store.keep_singer(ADA)
    store.close()
    folder.chmod(0o555)
    (folder / opening.FILE).chmod(0o444)
    try:
        code = "line(lambda: Store.open(Path(sys.argv[1])).keep_setting('theme', 'dark'))"
        line = told(code, folder, nobody=True)
    finally:
        folder.chmod(0o755)
    assert "the store cannot be used" in line
    assert "\n" not in line
    again = Store.open(folder, lambda: NOW)
    assert again.singers() == (ADA,)
    again.close()


_FULL = (
    "import resource\nsignal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
    "resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), int(sys.argv[3])))\n"
)


def test_a_disk_that_is_full_at_the_first_start(tmp_path: Path) -> None:
    line = told(_FULL + "line(lambda: Store.open(Path(sys.argv[1])))", tmp_path / "data", "", 4096)
    assert "the store cannot be used" in line
    store = Store.open(tmp_path / "data", lambda: NOW)
    store.keep_singer(ADA)
    store.close()


def filled(folder: Path) -> int:
    """A store with an amount in it; its size."""
    store = Store.open(folder, lambda: NOW)
    store.keep_singer(ADA)
    for number in range(60):
        store.keep_diary("Ada", {"n": number, "text": "x" * 4000})
    store.close()
    return (folder / opening.FILE).stat().st_size


def test_a_disk_that_fills_up_while_all_is_written_out(tmp_path: Path) -> None:
    size, target = filled(tmp_path / "data"), tmp_path / "all.larkstair"
    code = _FULL + "store = Store.open(Path(sys.argv[1]))\nline(lambda: store.export(Path(sys.argv[2])))\nos._exit(0)"
    line = told("import sys\nsys.stdout.reconfigure(write_through=True)\n" + code, tmp_path / "data", target, size // 2)
    assert "cannot be written" in line
    assert not target.exists()


def test_a_disk_that_fills_up_while_all_is_brought_in(tmp_path: Path) -> None:
    size, target = filled(tmp_path / "data"), tmp_path / "all.larkstair"
    store = Store.open(tmp_path / "data", lambda: NOW)
    store.export(target)
    store.close()
    there = Store.open(tmp_path / "there", lambda: NOW)
    there.keep_singer(SingerProfile.default("Bea", "alto"))
    there.close()
    code = _FULL + (
        "from datetime import datetime, UTC\n"
        "line(lambda: moving.bring_in(Path(sys.argv[1]), Path(sys.argv[2]), datetime.now(UTC)))\n"
    )
    assert "\n" not in told(code, tmp_path / "there", target, size // 2)
    again = Store.open(tmp_path / "there", lambda: NOW)
    assert [s.name for s in again.singers()] == ["Bea"]
    again.close()


def test_nothing_is_brought_in_under_a_copy_that_is_open(tmp_path: Path) -> None:
    filled(tmp_path / "data")
    other = Store.open(tmp_path / "data", lambda: NOW)
    other.export(tmp_path / "all.larkstair")
    with pytest.raises(StoreError, match="in use"):
        moving.bring_in(tmp_path / "data", tmp_path / "all.larkstair", NOW)
    other.keep_singer(SingerProfile.default("Bea", "alto"))
    other.close()
    assert moving.bring_in(tmp_path / "data", tmp_path / "all.larkstair", NOW) is not None
    kept = moving.bring_in(tmp_path / "data", tmp_path / "all.larkstair", NOW)
    assert kept is not None
    assert len(list(tmp_path.glob("data/larkstair.before-import-*.db"))) == 2


def test_a_damaged_store_can_be_replaced_by_an_export(tmp_path: Path) -> None:
    filled(tmp_path / "data")
    store = Store.open(tmp_path / "data", lambda: NOW)
    store.export(tmp_path / "all.larkstair")
    store.close()
    (tmp_path / "data" / opening.FILE).write_bytes(b"this is no database" * 500)
    assert moving.bring_in(tmp_path / "data", tmp_path / "all.larkstair", NOW) is not None
    again = Store.open(tmp_path / "data", lambda: NOW)
    assert (again.notice, [s.name for s in again.singers()]) == ("", ["Ada"])
    again.close()


@pytest.mark.parametrize("place", [0.0, 0.02, 0.3, 0.6, 0.95])
def test_a_page_of_the_store_that_is_lost_is_told_or_passed_over(tmp_path: Path, place: float) -> None:
    size = filled(tmp_path)
    Store.open(tmp_path, lambda: NOW + timedelta(days=2)).close()  # the automatic backup
    whole = bytearray((tmp_path / opening.FILE).read_bytes())
    at = int(size * place) // 4096 * 4096
    whole[at : at + 4096] = os.urandom(4096)
    (tmp_path / opening.FILE).write_bytes(whole)
    store = Store.open(tmp_path, lambda: NOW)
    with contextlib.suppress(StoreError):
        assert store.singers() == (ADA,)
        assert len(store.diary("Ada")) == 60 or store.notice
    store.close()


def test_views_and_triggers_of_a_strange_file_never_run(tmp_path: Path) -> None:
    filled(tmp_path / "data")
    bad = sqlite3.connect(tmp_path / "data" / opening.FILE)
    bad.execute("CREATE TRIGGER x AFTER UPDATE ON singer BEGIN DELETE FROM singer; END")
    bad.commit()
    bad.close()
    with pytest.raises(StoreError, match="not a file that Larkstair exported"):
        moving.bring_in(tmp_path / "there", tmp_path / "data" / opening.FILE, NOW)


def test_a_song_whose_path_no_file_can_have_is_opened_from_what_was_read(tmp_path: Path) -> None:
    studio = Studio.open(tmp_path, silent_ports=True, clock=lambda: NOW, seed=1)
    song = lanterns()
    studio.store.keep_song(SongCard(song.id, song.title, "", "9" * 400, False, NOW))
    studio.store.keep_table(song.id, READER_VERSION, song.table.dumps())
    assert studio.library.get(song.id) is not None
    studio.close()
