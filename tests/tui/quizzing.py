"""Steps that the tests of the quiz screens take."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from textual.pilot import Pilot
from textual.widgets import Input

from tests.quiz.packs import pack
from tests.tui.conftest import settle
from tutor.quiz.pack import Pack
from tutor.studio import Studio, quizdesk
from tutor.tui.app import LarkstairApp
from tutor.tui.screens.quiz_edit import QuizEditScreen

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


async def editing(app: LarkstairApp, studio: Studio, pilot: Pilot[Any], made: Pack | None = None) -> QuizEditScreen:
    screen = QuizEditScreen(quizdesk.begin_draft(studio, made or pack(), []), [])
    app.push_screen(screen)
    await settle(pilot)
    return screen
