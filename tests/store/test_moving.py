"""Everything moves to another machine in one file; a strange file is refused and nothing changes."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tutor.errors import StoreError
from tutor.music.voice import SingerProfile
from tutor.practice.drill import Mark
from tutor.practice.schedule import Card, review
from tutor.store import migrations, moving, opening
from tutor.store.store import Store

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


def filled(folder: Path, name: str) -> Store:
    store = Store.open(folder, lambda: NOW)
    store.keep_singer(SingerProfile(name, "tenor", 50, 69, 62, 67))
    number = store.begin("practice", name, {"at": 0})
    card, kept = review(Card(name, "inversions", "root"), Mark(1.0, "root", "because"), 2.5, NOW)
    store.keep_answer(number, {"at": 1}, card, kept, finished=False)
    return store


def test_export_and_import(tmp_path: Path) -> None:
    here = filled(tmp_path / "a", "Ada")
    here.export(tmp_path / "all.larkstair")
    counts, cards = here.counts(), here.cards("Ada")
    here.close()
    filled(tmp_path / "b", "Bea").close()
    kept = moving.bring_in(tmp_path / "b", tmp_path / "all.larkstair", NOW)
    assert kept is not None
    assert kept.exists()
    there = Store.open(tmp_path / "b", lambda: NOW)
    assert [s.name for s in there.singers()] == ["Ada"]
    assert there.counts() == counts
    assert there.cards("Ada") == cards
    there.close()


def test_an_existing_file_is_not_overwritten(tmp_path: Path) -> None:
    target = tmp_path / "all.larkstair"
    target.write_text("mine")
    store = filled(tmp_path / "a", "Ada")
    with pytest.raises(StoreError, match="already"):
        store.export(target)
    assert target.read_text() == "mine"
    store.close()


@pytest.mark.parametrize("content", [b"", b"no database", b"SQLite format 3\x00" + b"x" * 5000])
def test_a_strange_file_is_refused(tmp_path: Path, content: bytes) -> None:
    filled(tmp_path / "a", "Ada").close()
    before = (tmp_path / "a" / opening.FILE).read_bytes()
    (tmp_path / "odd").write_bytes(content)
    with pytest.raises(StoreError, match="not a file that Larkstair exported"):
        moving.bring_in(tmp_path / "a", tmp_path / "odd", NOW)
    assert (tmp_path / "a" / opening.FILE).read_bytes() == before


def test_a_newer_file_is_refused(tmp_path: Path) -> None:
    store = filled(tmp_path / "a", "Ada")
    store.export(tmp_path / "all.larkstair")
    store.close()
    newer = sqlite3.connect(tmp_path / "all.larkstair")
    newer.execute(f"PRAGMA user_version = {migrations.VERSION + 1}")
    newer.close()
    with pytest.raises(StoreError, match="newer Larkstair"):
        moving.bring_in(tmp_path / "b", tmp_path / "all.larkstair", NOW)
    assert not (tmp_path / "b" / opening.FILE).exists()


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="cannot be read"):
        moving.bring_in(tmp_path / "b", tmp_path / "none", NOW)
