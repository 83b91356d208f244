"""Quizzes on the screen: made, changed, written, taken, left, taken up again and gathered, by keyboard alone."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input, Static

from tests.quiz.packs import item, pack
from tests.tui import frozen
from tests.tui.conftest import Clock, Running, settle, text_of
from tutor.music.phrase import Phrase
from tutor.practice.drill import Excerpt
from tutor.quiz.pack import Pack, dumps, loads
from tutor.quiz.sheet import Sheet, from_code, from_file, to_code, to_file
from tutor.studio import Studio, quizdesk
from tutor.tui.app import LarkstairApp
from tutor.tui.screens.quiz import QuizScreen
from tutor.tui.screens.quiz_edit import QuizEditScreen
from tutor.tui.screens.quiz_gather import QuizGatherScreen
from tutor.tui.screens.quiz_make import QuizMakeScreen
from tutor.tui.screens.quiz_take import QuizTakeScreen
from tutor.tui.screens.quiz_taken import QuizTakenScreen
from tutor.tui.screens.quiz_write import QuizWriteScreen
from tutor.tui.widgets.score import MOST_DRAWN, drawable

SIZES = [(80, 24), (140, 45)]
LATE = replace(pack(), reveal="at the end")


async def type_in(app: LarkstairApp, pilot: Pilot[Any], text: str) -> None:
    """Fill the field that has the keys, and press Enter."""
    field = app.focused
    assert isinstance(field, Input)
    field.value = text
    await pilot.press("enter")
    await settle(pilot)


def right_key(made: Pack, index: int) -> str:
    frozen_item = made.items[index]
    return str([c.label for c in frozen_item.choices].index(frozen_item.right) + 1)


async def test_from_nothing_to_gathered_answers(
    running: Running, studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(studio.library, "open", lambda *_, **__: studio.library.get(frozen.CARD.id))
    async with running(studio) as (app, pilot):
        app.go("quiz")
        await settle(pilot)
        assert isinstance(app.screen, QuizScreen)
        await pilot.press("m")
        await settle(pilot)
        assert isinstance(app.screen, QuizMakeScreen)
        await pilot.press("enter")  # the songs
        await settle(pilot)
        await pilot.press("space", "escape")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, QuizMakeScreen)
        assert screen.wish.songs == (frozen.CARD.id,)
        assert frozen.CARD.title in screen.title_now
        await pilot.press("down", "down", *["left"] * 8)
        assert screen.wish.count == 2
        await pilot.press("u", "left")
        assert screen.wish.count == 2
        await pilot.press("m")
        await settle(pilot)
        edit = app.screen
        assert isinstance(edit, QuizEditScreen)
        assert len(edit.pack.items) == 2
        assert any(frozen.CARD.title in i.source for i in edit.pack.items)
        await pilot.press("w")
        await settle(pilot)
        assert isinstance(app.screen, QuizWriteScreen)
        await type_in(app, pilot, str(tmp_path / "out"))
        assert "Written into" in text_of(app)
        made = sorted(p.name for p in (tmp_path / "out").iterdir())
        assert [n.partition(".")[2] for n in made] == ["html", "qti.zip", "quiz.json", "sheet.html"]
        quiz = tmp_path / "out" / next(n for n in made if n.endswith(".quiz.json"))
        await pilot.press("enter")
        await settle(pilot)

        assert isinstance(app.screen, QuizScreen)
        assert "Go on making" not in text_of(app)
        await pilot.press("t")
        await type_in(app, pilot, str(quiz))
        taken = loads(quiz.read_text(encoding="utf-8"))
        assert isinstance(app.screen, QuizTakeScreen)
        await pilot.press("enter")
        await settle(pilot)
        for index in range(len(taken.items)):
            await pilot.press(right_key(taken, index))
            await settle(pilot)
            assert "Right" in text_of(app)
            await pilot.press("enter")
            await settle(pilot)
        result = app.screen
        assert isinstance(result, QuizTakenScreen)
        assert "2 of 2 right" in text_of(app)
        assert from_code(result.code).quiz == taken.id
        await pilot.press("n")
        await type_in(app, pilot, "Wren")
        await pilot.press("s")
        await type_in(app, pilot, str(tmp_path / "in"))
        saved = next((tmp_path / "in").iterdir())
        assert from_file(saved.read_text(encoding="utf-8")).nickname == "Wren"
        await pilot.press("escape")
        await settle(pilot)

        await pilot.press("g")
        await settle(pilot)
        await type_in(app, pilot, str(quiz))
        await type_in(app, pilot, str(tmp_path / "in"))
        assert isinstance(app.screen, QuizGatherScreen)
        assert "1 answer sheet" in text_of(app)
        assert "Nearly everybody heard everything" in text_of(app)


# -- making


async def editing(app: LarkstairApp, studio: Studio, pilot: Pilot[Any], made: Pack | None = None) -> QuizEditScreen:
    screen = QuizEditScreen(quizdesk.begin_draft(studio, made or pack(), []), [])
    app.push_screen(screen)
    await settle(pilot)
    return screen


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


# -- taking


@pytest.mark.parametrize("size", SIZES[1:])
async def test_a_quiz_left_in_the_middle_goes_on_in_another_process(
    running: Running, studio: Studio, size: tuple[int, int]
) -> None:
    async with running(studio, size=size) as (app, pilot):
        app.push_screen(QuizTakeScreen(quizdesk.sit_down(studio, pack())))
        await settle(pilot)
        assert "Listen twice." in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("1")  # wrong
        await settle(pilot)
        assert "Not this time: it is the third" in text_of(app)
        assert "The third, E, is lowest." in text_of(app)
        await pilot.press("2")  # told: it stands
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
    async with running(studio, size=size) as (app, pilot):
        app.go("quiz")
        await settle(pilot)
        assert "1 of 4 answered" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, QuizTakeScreen)
        assert (screen.taking.at, screen.taking.answers) == (1, (1, 0, 0, 0))
        await pilot.press("f")
        assert "3 questions are still open" in text_of(app)
        await pilot.press("f")
        await settle(pilot)
        assert isinstance(app.screen, QuizTakenScreen)
        assert "0 of 4 right" in text_of(app)
    assert quizdesk.left(studio) is None


async def test_the_first_screen_leads_back_to_a_quiz(running: Running, studio: Studio) -> None:
    seat = quizdesk.sit_down(studio, pack())
    quizdesk.keep(studio, seat, seat.taking.give(1).go(2))
    async with running(studio) as (app, pilot):
        assert "“Tide chords” waits where you left it" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, QuizTakeScreen)
        assert app.screen.taking.at == 2
        await pilot.press("f", "f")
        await settle(pilot)
        await pilot.press("escape")
        await settle(pilot)
        assert "Go on with the quiz" not in text_of(app)


async def test_answers_may_change_until_the_end(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = QuizTakeScreen(quizdesk.sit_down(studio, LATE))
        app.push_screen(screen)
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("1")
        await settle(pilot)
        assert "Noted" in text_of(app)
        assert "third, E" not in text_of(app)
        await pilot.press("2")
        await settle(pilot)
        assert screen.taking.answers[0] == 2
        await pilot.press("u")
        await settle(pilot)
        assert screen.taking.answers[0] == 0
        await pilot.press("down", "enter")
        await settle(pilot)
        assert screen.taking.answers[0] == 2
        await pilot.press("enter")  # the same line again goes on
        await settle(pilot)
        assert screen.taking.at == 1
        await pilot.press("left")
        await settle(pilot)
        assert screen.taking.at == 0
        for index in range(4):
            await pilot.press(right_key(LATE, screen.taking.at))
            await settle(pilot)
            if index < 3:
                await pilot.press("enter")
                await settle(pilot)
        await pilot.press("f", "f")
        await settle(pilot)
        assert "4 of 4 right" in text_of(app)


async def test_excerpts_sound_and_seen_ones_are_drawn(running: Running, studio: Studio, clock: Clock) -> None:
    by_eye = replace(item(2), heard=(), seen=item(2).heard)
    made = replace(pack(), items=(item(0), by_eye))
    async with running(studio) as (app, pilot):
        app.push_screen(QuizTakeScreen(quizdesk.sit_down(studio, made)))
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.pause(0.2)
        assert len(studio.outlets.player.played) == 1  # type: ignore[attr-defined]
        clock.pass_s(30)
        await pilot.press("space")
        await pilot.pause(0.2)
        assert len(studio.outlets.player.played) == 2  # type: ignore[attr-defined]
        assert not app.screen.query_one("#score-0").display
        await pilot.press("right")
        await settle(pilot)
        assert app.screen.query_one("#score-0").display
        assert "by eye" in text_of(app)


async def test_a_click_answers(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = QuizTakeScreen(quizdesk.sit_down(studio, pack()))
        app.push_screen(screen)
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.click("#choices", offset=(6, 1))
        await settle(pilot)
        assert screen.taking.answers[0] == 2


@pytest.mark.parametrize("text", ["", "{}", '{"kind": "larkstair quiz", "schema": 9}', "\x00\xff", None])
async def test_a_bad_quiz_is_refused_in_one_line(
    running: Running, studio: Studio, tmp_path: Path, text: str | None
) -> None:
    path = tmp_path / "bad\x1b[31m.quiz.json"
    if text is not None:
        path.write_bytes(text.encode("latin-1"))
    async with running(studio) as (app, pilot):
        app.go("quiz")
        await settle(pilot)
        for key in ("t", "c"):
            await pilot.press(key)
            await type_in(app, pilot, str(path))
            screen = app.screen
            assert isinstance(screen, QuizScreen)
            assert screen.foot.bad
            assert screen.foot.notice
            assert screen.foot.notice.isprintable()
            await pilot.press("escape")
    assert quizdesk.left(studio) is None


async def test_hostile_words_stay_words(running: Running, studio: Studio) -> None:
    raw = json.loads(dumps(pack()))
    raw["title"] = "[bold red]\x1b[2Jtitle[/]"
    raw["items"][0]["prompt"] = "[link=file:///]\u202eprompt[/link] [nonsense"
    raw["items"][0]["choices"][0]["text"] = "[@click=app.quit]x[/]"
    async with running(studio) as (app, pilot):
        app.push_screen(QuizTakeScreen(quizdesk.sit_down(studio, loads(json.dumps(raw)))))
        await settle(pilot)
        assert "[bold red] [2Jtitle[/]" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert "[link=file:///]prompt[/link] [nonsense" in text_of(app)
        assert "[@click=app.quit]x[/]" in text_of(app)


def test_a_long_excerpt_is_drawn_in_part_and_says_so() -> None:
    long = Excerpt("The song", Phrase.parse("C4:.5 D4:.5 " * 400))
    shown = drawable(long)
    assert len(shown.phrase.tones) == MOST_DRAWN
    assert shown.caption == "The song (drawn: the beginning)"
    short = Excerpt("Bar 1", Phrase.parse("C4:1"))
    assert drawable(short) is short


# -- gathering


async def test_codes_folders_and_refusals(running: Running, studio: Studio, tmp_path: Path) -> None:
    quiz = tmp_path / "tide.quiz.json"
    quiz.write_text(dumps(pack()), encoding="utf-8")
    answers = tmp_path / "answers"
    answers.mkdir()
    for number in range(6):
        sheet = Sheet(pack().id, (1 + number % 2, 1, 3, 2), f"{number:08x}")
        (answers / f"{number}.json").write_text(to_file(sheet), encoding="utf-8")
    (answers / "odd.txt").write_text("nonsense\n", encoding="utf-8")
    async with running(studio) as (app, pilot):
        app.push_screen(screen := QuizGatherScreen())
        await settle(pilot)
        await type_in(app, pilot, str(tmp_path / "nothing"))
        assert screen.foot.bad
        await type_in(app, pilot, str(quiz))
        await type_in(app, pilot, str(answers))
        assert screen.found is not None
        assert (screen.found.figures.sheets, screen.found.refused_count) == (6, 1)
        shown = str(screen.query_one("#figures", Static).render())
        for words in ("50%", "taken for “the root”", "KR-20", "odd.txt, line 1", "Inversions: triads"):
            assert words in shown
        await pilot.press("a")
        await settle(pilot)
        await type_in(app, pilot, to_code(Sheet(pack().id, (2, 1, 3, 2), "000000aa")))
        assert screen.found.figures.sheets == 7
        await pilot.press("u")
        await settle(pilot)
        assert screen.found.figures.sheets == 6
        await pilot.press("e")
        await settle(pilot)
        await type_in(app, pilot, str(tmp_path / "figures"))
        assert sorted(p.name for p in (tmp_path / "figures").iterdir()) == [
            "tide-chords.figures.csv", "tide-chords.figures.json",
        ]  # fmt: skip
        await pilot.press("a")
        await settle(pilot)
        await type_in(app, pilot, str(tmp_path / "no such folder"))
        assert screen.foot.bad
        assert screen.found.figures.sheets == 6


@pytest.mark.parametrize("size", SIZES[:1])
async def test_help_on_every_screen(running: Running, studio: Studio, size: tuple[int, int]) -> None:
    from tutor.tui.screens.help import HelpScreen

    draft, seat = quizdesk.begin_draft(studio, pack(), []), quizdesk.sit_down(studio, pack())
    async with running(studio, size=size) as (app, pilot):
        for screen in (QuizScreen(), QuizMakeScreen(), QuizEditScreen(draft, []), QuizWriteScreen(draft),
                       QuizTakeScreen(seat), QuizTakenScreen(seat.taking.finish()), QuizGatherScreen()):  # fmt: skip
            app.push_screen(screen)
            await settle(pilot)
            screen.action_help()
            await settle(pilot)
            assert isinstance(app.screen, HelpScreen)
            app.pop_screen()
            app.pop_screen()
