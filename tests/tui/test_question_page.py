"""The page of a question: what is asked and the choices are in sight, whatever the music needs."""

from __future__ import annotations

from dataclasses import replace

from tests.quiz.packs import item
from tests.tui.conftest import Running, settle
from tutor.music.phrase import Phrase
from tutor.practice.drill import Excerpt
from tutor.quiz.pack import Pack
from tutor.studio import Studio, quizdesk
from tutor.tui.screens.quiz_take import QuizTakeScreen
from tutor.tui.widgets.menu import Menu


async def test_choices_stay_in_sight_beside_tall_music(running: Running, studio: Studio) -> None:
    tall = Excerpt("Two systems", Phrase.parse(" ".join(["C2+G2+E4+C5:1"] * 40)))
    made = Pack("Tall", "", "at once", 1, (replace(item(0), heard=(), seen=(tall,)), item(1)))
    async with running(studio, size=(80, 24)) as (app, pilot):
        screen = QuizTakeScreen(quizdesk.sit_down(studio, made))
        app.push_screen(screen)
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        menu = screen.query_one("#choices", Menu)
        assert screen.page.virtual_size.height > screen.page.size.height
        assert screen.page.region.contains_region(menu.region)
        await pilot.press("pagedown")
        await pilot.pause(0.4)
        assert screen.page.scroll_y > 0
        assert menu.at == 0
        assert screen.page.region.contains_region(menu.region)
        await pilot.press("2", "right")
        await settle(pilot)
        assert not screen.page.has_class("pinned")
