"""Pictures of the quiz screens: made, looked over, taken, told, handed in, gathered."""

from __future__ import annotations

import sys
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.quiz.packs import pack
from tests.tui.conftest import settle
from tutor.quiz.gather import gather_sheets
from tutor.quiz.sheet import Sheet
from tutor.quiz.taking import Taking
from tutor.studio import Studio, quizdesk
from tutor.studio.quizdesk import Seat
from tutor.tui.app import LarkstairApp
from tutor.tui.look import Look, ThemeName
from tutor.tui.screens.quiz import QuizScreen
from tutor.tui.screens.quiz_edit import QuizEditScreen
from tutor.tui.screens.quiz_gather import QuizGatherScreen
from tutor.tui.screens.quiz_make import QuizMakeScreen
from tutor.tui.screens.quiz_take import QuizTakeScreen
from tutor.tui.screens.quiz_taken import QuizTakenScreen

pytestmark = pytest.mark.skipif(
    sys.version_info[:2] != (3, 11), reason="pictures are compared on one version of Python only"
)

PACK = pack()
ANSWERED = Taking.begin(PACK, "0a0b0c0d").give(2).go(1).give(1).go(2).give(1).go(3)
Walk = Callable[[Pilot[Any], Studio], Awaitable[None]]


async def menu(pilot: Pilot[Any], studio: Studio) -> None:
    pilot.app.push_screen(QuizScreen())


async def make(pilot: Pilot[Any], studio: Studio) -> None:
    pilot.app.push_screen(QuizMakeScreen())


async def edit(pilot: Pilot[Any], studio: Studio) -> None:
    pilot.app.push_screen(QuizEditScreen(quizdesk.begin_draft(studio, PACK, []), []))


async def take(pilot: Pilot[Any], studio: Studio) -> None:
    pilot.app.push_screen(QuizTakeScreen(Seat(studio.store.begin("quiz", "Ada", ANSWERED.to_json()), ANSWERED)))


async def told(pilot: Pilot[Any], studio: Studio) -> None:
    await take(pilot, studio)
    await settle(pilot)
    await pilot.press("left")


async def taken(pilot: Pilot[Any], studio: Studio) -> None:
    pilot.app.push_screen(QuizTakenScreen(ANSWERED.finish()))


async def gathered(pilot: Pilot[Any], studio: Studio) -> None:
    screen = QuizGatherScreen()
    pilot.app.push_screen(screen)
    await settle(pilot)
    screen.pack = PACK
    sheets = [(2, 1 + n % 3, 3 if n % 2 else 1, 0 if n == 5 else 2) for n in range(12)]
    rows = [("chat.txt", Sheet(PACK.id, s, f"{n:08x}")) for n, s in enumerate(sheets)]
    screen.found = gather_sheets(PACK, [*rows, ("chat.txt, line 13", rows[0][1])])
    screen._show(screen.found)


WALKS: dict[str, Walk] = {
    "menu": menu, "make": make, "edit": edit, "take": take, "told": told, "taken": taken, "gather": gathered,
}  # fmt: skip


@pytest.mark.parametrize(
    ("size", "theme"), [((80, 24), "night"), ((140, 45), "day")], ids=["80x24-night", "140x45-day"]
)
@pytest.mark.parametrize("name", WALKS)
def test_the_quiz_screens_look_as_they_did(
    snap_compare: Any, still: None, studio: Studio, name: str, size: tuple[int, int], theme: ThemeName
) -> None:
    async def walk(pilot: Pilot[Any]) -> None:
        await settle(pilot)
        await WALKS[name](pilot, studio)
        await settle(pilot)

    app = LarkstairApp(studio)
    app.set_look(Look(theme))
    assert snap_compare(app, terminal_size=size, run_before=walk)
