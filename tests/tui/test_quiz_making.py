"""Quizzes on the screen: made, changed and written, by keyboard alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.quiz.packs import pack
from tests.tui.conftest import Running, settle, text_of
from tests.tui.quizzing import SIZES, editing, type_in
from tutor.studio import Studio, quizdesk
from tutor.tui.screens.quiz_edit import QuizEditScreen
from tutor.tui.screens.quiz_make import QuizMakeScreen
from tutor.tui.screens.quiz_write import QuizWriteScreen


@pytest.mark.parametrize("size", SIZES[:1])
async def test_every_change_can_be_taken_back_and_waits(
    running: Running, studio: Studio, size: tuple[int, int]
) -> None:
    async with running(studio, size=size) as (app, pilot):
        screen = await editing(app, studio, pilot)
        first = screen.pack
        assert "The third, E, is lowest." in text_of(app)
        await pilot.press("plus")
        await settle(pilot)
        assert screen.pack == first.moved(0, 1)
        await pilot.press("delete")
        await settle(pilot)
        assert screen.pack == first.moved(0, 1).without(1)
        await pilot.press("p")
        await type_in(app, pilot, "Which tone  lies at\x1b the bottom?")
        assert screen.pack.items[1].prompt == "Which tone lies at the bottom?"
        await pilot.press("c")
        await type_in(app, pilot, "the tonic | the third")
        assert "3 different choices are needed" in text_of(app)
        await type_in(app, pilot, "the tonic | the third|the dominant")
        assert [c.text for c in screen.pack.items[1].choices] == ["the tonic", "the third", "the dominant"]
        assert [c.label for c in screen.pack.items[1].choices] == [c.label for c in first.items[0].choices]
        await pilot.press("x")
        await type_in(app, pilot, "Because the third does.")
        await pilot.press("t")
        await type_in(app, pilot, "Bass notes")
        await pilot.press("i")
        await type_in(app, pilot, "Twice.")
        await pilot.press("e")
        await settle(pilot)
        last = screen.pack
        assert (last.title, last.introduction, last.reveal) == ("Bass notes", "Twice.", "at the end")
        assert last.items[1].explanation == "Because the third does."
        await pilot.press("escape")
        await settle(pilot)
        kept = quizdesk.left_draft(studio)
        assert kept is not None
        assert kept.pack == last

        app.go("quiz")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, QuizEditScreen)
        assert app.screen.pack == last
        app.pop_screen()
        app.push_screen(screen2 := QuizEditScreen(kept, []))
        await settle(pilot)
        assert not screen2.check_action("undo", ())


async def test_undo_goes_all_the_way(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await editing(app, studio, pilot)
        for key in ("plus", "delete", "e", "minus"):
            await pilot.press(key)
            await settle(pilot)
        for _ in range(4):
            await pilot.press("u")
            await settle(pilot)
        assert screen.pack == pack()


async def test_quick_changes_are_all_kept(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await editing(app, studio, pilot)
        await pilot.press("plus", "plus", "e", "delete", "escape")
        await settle(pilot)
    wanted = replace(pack().moved(0, 1).moved(1, 2).without(2), reveal="at the end")
    assert screen.pack == wanted
    kept = quizdesk.left_draft(studio)
    assert kept is not None
    assert kept.pack == wanted


async def test_another_question_of_the_same_kind(running: Running, studio: Studio) -> None:
    from tutor.studio.quizzes import make_quiz

    made = make_quiz([], title="T", count=3, skills=[("inversions", "triads-close")])
    async with running(studio) as (app, pilot):
        screen = await editing(app, studio, pilot, made)
        await pilot.press("down", "r")
        await settle(pilot)
        await settle(pilot)
        assert screen.pack.items[1] != made.items[1]
        assert screen.pack.items[1].skill == "triads-close"
        assert (screen.pack.items[0], screen.pack.items[2]) == (made.items[0], made.items[2])


async def test_a_question_may_have_the_whole_screen(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await editing(app, studio, pilot)
        await pilot.press("down", "enter")
        assert not screen.query_one("#list").display
        assert "The chord on the staff" in text_of(app)
        assert "Enter list" in text_of(app)
        await pilot.press("escape", "down")
        await settle(pilot)
        assert screen.query_one("#list").display
        assert screen.at == 2
        assert app.screen is screen
        await pilot.click("#menu", offset=(6, 0))
        await settle(pilot)
        assert screen.is_full
        assert screen.at == 0
        await pilot.resize_terminal(140, 45)
        await settle(pilot)
        assert screen.is_wide
        assert screen.query_one("#list").display
        assert "Enter full" not in text_of(app)


async def test_the_last_question_stays(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await editing(app, studio, pilot, pack(1))
        await pilot.press("delete")
        await settle(pilot)
        assert len(screen.pack.items) == 1
        assert "at least one" in text_of(app)


async def test_skills_are_ticked_and_obeyed(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        app.push_screen(QuizMakeScreen())
        await settle(pilot)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert "No tick: the program chooses" in text_of(app)
        await pilot.press("enter", "down", "space", "u", "space", "escape")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, QuizMakeScreen)
        assert len(screen.wish.skills) == 2
        await pilot.press("m")
        await settle(pilot)
        assert isinstance(app.screen, QuizEditScreen)
        assert {f"{i.drill}:{i.skill}" for i in app.screen.pack.items} == set(screen.wish.skills)


async def test_words_and_seed(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        app.push_screen(screen := QuizMakeScreen())
        await settle(pilot)
        await pilot.press(*["down"] * 4, "enter")
        await type_in(app, pilot, "many")
        assert "whole number" in text_of(app)
        await type_in(app, pilot, "42")
        await pilot.press("down", "enter")
        await type_in(app, pilot, "Tide chords")
        await pilot.press("down", "enter")
        await type_in(app, pilot, "Listen twice.")
        await pilot.press("down", "right")
        wish = screen.wish
        assert (wish.seed, wish.title, wish.introduction, wish.reveal) == (
            42, "Tide chords", "Listen twice.", "at the end",
        )  # fmt: skip


async def test_writing_over_files_is_refused(running: Running, studio: Studio, tmp_path: Path) -> None:
    (tmp_path / "tide-chords.html").write_text("mine")
    async with running(studio) as (app, pilot):
        app.push_screen(QuizWriteScreen(quizdesk.begin_draft(studio, pack(), [])))
        await settle(pilot)
        await type_in(app, pilot, str(tmp_path))
        assert "already" in text_of(app)
        assert [p.name for p in tmp_path.iterdir()] == ["tide-chords.html"]
