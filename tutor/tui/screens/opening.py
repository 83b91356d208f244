"""Shown while a score is read; it can be given up at any moment."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Static

from tutor.errors import plain
from tutor.tui.stage import Stage

if TYPE_CHECKING:
    from tutor.practice.drill import Song


class OpeningScreen(Stage):
    """Reads a score in the background.

    Args:
        source: path, or name of a bundled song.
        then: what to do with the song; the song screen by default.
    """

    NAME = "Opening"
    HELP = "The score is being read. Esc gives up; nothing is lost."
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "back", "give up", key_display="Esc")]

    def __init__(self, source: str, then: Callable[[Song], None] | None = None) -> None:
        super().__init__()
        self._source = source
        self._then = then
        self._stop = threading.Event()
        self._tick = 0

    def content(self) -> Iterable[Widget]:
        """What is read, and that it goes on."""
        yield Static(f"Reading {plain(Path(self._source).name)}", id="what", classes="prompt", markup=False)
        yield Static("notes, keys, chords, form, voice: a few seconds the first time", classes="quiet")

    def ready(self) -> None:
        """Begin."""
        self.work(lambda: self.studio.open_song(self._source, stop=self._stop), self._opened, failed=self._failed)
        self.set_interval(0.25, self._step)

    def _step(self) -> None:
        self._tick += 1
        self.light(["hit" if i == self._tick % 8 else "wait" for i in range(8)])

    def _opened(self, song: Song) -> None:
        from tutor.tui.screens.song import SongScreen

        app = self.house
        app.pop_screen()
        if self._then is not None:
            self._then(song)
        else:
            app.push_screen(SongScreen(song))

    def _failed(self) -> None:
        notice = self.foot.notice
        app = self.house
        app.pop_screen()
        below = app.screen
        if isinstance(below, Stage) and not self._stop.is_set():
            below.say(notice, bad=True)

    def action_back(self) -> None:
        """Give up."""
        self._stop.set()
        super().action_back()
