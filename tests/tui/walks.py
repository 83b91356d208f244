"""How each screen is reached: the steps that the pictures take, from a furnished studio."""

from __future__ import annotations

import asyncio
import json
import tempfile
from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from textual.pilot import Pilot
from textual.widgets import Input

from tests.quiz.packs import pack
from tests.tui import frozen
from tests.tui.conftest import settle
from tutor.practice.drill import Song
from tutor.quiz.pack import dumps
from tutor.quiz.sheet import Sheet, to_code
from tutor.studio import quizdesk
from tutor.tui.app import LarkstairApp
from tutor.tui.screens.practice import PracticeScreen
from tutor.tui.screens.song import SongScreen
from tutor.tui.screens.warmup import WarmupScreen
from tutor.tui.stage import Stage

Walk = Callable[[Pilot[Any]], Awaitable[None]]


def app_of(pilot: Pilot[Any]) -> LarkstairApp:
    app = pilot.app
    assert isinstance(app, LarkstairApp)
    return app


def opened(pilot: Pilot[Any]) -> Song:
    found = app_of(pilot).studio.library.get(frozen.CARD.id)
    assert found is not None
    return found


async def press(pilot: Pilot[Any], *keys: str) -> None:
    """Press keys one after the other, each when the one before has had its effect."""
    for key in keys:
        await pilot.press(key)
        await settle(pilot)


async def push(pilot: Pilot[Any], screen: Stage) -> None:
    app_of(pilot).push_screen(screen)
    await settle(pilot)


async def today(pilot: Pilot[Any]) -> None:
    await settle(pilot)


def going(name: str, *keys: str) -> Walk:
    """To a screen by name, and on from there."""

    async def walk(pilot: Pilot[Any]) -> None:
        app_of(pilot).go(name)
        await settle(pilot)
        await press(pilot, *keys)

    return walk


async def song(pilot: Pilot[Any]) -> None:
    await push(pilot, SongScreen(opened(pilot)))
    await press(pilot, "n", "n")


async def song_staff(pilot: Pilot[Any]) -> None:
    await song(pilot)
    await press(pilot, "enter")


async def correcting(pilot: Pilot[Any]) -> None:
    await song(pilot)
    await press(pilot, "c")


async def in_words(pilot: Pilot[Any]) -> None:
    await song(pilot)
    await press(pilot, "d")


async def help_(pilot: Pilot[Any]) -> None:
    await song(pilot)
    await press(pilot, "question_mark")


# -- practice


async def ask_silently(pilot: Pilot[Any], drill: str, count: int = 10) -> None:
    app = app_of(pilot)
    app.studio.rehearsal.begin(app.studio.singer, count=count, skills=[(drill, "one")])
    await push(pilot, PracticeScreen())


async def ask(pilot: Pilot[Any], drill: str) -> None:
    await ask_silently(pilot, drill)
    await sounding(pilot)


async def sounding(pilot: Pilot[Any]) -> None:
    """Wait until the loudspeaker has begun, so that the picture is always the same."""
    for _ in range(200):
        if app_of(pilot).studio.outlets.player.played:  # type: ignore[attr-defined]
            break
        await asyncio.sleep(0.01)
    await pilot.pause(0.15)


async def question(pilot: Pilot[Any]) -> None:
    await ask(pilot, "choosing")


async def answered(pilot: Pilot[Any]) -> None:
    await ask(pilot, "choosing")
    await press(pilot, "1")


async def notes(pilot: Pilot[Any]) -> None:
    await ask(pilot, "playing")
    await pilot.press("a", "d")
    await sounding(pilot)
    await settle(pilot)


async def taps(pilot: Pilot[Any]) -> None:
    await ask_silently(pilot, "tapping")


async def singing(pilot: Pilot[Any]) -> None:
    await ask(pilot, "singing")


async def finished(pilot: Pilot[Any]) -> None:
    await ask_silently(pilot, "choosing", 3)
    await press(pilot, "2", "enter", "1", "enter", "2", "enter")


async def placement(pilot: Pilot[Any]) -> None:
    from tutor.tui.screens.placement import place

    place(app_of(pilot).screen)  # type: ignore[arg-type]
    await settle(pilot)
    await pilot.pause(0.2)


async def placed(pilot: Pilot[Any]) -> None:
    await placement(pilot)
    await press(pilot, "2", "enter", "1", "enter", "escape")


async def left_open(pilot: Pilot[Any]) -> None:
    app = app_of(pilot)
    app.studio.rehearsal.begin(app.studio.singer, count=10, skills=[("choosing", "one")])
    await going("practice", "down", "enter")(pilot)


async def dispute(pilot: Pilot[Any]) -> None:
    from tutor.tui.screens.dispute import DisputeScreen

    await push(pilot, DisputeScreen(opened(pilot), f"bars 9–10 of “{frozen.CARD.title}”", lambda _: None))


# -- warming up


async def gate(pilot: Pilot[Any]) -> None:
    await push(pilot, WarmupScreen(song=opened(pilot)))


async def plan(pilot: Pilot[Any]) -> None:
    await gate(pilot)
    await press(pilot, "enter", "enter")


async def agenda(pilot: Pilot[Any]) -> None:
    await plan(pilot)
    await press(pilot, "a")


async def range_asking(pilot: Pilot[Any]) -> None:
    await going("range", "enter", "enter", "enter")(pilot)
    await sounding(pilot)


async def led(pilot: Pilot[Any]) -> None:
    await plan(pilot)
    await press(pilot, "enter")
    await pilot.press("space", "s", "s", "s")
    await settle(pilot)
    await sounding(pilot)


# -- quizzes


async def quiz_edit(pilot: Pilot[Any]) -> None:
    from tutor.tui.screens.quiz_edit import QuizEditScreen

    await push(pilot, QuizEditScreen(quizdesk.begin_draft(app_of(pilot).studio, pack(), []), []))


async def quiz_write(pilot: Pilot[Any]) -> None:
    await quiz_edit(pilot)
    await press(pilot, "w")


async def _seated(pilot: Pilot[Any]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "tide.quiz.json"
        file.write_text(dumps(replace(pack(), reveal="at once")), encoding="utf-8")
        await going("quiz", "t")(pilot)
        await type_in(pilot, str(file))


async def type_in(pilot: Pilot[Any], text: str) -> None:
    """Fill the field that has the keys, and press Enter."""
    field = app_of(pilot).focused
    assert isinstance(field, Input)
    field.value = text
    await press(pilot, "enter")


async def quiz_asked(pilot: Pilot[Any]) -> None:
    await _seated(pilot)
    await press(pilot, "enter")
    await sounding(pilot)


async def quiz_answered(pilot: Pilot[Any]) -> None:
    await quiz_asked(pilot)
    await press(pilot, "1")


async def quiz_taken(pilot: Pilot[Any]) -> None:
    await _seated(pilot)
    await press(pilot, "enter", *["2", "enter"] * 4)


async def quiz_gathered(pilot: Pilot[Any]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "tide.quiz.json"
        file.write_text(dumps(pack()), encoding="utf-8")
        answers = Path(folder) / "answers.txt"
        sheets = [Sheet(pack().id, (1 + n % 2, 1, 3, 2), f"{n:08x}") for n in range(6)]
        answers.write_text("\n".join(map(to_code, sheets)), encoding="utf-8")
        await going("quiz", "g")(pilot)
        await type_in(pilot, str(file))
        await type_in(pilot, str(answers))


async def assignment(pilot: Pilot[Any]) -> None:
    from tutor.tui.screens.assignment import AssignmentScreen

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "week.json"
        tasks = [{"drill": "choosing", "skills": ["one"], "count": 4}, {"drill": "tapping", "count": 2}]
        given = {"title": "Second week", "teacher": "M. Ohlin", "due": "2026-12-04", "songs": [], "task": tasks}
        file.write_text(json.dumps(given), encoding="utf-8")
        await push(pilot, AssignmentScreen(file))


# -- setup


def setup_to(row: str) -> Walk:
    """From Setup to the screen behind one of its rows."""

    async def walk(pilot: Pilot[Any]) -> None:
        from tutor.tui.widgets.menu import Menu

        await going("setup")(pilot)
        menu = app_of(pilot).screen.query_one(Menu)
        menu.show(menu.rows, row)
        await press(pilot, "enter")

    return walk


WALKS: dict[str, Walk] = {
    "today": today, "songs": going("songs"), "song": song, "song-staff": song_staff, "correcting": correcting,
    "in-words": in_words, "begin": going("practice"), "question": question, "answered": answered, "notes": notes,
    "taps": taps, "singing": singing, "left-open": left_open, "finished": finished,
    "placement": placement, "placed": placed,
    "dispute": dispute, "warmup": going("warmup"), "gate": gate, "plan": plan, "agenda": agenda, "led": led,
    "range": going("range"), "range-asking": range_asking, "diary": going("diary"),
    "lessons": going("lessons"), "lesson": going("lessons", "enter"), "progress": going("progress"),
    "quiz": going("quiz"), "quiz-make": going("quiz", "m"), "quiz-edit": quiz_edit, "quiz-write": quiz_write,
    "quiz-asked": quiz_asked, "quiz-answered": quiz_answered, "quiz-taken": quiz_taken,
    "quiz-gather": quiz_gathered, "assignment": assignment, "setup": going("setup"), "singers": setup_to("singers"),
    "stored": setup_to("stored"), "outputs": setup_to("through"), "help": help_,
}  # fmt: skip
"""Every screen, by the name of its picture."""
WITH_OWN_DRILLS = {"placement", "placed"}
"""Screens that ask with the program's own drills: a start is found with those alone."""
