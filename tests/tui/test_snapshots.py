"""Pictures of every screen, at two sizes, in both themes.

A screen is reached once; its size and theme are changed where it stands, as a user may do at any moment.
"""

from __future__ import annotations

import sys
from typing import Any

import pytest
from pytest_textual_snapshot import SVGImageExtension
from textual.pilot import Pilot
from textual.widgets import Input

from tests.tui.conftest import settle
from tests.tui.walks import WALKS, WITH_OWN_DRILLS
from tutor.practice.catalogue import drills as OWN_DRILLS  # noqa: N812 - the tests put others in its place
from tutor.studio import Studio
from tutor.tui.app import LarkstairApp
from tutor.tui.look import Look, ThemeName

pytestmark = pytest.mark.skipif(
    sys.version_info[:2] != (3, 11), reason="pictures are compared on one version of Python only"
)
LOOKS: tuple[tuple[tuple[int, int], ThemeName], ...] = (
    ((80, 24), "night"), ((80, 24), "day"), ((140, 45), "day"), ((140, 45), "night"),
)  # fmt: skip


async def picture(app: LarkstairApp, pilot: Pilot[Any], size: tuple[int, int], theme: ThemeName) -> str:
    """The screen as it stands, at another size and in another theme."""
    if app.size != size:
        await pilot.resize_terminal(*size)
    if app.look.theme != theme:
        app.set_look(Look(theme))
    for field in app.screen.query(Input):
        field.cursor_blink = False
    await settle(pilot)
    await pilot.pause()
    return app.export_screenshot(title="Larkstair")


async def compare(app: LarkstairApp, snapshot: Any, name: str) -> None:
    changed = []
    async with app.run_test(size=LOOKS[0][0]) as pilot:
        await settle(pilot)
        await WALKS[name](pilot)
        for size, theme in LOOKS:
            label = f"{name}-{size[0]}x{size[1]}-{theme}"
            if await picture(app, pilot, size, theme) != snapshot(name=label, extension_class=SVGImageExtension):
                changed.append(label)
    assert not changed, f"{changed} look otherwise; if that is meant, run this test with --snapshot-update"


@pytest.mark.parametrize("name", WALKS)
async def test_the_screen_looks_as_it_did(
    snapshot: Any, still: None, studio: Studio, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    if name in WITH_OWN_DRILLS:
        for place in ("tutor.studio.rehearsal.drills", "tutor.practice.catalogue.drills"):
            monkeypatch.setattr(place, OWN_DRILLS)
    app = LarkstairApp(studio)
    app.strict = True
    app.set_look(Look("night"))
    await compare(app, snapshot, name)


@pytest.mark.parametrize("steps", [1, 2, 3])
async def test_the_welcome_looks_as_it_did(snapshot: Any, still: None, empty_studio: Studio, steps: int) -> None:
    app = LarkstairApp(empty_studio)
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        for _ in range(steps):
            await pilot.press("enter")
            await settle(pilot)
        assert app.export_screenshot(title="Larkstair") == snapshot(
            name=f"welcome-{steps}", extension_class=SVGImageExtension
        )
