"""The store: what was kept comes back, and faults of the file are told in one line."""

from __future__ import annotations

import sqlite3
import stat
import subprocess
import sys
import time
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from tutor.errors import StoreError
from tutor.music.voice import SingerProfile, Strain
from tutor.practice.drill import Mark
from tutor.practice.schedule import Card, review
from tutor.store import migrations, opening
from tutor.store.records import SongCard
from tutor.store.store import Store
from tutor.warmup.strains import remember

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
SINGER = SingerProfile("Ada", "tenor", 50, 69, 62, 67, date(2026, 5, 1), (68,))


def opened(folder: Path | None) -> Store:
    store = Store.open(folder, lambda: NOW)
    store.keep_singer(SINGER)
    return store


def test_singer_comes_back_equal(tmp_path: Path) -> None:
    opened(tmp_path).close()
    store = Store.open(tmp_path, lambda: NOW)
    assert store.singers() == (SINGER,)
    store.rename_singer("Ada", "Bea")
    assert [s.name for s in store.singers()] == ["Bea"]
    store.close()


def test_days_of_strained_notes_come_back_and_a_store_from_before_gets_none(tmp_path: Path) -> None:
    dated = remember(SINGER, 66, date(2026, 5, 3))
    store = opened(tmp_path)
    store.keep_singer(dated)
    assert store.singers()[0].strains[-1] == Strain(66, date(2026, 5, 3))
    store.close()
    old = sqlite3.connect(tmp_path / opening.FILE)
    old.execute("UPDATE singer SET profile = json_remove(profile, '$.strained_on')")
    old.execute("PRAGMA user_version = 1")
    old.commit()
    old.close()
    again = Store.open(tmp_path, lambda: NOW)
    assert again.singers()[0].strains == (Strain(68, None), Strain(66, None))
    again.close()


def test_one_diary_entry_goes_and_comes_back_in_its_place(tmp_path: Path) -> None:
    store = opened(tmp_path)
    for n in range(3):
        store.keep_diary("Ada", {"n": n})
    number = store.diary_entries("Ada")[1][0]
    row = store.forget_diary(number)
    assert [e["n"] for e in store.diary("Ada")] == [0, 2]
    assert store.forget_diary(number) is None
    assert row is not None
    store.restore_diary(row)
    assert [e["n"] for e in store.diary("Ada")] == [0, 1, 2]
    store.close()


def test_answer_card_and_session_are_kept_together(tmp_path: Path) -> None:
    store = opened(tmp_path)
    number = store.begin("practice", "Ada", {"at": 0})
    card, kept = review(Card("Ada", "inversions", "root"), Mark(1.0, "root", "because"), 2.5, NOW)
    store.keep_answer(number, {"at": 1}, card, kept, finished=False)
    store.close()
    again = Store.open(tmp_path, lambda: NOW)
    assert again.cards("Ada") == (card,)
    assert again.reviews("Ada") == (kept,)
    left = again.unfinished("Ada", "practice")
    assert left is not None
    assert left.body == {"at": 1}
    again.take_back(number, {"at": 0}, "Ada", "inversions", "root", None)
    assert again.cards("Ada") == ()
    assert again.reviews("Ada") == ()
    again.close()


def test_a_failed_write_changes_nothing() -> None:
    store = opened(None)
    number = store.begin("practice", "Ada", {"at": 0})
    card, kept = review(Card("Nobody", "inversions", "root"), Mark(1.0, "root", "because"), 2.5, NOW)
    with pytest.raises(sqlite3.IntegrityError):
        store.keep_answer(number, {"at": 1}, card, kept, finished=False)
    left = store.unfinished("Ada", "practice")
    assert left is not None
    assert left.body == {"at": 0}
    store.close()


def test_a_new_session_closes_the_old_one() -> None:
    store = opened(None)
    first = store.begin("practice", "Ada", {})
    second = store.begin("practice", "Ada", {})
    left = store.unfinished("Ada", "practice")
    assert left is not None
    assert left.id == second != first
    store.keep_session(second, {}, finished=True)
    assert store.unfinished("Ada", "practice") is None
    store.close()


def test_readings_are_cached_by_version() -> None:
    store = opened(None)
    store.keep_song(SongCard("abc", "Title", "", "song.musicxml", False, NOW))
    for version in ("1", "2", "3", "4"):
        store.keep_reading("abc", version, f"body {version}")
    assert store.reading("abc", "4") == "body 4"
    assert store.reading("abc", "1") is None
    store.keep_table("abc", 1, "old")
    store.keep_table("abc", 2, "new")
    assert store.table("abc", 1) is None
    assert store.table("abc", 2) == "new"
    store.forget_song("abc")
    assert store.reading("abc", "4") is None
    store.close()


def test_forget_everything(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store.keep_setting("theme", "dark")
    store.begin("practice", "Ada", {})
    store.back_up_if_due()
    store.forget_everything()
    assert set(store.counts().values()) == {0}
    assert not (tmp_path / opening.BACKUP).exists()
    store.close()


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX permissions")
def test_files_belong_to_the_user_alone(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    store = opened(folder)
    store.close()
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for file in folder.iterdir():
        assert stat.S_IMODE(file.stat().st_mode) & 0o077 == 0, file


def test_damaged_store_is_kept_aside_and_the_backup_restored(tmp_path: Path) -> None:
    opened(tmp_path).close()
    (tmp_path / opening.FILE).write_bytes(b"this is no database" * 500)
    store = Store.open(tmp_path, lambda: NOW)
    assert store.singers() == (SINGER,)
    assert "damaged" in store.notice
    assert list(tmp_path.glob("larkstair.damaged-*.db"))
    store.close()


def test_damaged_store_without_backup_begins_anew(tmp_path: Path) -> None:
    (tmp_path / opening.FILE).write_bytes(b"this is no database" * 500)
    store = Store.open(tmp_path, lambda: NOW)
    assert store.singers() == ()
    assert "no usable backup" in store.notice
    store.close()


def test_newer_store_is_refused_and_left_alone(tmp_path: Path) -> None:
    opened(tmp_path).close()
    path = tmp_path / opening.FILE
    newer = sqlite3.connect(path)
    newer.execute(f"PRAGMA user_version = {migrations.VERSION + 1}")
    newer.close()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="newer Larkstair"):
        Store.open(tmp_path, lambda: NOW)
    assert path.read_bytes() == before


def test_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError) as caught:
        Store.open(tmp_path / "file" / "data", lambda: NOW)
    assert "\n" not in caught.value.line


def test_locked_store_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "_BUSY_MS", 50)
    store = opened(tmp_path)
    other = sqlite3.connect(tmp_path / opening.FILE, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError, match="was not kept"):
        store.keep_setting("theme", "dark")
    other.execute("ROLLBACK")
    other.close()
    store.keep_setting("theme", "dark")
    assert store.setting("theme") == "dark"
    store.close()


_WRITER = """
import sys
from pathlib import Path
from tutor.store.store import Store
from tutor.warmup.strains import remember
store = Store.open(Path(sys.argv[1]))
number = 0
while True:
    number += 1
    store.keep_setting("last", str(number))
    print(number, flush=True)
"""


def test_a_kill_loses_nothing_that_was_shown_as_kept(tmp_path: Path) -> None:
    for turn in range(5):
        process = subprocess.Popen([sys.executable, "-c", _WRITER, str(tmp_path)], stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(0.02 * turn)
        process.kill()
        shown = process.stdout.read().split()
        process.stdout.close()
        process.wait()
        store = Store.open(tmp_path)
        assert store.notice == ""
        assert int(store.setting("last")) >= int(shown[-1] if shown else 1)
        store.close()
