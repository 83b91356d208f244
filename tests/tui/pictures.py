"""Pictures of the running app for the documentation: ``python -m tests.tui.pictures FOLDER``.

The song, drills, lessons and plan are the frozen ones of the tests, so that the pictures change only with the screens.
"""

from __future__ import annotations

import asyncio
import re
import sys
from pathlib import Path

import pytest

from tests.tui import frozen, walks
from tests.tui.conftest import Clock, freeze, make_studio
from tutor.tui.app import LarkstairApp
from tutor.tui.look import Look, ThemeName

WANTED: tuple[tuple[str, tuple[int, int], ThemeName], ...] = (
    ("today", (80, 24), "night"),
    ("song", (80, 24), "night"),
    ("song", (140, 45), "day"),
    ("question", (80, 24), "night"),
    ("answered", (80, 24), "day"),
    ("notes", (80, 24), "night"),
    ("plan", (80, 24), "day"),
    ("led", (80, 24), "night"),
)
"""Screen, size and theme of each picture."""


async def take(name: str, size: tuple[int, int], theme: ThemeName, folder: Path) -> Path:
    """Walk to a screen and save it."""
    studio = make_studio(Clock())
    studio.set_voice("soprano")
    studio.rename_singer("Ada")
    frozen.furnish(studio.store)
    app = LarkstairApp(studio)
    app.set_look(Look(theme))
    async with app.run_test(size=size) as pilot:
        await walks.WALKS[name](pilot)
        saved = folder / f"{name}-{size[0]}x{size[1]}-{theme}.svg"
        # The library points to a font on the web; a picture of ours asks nothing of a network.
        drawn = re.sub(r"@font-face\s*\{.*?\}", "", app.export_screenshot(title="Larkstair"), flags=re.S)
        saved.write_text(drawn, encoding="utf-8")
    studio.close()
    return saved


def main() -> None:
    """Save every picture."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        freeze(patch)
        for name, size, theme in WANTED:
            sys.stdout.write(f"{asyncio.run(take(name, size, theme, folder))}\n")


if __name__ == "__main__":
    main()
