"""Finding a start, progress, singers, what is stored, assignments, and disputes with the engine's evidence."""

from __future__ import annotations

from tests.tui.conftest import Clock, Running, make_studio, settle, text_of
from tests.tui.walking import show
from tutor.studio import Studio
from tutor.tui.screens.begin import BeginScreen
from tutor.tui.screens.placement import PlacedScreen, PlacementScreen

# -- finding a start


async def test_a_start_is_found_and_every_answer_kept(running: Running, clock: Clock) -> None:
    studio = make_studio(clock)
    async with running(studio) as (app, pilot):
        await show(app, pilot, BeginScreen())
        await pilot.press("down", "enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, PlacementScreen)
        for n in range(1, 9):
            asked = screen.placing.current
            assert asked is not None
            right = asked.drill.right(asked.item).choice
            labels = [c.label for c in asked.question.choices]
            await pilot.press(str(labels.index(right or "") + 1))
            await settle(pilot)
            assert len(studio.reviews()) == n, "kept at once"
            await pilot.press("enter")
            await settle(pilot)
        before = {p.drill: p.at for p in screen.placing.placement.probes}
        await pilot.press("0")
        await settle(pilot)
        await pilot.press("u")
        await settle(pilot)
        assert len(studio.reviews()) == 8
        assert {p.drill: p.at for p in screen.placing.placement.probes} == before
        await pilot.press("0")
        await settle(pilot)
        await pilot.press("d")
        await settle(pilot)
        assert len(studio.reviews()) == 8
        assert {p.drill: p.at for p in screen.placing.placement.probes} == before
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, PlacedScreen)
        assert "begins with" in text_of(app)
        begun = {c.key: c.level for c in studio.cards()}
        assert all(begun[c.key] == c.level for c in screen.placing.placement.cards())
    studio.close()


async def test_a_placement_left_at_once_changes_nothing(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await show(app, pilot, BeginScreen())
        await pilot.press("down", "enter")
        await settle(pilot)
        assert isinstance(app.screen, PlacementScreen)
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, BeginScreen)
        assert studio.cards() == ()


async def test_the_first_visit_offers_it(running: Running, empty_studio: Studio) -> None:
    async with running(empty_studio) as (app, pilot):
        for _ in range(4):
            await pilot.press("enter")
            await settle(pilot)
        assert isinstance(app.screen, PlacementScreen)
        await pilot.press("0")
        await settle(pilot)
        await pilot.press("escape")
        await settle(pilot)
        assert "This is where you begin" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert "Which song shall we begin with" in text_of(app)
