"""Quizzes on the screen: taken, left and taken up again, by keyboard alone."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.quiz.packs import item, pack
from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.quizzing import LATE, SIZES, right_key, type_in
from tutor.music.phrase import Phrase
from tutor.practice.drill import Excerpt
from tutor.quiz.pack import dumps, loads
from tutor.studio import Studio, quizdesk
from tutor.tui.screens.quiz import QuizScreen
from tutor.tui.screens.quiz_take import QuizTakeScreen
from tutor.tui.screens.quiz_taken import QuizTakenScreen
from tutor.tui.widgets.score import MOST_DRAWN, drawable


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
