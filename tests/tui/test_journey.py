"""The main job, walked through with the keyboard alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.studio.test_shelf import TUNE
from tests.tui import frozen
from tests.tui.conftest import Clock, Running, settle, text_of
from tutor.music.table import NoteTable
from tutor.practice.drill import Answer
from tutor.score import isolate
from tutor.score.read import read_file
from tutor.studio import Studio
from tutor.tui.screens.finished import FinishedScreen
from tutor.tui.screens.led import LedScreen
from tutor.tui.screens.practice import PracticeScreen
from tutor.tui.screens.song import SongScreen
from tutor.tui.screens.today import TodayScreen
from tutor.tui.screens.warmup import WarmupScreen
from tutor.tui.screens.welcome import WelcomeScreen


async def test_open_a_song_practise_quit_resume_and_warm_up(
    running: Running, studio: Studio, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with running(studio) as (app, pilot):
        await pilot.press("o")
        await settle(pilot)
        assert frozen.CARD.title in text_of(app)
        monkeypatch.setattr(studio.library, "open", lambda *_, **__: studio.library.get(frozen.CARD.id))
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, SongScreen)
        assert "bars" in text_of(app)
        await pilot.press("p")
        await settle(pilot)
        assert isinstance(app.screen, PracticeScreen)
        for _ in range(4):
            await answer_rightly(app.screen, studio, pilot, clock)
        asked = studio.rehearsal.current
        await pilot.press("escape")
        await settle(pilot)
    assert len(studio.reviews()) == 4

    # Another day, another process: the session waits where it was left.
    async with running(studio) as (app, pilot):
        assert "question 5 of 10" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, PracticeScreen)
        assert asked is not None
        assert studio.rehearsal.current is not None
        assert studio.rehearsal.current.item == asked.item
        while isinstance(app.screen, PracticeScreen):
            await answer_rightly(app.screen, studio, pilot, clock)
        assert isinstance(app.screen, FinishedScreen)
        assert "10 of 10 right" in text_of(app)
        await pilot.press("escape")
        await settle(pilot)
        assert len(studio.reviews()) == 10

        await pilot.press("w")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert "How does the voice feel" in text_of(app)
        await pilot.press("enter")
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, WarmupScreen)
        assert "not a diagnosis" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, LedScreen)
        await pilot.press("space")
        before = app.screen.led.step
        clock.pass_s(60)
        await pilot.pause(0.3)
        assert app.screen.led.step > before
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, TodayScreen)
        assert studio.unfinished_run() is not None
        assert "Go on warming up" in text_of(app)


async def answer_rightly(screen: object, studio: Studio, pilot, clock: Clock) -> None:  # type: ignore[no-untyped-def]
    """Give the right answer with the keys, whatever the question asks for."""
    assert isinstance(screen, PracticeScreen)
    asked = studio.rehearsal.current
    assert asked is not None
    right = asked.drill.right(asked.item)
    clock.pass_s(3)
    if right.choice is not None:
        labels = [c.label for c in asked.question.choices]
        await pilot.press(str(labels.index(right.choice) + 1))
    else:
        # Notes, taps and singing have their own tests; here the way to the next question is walked.
        screen.give(Answer(right.choice, right.notes, right.marks, right.take))
    await settle(pilot)
    assert screen.phase == "answered", asked.question
    assert "Right" in text_of(pilot.app)
    await pilot.press("enter")
    await settle(pilot)


async def test_a_newcomer_hears_the_first_question_within_a_few_keys(running: Running, empty_studio: Studio) -> None:
    async with running(empty_studio) as (app, pilot):
        assert "Begin here" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, WelcomeScreen)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert "Do you hear" in text_of(app)
        assert empty_studio.singer.voice == "mezzo-soprano"
        await pilot.pause(0.1)
        player = empty_studio.outlets.player
        assert player.played  # type: ignore[attr-defined]
        await pilot.press("enter")
        await settle(pilot)
        assert "find where you stand" in text_of(app)
        await pilot.press("end", "enter")
        await settle(pilot)
        await pilot.press("end", "enter")
        await settle(pilot)
        assert isinstance(app.screen, PracticeScreen)
        await pilot.pause(0.1)
        assert len(player.played) >= 2  # type: ignore[attr-defined]


async def test_a_session_goes_on_under_another_name(running: Running, studio: Studio, clock: Clock) -> None:
    studio.rehearsal.begin(studio.singer, count=4)
    async with running(studio) as (app, pilot):
        app.go("setup")
        await settle(pilot)
        await pilot.press("enter", "end", *["backspace"] * 3, *"Bea", "enter")
        await settle(pilot)
        assert studio.singer.name == "Bea"
        app.go("today")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, PracticeScreen)
        await answer_rightly(screen, studio, pilot, clock)
    assert [r.singer for r in studio.reviews()] == ["Bea"]


@pytest.mark.parametrize("name", ["missing.musicxml", "", "empty.mxl", "not-music.xml"])
async def test_a_bad_file_is_told_in_one_line_and_nothing_is_lost(
    running: Running, studio: Studio, tmp_path: Path, name: str
) -> None:
    (tmp_path / "empty.mxl").write_bytes(b"")
    (tmp_path / "not-music.xml").write_text("<a>no music</a>")
    async with running(studio) as (app, pilot):
        await pilot.press("o")
        await settle(pilot)
        await pilot.press("o")
        app.screen.query_one("#path").value = str(tmp_path / name)  # type: ignore[attr-defined]
        await pilot.press("enter")
        await settle(pilot)
        assert app.screen.__class__.__name__ == "SongsScreen"
        assert app.screen.foot.bad  # type: ignore[attr-defined]
        assert "\n" not in app.screen.foot.notice  # type: ignore[attr-defined]
        assert app.screen.foot.notice  # type: ignore[attr-defined]
    assert [s.title for s in studio.songs() if s.opened_at] == [frozen.CARD.title]


async def test_a_folder_of_scores_is_read_and_listed(
    running: Running, studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def read_here(path: Path, **_: object) -> tuple[NoteTable, None]:
        return read_file(path), None

    monkeypatch.setattr(isolate, "read_and_analyse", read_here)
    (tmp_path / "low-gate.abc").write_text(TUNE)
    (tmp_path / "broken.xml").write_text("<score-partwise")
    async with running(studio) as (app, pilot):
        await pilot.press("o")
        await settle(pilot)
        await pilot.press("o")
        app.screen.query_one("#path").value = str(tmp_path)  # type: ignore[attr-defined]
        await pilot.press("enter")
        await settle(pilot)
        told = app.screen.foot.notice  # type: ignore[attr-defined]
        assert told.startswith(
            "1 song read and on your list. 1 file could not be read, the first: broken.xml, line 1: "
        )
        assert "Low Gate" in text_of(app)


async def test_a_fault_in_a_task_is_told_and_nothing_is_lost(
    running: Running, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(studio.library, "open", broken)
    async with running(studio) as (app, pilot):
        app.strict = False
        await pilot.press("o")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert "nothing is lost" in app.screen.foot.notice  # type: ignore[attr-defined]
        assert "ZeroDivisionError" in app.screen.foot.notice  # type: ignore[attr-defined]


async def test_opening_a_song_from_the_command_line(studio: Studio) -> None:
    from tutor.tui.app import LarkstairApp

    app = LarkstairApp(studio, song="measure-twice")
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await settle(pilot)
        assert isinstance(app.screen, SongScreen)
