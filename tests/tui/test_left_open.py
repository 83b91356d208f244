"""A session that is still open when another is to begin: nothing is closed before the singer says so."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.singing import leading, planned, to_where
from tests.tui.walking import frozen_song, show
from tutor.practice.drill import Answer
from tutor.studio import Studio, diary
from tutor.tui.app import LarkstairApp
from tutor.tui.screens.assignment import AssignmentScreen
from tutor.tui.screens.begin import BeginScreen
from tutor.tui.screens.led import LedScreen
from tutor.tui.screens.left_open import GONE, LeftOpenScreen, RunLeftOpenScreen
from tutor.tui.screens.practice import PracticeScreen
from tutor.tui.screens.song import SongScreen
from tutor.tui.screens.warmup import WarmupScreen
from tutor.tui.stage import Stage
from tutor.warmup import run as runs
from tutor.warmup.load import run_dose

pytestmark = pytest.mark.usefixtures("still")


def waiting(studio: Studio) -> tuple[int, int] | None:
    return studio.rehearsal.left_in_the_middle(studio.singer)


def leave(studio: Studio, answers: int) -> None:
    """Begin a session, answer some of it, and leave it."""
    studio.rehearsal.begin(studio.singer, count=4, skills=[("choosing", "one")])
    for _ in range(answers):
        studio.rehearsal.answer(Answer(choice="second inversion"), 2.0)


async def test_the_open_session_goes_on(running: Running, studio: Studio) -> None:
    leave(studio, 1)
    left = waiting(studio)
    assert left is not None
    async with running(studio) as (app, pilot):
        await show(app, pilot, BeginScreen())
        await pilot.press("down", "enter")
        await settle(pilot)
        assert isinstance(app.screen, LeftOpenScreen)
        shown = text_of(app)
        assert f"question 2 of {left[1]} waits where you left it" in shown
        assert "your answer stays; the rest is not asked" in shown
        assert waiting(studio) == left, "nothing is closed while the question stands"
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, PracticeScreen)
        assert waiting(studio) == left
        session = studio.rehearsal.session
        assert session is not None
        assert len(session.done) == 1, "it is the one that was left"
        assert not any(isinstance(s, (BeginScreen, LeftOpenScreen)) for s in app.screen_stack)


async def test_it_is_put_aside_and_its_answers_stay(running: Running, studio: Studio) -> None:
    leave(studio, 2)
    answered, cards = studio.reviews(), studio.cards()
    async with running(studio) as (app, pilot):
        await show(app, pilot, BeginScreen())
        await pilot.press("down", "enter")
        await settle(pilot)
        assert "your 2 answers stay" in text_of(app)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert isinstance(app.screen, PracticeScreen)
        assert waiting(studio) == (0, 10)
        assert studio.reviews() == answered
        assert studio.cards() == cards


@pytest.mark.parametrize("keys", [["escape"], ["end", "enter"]])
async def test_neither_leaves_everything(running: Running, studio: Studio, keys: list[str]) -> None:
    studio.rehearsal.begin(studio.singer, minutes=5)
    async with running(studio) as (app, pilot):
        asking = BeginScreen()
        await show(app, pilot, asking)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert "question 1 waits where you left it" in text_of(app)
        await pilot.press(*keys)
        await settle(pilot)
        assert app.screen is asking
        assert waiting(studio) == (0, 0), "the timed session still waits"


async def test_a_key_pressed_twice_asks_once(running: Running, studio: Studio) -> None:
    studio.rehearsal.begin(studio.singer, count=4)
    async with running(studio) as (app, pilot):
        await show(app, pilot, BeginScreen())
        await pilot.press("down")
        app.screen.query_one("Menu").action_choose()  # type: ignore[attr-defined]
        app.screen.query_one("Menu").action_choose()  # type: ignore[attr-defined]
        await settle(pilot)
        assert [type(s) for s in app.screen_stack].count(LeftOpenScreen) == 1


async def test_a_song_and_an_assignment_ask_too(running: Running, studio: Studio, tmp_path: Path) -> None:
    studio.rehearsal.begin(studio.singer, count=4)
    file = tmp_path / "week.json"
    file.write_text(json.dumps({"title": "One", "songs": [], "task": [{"drill": "choosing", "count": 2}]}))
    ways: list[tuple[Stage, str]] = [
        (SongScreen(frozen_song(studio)), "p"), (AssignmentScreen(file), "enter"),
    ]  # fmt: skip
    async with running(studio) as (app, pilot):
        for screen, key in ways:
            await show(app, pilot, screen)
            await pilot.press(key)
            await settle(pilot)
            assert isinstance(app.screen, LeftOpenScreen), type(screen).__name__
            await pilot.press("escape")
            await settle(pilot)
            assert app.screen is screen
        assert waiting(studio) == (0, 4)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert isinstance(app.screen, PracticeScreen)
        assert waiting(studio) == (0, 2), "what the assignment wants has begun"


async def test_one_that_cannot_be_read_any_more_is_told(running: Running, studio: Studio) -> None:
    studio.rehearsal.begin(studio.singer, count=4)
    kept = studio.store.unfinished(studio.singer.name, "practice")
    assert kept is not None
    inner = {**kept.body["session"], "queue": "?"}
    studio.store.keep_session(kept.id, {**kept.body, "session": inner})
    async with running(studio) as (app, pilot):
        await show(app, pilot, BeginScreen())
        await pilot.press("down", "enter")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, BeginScreen)
        assert GONE.split(";")[0] in text_of(app)


async def test_a_new_one_that_cannot_begin_closes_nothing(running: Running, studio: Studio) -> None:
    leave(studio, 1)
    left = waiting(studio)
    async with running(studio) as (app, pilot):
        await show(app, pilot, BeginScreen())
        from tutor.tui.screens.begin import begin

        begin(app.screen, skills=[("no such drill", "one")])  # type: ignore[arg-type]
        await settle(pilot)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert isinstance(app.screen, BeginScreen)
        assert app.screen.foot.bad
        assert waiting(studio) == left


# -- a warm-up


async def sung_and_left(app: LarkstairApp, pilot: Pilot[Any], studio: Studio) -> runs.Run:
    """Begin a warm-up, sing one turn, leave it, and stand before the next one's plan."""
    led = await leading(app, pilot, studio)
    await to_where(led, pilot, lambda run: bool(run.sung))
    await pilot.press("escape")
    await settle(pilot)
    await planned(app, pilot, studio)
    found = diary.left(studio)
    assert found is not None
    assert found[0].sung
    return found[0]


async def test_an_open_warm_up_is_asked_about_and_goes_on(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        run = await sung_and_left(app, pilot, studio)
        asking = app.screen
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, RunLeftOpenScreen)
        shown = " ".join(text_of(app).split())
        assert f"step {run.step + 1} of {len(run.plan.steps)} waits where you left it" in shown
        assert run.plan.title in shown
        assert "what you sang goes into the diary" in shown
        assert "fits" not in shown
        await pilot.press("escape")
        await settle(pilot)
        assert app.screen is asking
        found = diary.left(studio)
        assert found is not None
        assert found[0] == run, "neither closes it"
        assert not diary.entries(studio)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, LedScreen)
        assert app.screen.led == run
        assert not any(isinstance(s, (WarmupScreen, RunLeftOpenScreen)) for s in app.screen_stack)


async def test_a_warm_up_put_aside_goes_into_the_diary_of_its_day(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        run = await sung_and_left(app, pilot, studio)
        day = diary.today(studio)
        clock.pass_s(86_400)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert isinstance(app.screen, LedScreen)
        found = diary.left(studio)
        assert found is not None
        assert not found[0].sung, "the new one has begun"
        (entry,) = diary.entries(studio)
        assert (entry.on, entry.song, entry.after) == (day, run.plan.title, None)
        assert entry.time_s == pytest.approx(run_dose(run)[0], abs=0.1)
        assert entry.time_s > 0


async def test_a_warm_up_for_a_fresher_voice_is_not_gone_on_with(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await sung_and_left(app, pilot, studio)
        screen = app.screen
        assert isinstance(screen, WarmupScreen)
        screen._condition = "tired"
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert app.screen is screen
        assert "This one is for today" in text_of(app)
        assert diary.left(studio) is None
        assert len(diary.entries(studio)) == 1
