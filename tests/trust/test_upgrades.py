"""Upgrades: from every released shape of the store, in one piece or not at all; what is newer is refused."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tutor.errors import SidecarError, StoreError
from tutor.music.voice import SingerProfile
from tutor.store import migrations, moving, opening
from tutor.store.migrations import STEPS, VERSION, migrate, version_of
from tutor.store.store import Store

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
PROFILE = (
    '{"name": "Ada", "voice": "tenor", "low_midi": 50, "high_midi": 69, "first_transition": 62, '
    '"second_transition": 67, "measured_on": "2026-05-01", "strained_at": [68]}'
)
MADE_UP = (
    *STEPS,
    ("a colour for each singer", "ALTER TABLE singer ADD COLUMN colour TEXT NOT NULL DEFAULT ';';\n-- done; really\n"),
    ("the colour in words", "CREATE TABLE word (it TEXT) STRICT; INSERT INTO word SELECT colour FROM singer;"),
)
"""Steps as a later release may have them."""


def old_store(folder: Path, version: int) -> Path:
    """A store as the release of that version left it."""
    folder.mkdir(exist_ok=True)
    path = folder / opening.FILE
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, STEPS[:version])
    db.execute("INSERT INTO singer VALUES ('Ada', ?)", (PROFILE,))
    db.execute("INSERT INTO setting VALUES ('theme', 'dark')")
    db.execute("INSERT INTO diary (singer, at, body) VALUES ('Ada', ?, '{\"minutes\": 8}')", (NOW.isoformat(),))
    db.close()
    return path


@pytest.mark.parametrize("version", range(1, VERSION + 1))
def test_every_released_shape_is_taken_up(tmp_path: Path, version: int) -> None:
    old_store(tmp_path, version)
    store = Store.open(tmp_path, lambda: NOW)
    assert store.notice == ""
    assert [s.name for s in store.singers()] == ["Ada"]
    assert store.setting("theme") == "dark"
    assert store.diary("Ada") == ({"minutes": 8},)
    store.keep_singer(SingerProfile.default("Bea", "alto"))
    store.close()
    if version < VERSION:  # the old one is kept as it was
        before = sqlite3.connect(tmp_path / opening.BACKUP)
        assert version_of(before) == version
        before.close()


@pytest.mark.parametrize("version", range(1, VERSION + 1))
def test_every_released_shape_can_be_brought_in(tmp_path: Path, version: int) -> None:
    old_store(tmp_path / "old", version)
    moving.bring_in(tmp_path / "new", tmp_path / "old" / opening.FILE, NOW)
    store = Store.open(tmp_path / "new", lambda: NOW)
    assert [s.name for s in store.singers()] == ["Ada"]
    store.close()


def test_steps_to_come_are_taken_one_by_one(tmp_path: Path) -> None:
    db = sqlite3.connect(old_store(tmp_path, VERSION), isolation_level=None)
    migrate(db, MADE_UP)
    assert version_of(db) == len(MADE_UP)
    assert db.execute("SELECT name, colour FROM singer").fetchall() == [("Ada", ";")]
    assert db.execute("SELECT it FROM word").fetchall() == [(";",)]
    migrate(db, MADE_UP)
    assert version_of(db) == len(MADE_UP)
    db.close()


def test_a_step_that_fails_in_the_middle_leaves_the_old_shape(tmp_path: Path) -> None:
    db = sqlite3.connect(old_store(tmp_path, VERSION), isolation_level=None)
    broken = (*STEPS, ("broken", "CREATE TABLE half (x TEXT); DELETE FROM setting; INSERT INTO nowhere VALUES (1);"))
    with pytest.raises(sqlite3.OperationalError):
        migrate(db, broken)
    assert version_of(db) == VERSION
    assert db.execute("SELECT count(*) FROM setting").fetchone() == (1,)
    assert db.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'half'").fetchone() == (0,)
    db.close()


_SLOW = """
import sqlite3, sys
from tutor.store.migrations import STEPS, migrate
db = sqlite3.connect(sys.argv[1], isolation_level=None)
db.execute("PRAGMA journal_mode = WAL")
db.execute("PRAGMA synchronous = FULL")
print("begun", flush=True)
many = ";".join(f"INSERT INTO setting VALUES ('n{n}', 'x')" for n in range(20_000))
migrate(db, (*STEPS, ("much", "CREATE TABLE fresh (x TEXT);" + many + ";")))
print("done", flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9")
def test_a_kill_in_the_middle_leaves_the_old_shape_or_the_new(tmp_path: Path) -> None:
    path, shapes = old_store(tmp_path, VERSION), set()
    for turn in range(6):
        child = subprocess.Popen([sys.executable, "-c", _SLOW, str(path)], stdout=subprocess.PIPE, text=True)
        assert child.stdout is not None
        child.stdout.readline()
        time.sleep(0.02 * turn)
        child.kill()
        child.stdout.close()
        child.wait()
        db = sqlite3.connect(path, isolation_level=None)
        assert db.execute("PRAGMA quick_check").fetchone() == ("ok",)
        at, kept = version_of(db), db.execute("SELECT count(*) FROM setting").fetchone()[0]
        fresh = db.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'fresh'").fetchone()[0]
        assert (at, kept, fresh) in ((VERSION, 1, 0), (VERSION + 1, 20_001, 1))
        shapes.add(at)
        if at > VERSION:
            db.execute("DROP TABLE fresh")
            db.execute("DELETE FROM setting WHERE name LIKE 'n%'")
            db.execute(f"PRAGMA user_version = {VERSION}")
        db.close()
    assert VERSION in shapes


def test_two_copies_that_start_at_once_make_one_store(tmp_path: Path) -> None:
    opened: list[Store] = []
    failed: list[BaseException] = []

    def start() -> None:
        try:
            opened.append(Store.open(tmp_path, lambda: NOW))
        except BaseException as error:
            failed.append(error)

    copies = [threading.Thread(target=start) for _ in range(6)]
    for copy in copies:
        copy.start()
    for copy in copies:
        copy.join()
    assert failed == []
    assert len({s.notice for s in opened}) == 1
    for store in opened:
        store.keep_setting("theme", "dark")
        store.close()


def test_a_newer_store_is_refused_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    db = sqlite3.connect(old_store(tmp_path, VERSION), isolation_level=None)
    migrate(db, MADE_UP)
    db.close()
    before = (tmp_path / opening.FILE).read_bytes()
    with pytest.raises(StoreError, match="newer Larkstair") as told:
        Store.open(tmp_path, lambda: NOW)
    assert "\n" not in told.value.line
    assert (tmp_path / opening.FILE).read_bytes() == before
    with pytest.raises(StoreError, match="newer Larkstair"):
        moving.bring_in(tmp_path / "b", tmp_path / opening.FILE, NOW)


def test_a_row_that_no_release_wrote_does_not_stop_the_step(tmp_path: Path) -> None:
    path = old_store(tmp_path, 1)
    db = sqlite3.connect(path)
    db.execute("INSERT INTO singer VALUES ('Odd', 'no JSON')")
    db.commit()
    db.close()
    store = Store.open(tmp_path, lambda: NOW)
    assert [s.name for s in store.singers()] == ["Ada"]
    assert "could not be read" in store.notice
    store.close()


def test_newer_corrections_are_refused_in_one_line(tmp_path: Path) -> None:
    from tutor.score import sidecar

    song = tmp_path / "song.musicxml"
    sidecar.details_path(song).write_text(f"form = {sidecar.VERSION + 1}\n")
    with pytest.raises(SidecarError, match="later version") as told:
        sidecar.voice_part(song)
    assert "\n" not in told.value.line


def test_the_released_steps_are_numbered_by_their_place() -> None:
    assert len(STEPS) == VERSION == migrations.VERSION
    assert len({name for name, _ in STEPS}) == VERSION
