"""Several singers on one machine, what is stored, and deleting it."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from textual.widgets import Input

from tests.tui import frozen
from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.walking import practised, show
from tutor.sound.tape import TapePlayer
from tutor.store.store import Store
from tutor.studio import Studio, keeping
from tutor.studio.outlets import Outlets
from tutor.tui.screens.singers import SingersScreen
from tutor.tui.screens.stored import StoredScreen

# -- several singers


async def test_singers_are_added_chosen_renamed_and_forgotten(
    running: Running, still: None, studio: Studio, clock: Clock
) -> None:
    await practised(running, studio, clock, "21")
    async with running(studio) as (app, pilot):
        screen = SingersScreen()
        await show(app, pilot, screen)
        assert "2 answers" in text_of(app)
        await pilot.press("a", *"Bo", "enter")
        await settle(pilot)
        assert studio.singer.name == "Bo"
        assert studio.reviews() == ()
        await pilot.press("a", *"ada", "enter")
        await settle(pilot)
        assert "there is a singer named ada already" in text_of(app)
        await pilot.press("escape")
        await settle(pilot)
        await pilot.press("r", *"Box", "enter")
        await settle(pilot)
        assert studio.singer.name == "Box"
        await pilot.press("up", "enter")
        await settle(pilot)
        assert studio.singer.name == "Ada"
        assert len(studio.reviews()) == 2
        await pilot.press("d")
        await settle(pilot)
        assert "Forget Ada for good: 2 answers" in text_of(app)
        await pilot.press("n")
        await settle(pilot)
        assert len(studio.store.singers()) == 2
        await pilot.press("d", "y")
        await settle(pilot)
        assert [s.name for s in studio.store.singers()] == ["Box"]
        assert studio.store.reviews("Ada") == ()
        assert studio.singer.name == "Box"


async def test_a_name_that_is_taken_is_refused_in_setup(running: Running, still: None, studio: Studio) -> None:
    keeping.add(studio, "Bo")
    async with running(studio) as (app, pilot):
        app.go("setup")
        await settle(pilot)
        await pilot.press("enter")
        field = app.screen.query_one("#name", Input)
        field.value = "Ada"
        await pilot.press("enter")
        await settle(pilot)
        assert "already" in text_of(app)
        assert studio.singer.name == "Bo"


# -- what is stored


@pytest.fixture
def on_disk(clock: Clock, tmp_path: Path) -> Iterator[Studio]:
    """A studio with a data folder in which there is something of every kind."""
    folder = tmp_path / "data"
    made = Studio(Store.open(folder, clock), clock, random.Random(7), Outlets(TapePlayer()))
    made.set_voice("soprano")
    made.rename_singer("Ada")
    frozen.furnish(made.store)
    made.store.back_up_if_due()
    (folder / "look.json").write_text("{}")
    (folder / "larkstair.damaged-20260101-000000.db").write_text("old")
    (folder / "corrections").mkdir()
    (folder / "corrections" / "frozen.rntxt").write_text("m1 I\n")
    (folder / "corrections" / "other.toml").write_text("\n")
    yield made
    made.close()


async def test_everything_is_listed_and_deleted_after_two_questions(
    running: Running, still: None, on_disk: Studio
) -> None:
    folder = on_disk.store.folder
    assert folder is not None
    async with running(on_disk, size=(100, 40)) as (app, pilot):
        await show(app, pilot, StoredScreen())
        for words in ("Ada", frozen.CARD.title, "automatic backup", "2 files", "Never stored"):
            assert words in text_of(app), words
        await pilot.press("x", "y")
        await settle(pilot)
        assert "Really everything?" in text_of(app)
        await pilot.press("n")
        await settle(pilot)
        assert (folder / "corrections").exists()
        await pilot.press("x", "y", "y")
        await settle(pilot)
        assert "Everything is deleted" in text_of(app)
        left = {p.name for p in folder.iterdir()}
        assert left <= {"larkstair.db", "larkstair.db-wal", "larkstair.db-shm"}
        for name in left:
            raw = (folder / name).read_bytes()
            assert b"Ada" not in raw, name
            assert frozen.CARD.title.encode() not in raw, name
        assert on_disk.newcomer


async def test_one_song_and_one_singer_are_deleted(running: Running, still: None, on_disk: Studio) -> None:
    folder = on_disk.store.folder
    assert folder is not None
    async with running(on_disk) as (app, pilot):
        await show(app, pilot, StoredScreen())
        await pilot.press("down", "enter", "y")
        await settle(pilot)
        assert on_disk.store.songs() == ()
        assert on_disk.library.get(frozen.CARD.id) is None
        assert [p.name for p in (folder / "corrections").iterdir()] == ["other.toml"]
        assert not (folder / "larkstair.backup.db").exists(), "it would still hold the song"
        await pilot.press("home", "enter", "y")
        await settle(pilot)
        assert "Ada" not in {s.name for s in on_disk.store.singers()}
