"""A staff as an engraved picture where the app has an engraver; until one is ready, and whenever it cannot be, none."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from textual.widget import Widget
from textual.worker import Worker

from tutor.music.phrase import Phrase

if TYPE_CHECKING:
    from tutor.score.engrave import SungClef
    from tutor.tui.pictures.engraver import Engraved, Engraver

PATIENCE_S = 0.15
"""How long a staff must stand before it is engraved: who walks through a song does not wait for pictures."""
_ZOOM = 0.07
"""Enlargement for each pixel of a cell's height: a staff space then is half a row."""
_LARGE = 1.5


class Pictured(Widget):
    """What a staff of characters needs to become a picture."""

    def picture(self, phrase: Phrase, width: int, *, large: bool, clef: SungClef | None) -> Engraved | None:
        """The picture of a phrase, if it is ready; otherwise it is asked for.

        Args:
            phrase: what to show.
            width: cells.
            large: larger than usual.
            clef: clef of the sung line, as the staff of characters shows it.
        """
        engraver: Engraver | None = getattr(self.app, "engraver", None)
        if engraver is None or self.app.screen is not self.screen:
            return None  # what lies above the screen must not be painted over
        from tutor.score.raster import Ink

        theme = self.app.theme_variables
        ink = Ink(theme["house"], theme["text-body"], theme["staff-line"], theme["lamp"])
        zoom = _ZOOM * engraver.ability.cell_height * (_LARGE if large else 1.0)
        key = (phrase, width, ink, zoom, clef)
        if not engraver.known(key):
            self.call_later(self._ask, partial(engraver.make, key))
        found = engraver.get(key)
        if found is not None and self.app._driver is not None:
            self.app._driver.write(engraver.due(found))
        return found

    def _ask(self, make: Callable[[], None]) -> Worker[None]:
        """Have it made in the background; what was asked for before and not begun is dropped."""

        async def run() -> None:
            await asyncio.sleep(PATIENCE_S)
            await asyncio.to_thread(make)
            if self.is_running:
                self.refresh(layout=True)

        return self.run_worker(run, group="picture", exclusive=True, exit_on_error=False)
