"""What screens share that ask a question and then show a page, which can be written into a file."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import ClassVar

from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.errors import plain
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu
from tutor.tui.widgets.path_field import PathField
from tutor.tui.widgets.told import Told


class PageScreen(Stage):
    """A question with its menu, or a page; and a field for the file."""

    AUTO_FOCUS = "Menu"
    TITLES: ClassVar[int] = 24
    """Columns of the menu's titles."""
    MARKUP: ClassVar[bool] = True
    """Whether the page is told in markup."""

    def content(self) -> Iterable[Widget]:
        """The question, the field, and either the menu or the page."""
        yield Static(id="prompt", classes="prompt", markup=False)
        yield PathField(id="file", classes="gap hidden")
        with VerticalScroll(classes="page gap", id="page"):
            yield Told(id="text", classes="body hidden", markup=self.MARKUP)
            yield Menu(id="menu", title_width=self.TITLES)

    @property
    def writing(self) -> bool:
        """True while the field asks for the file."""
        return self.is_mounted and not self.query_one("#file").has_class("hidden")

    def offer(self, path: str, words: str) -> None:
        """Ask for the file.

        Args:
            path: what stands in the field.
            words: what Enter does, for the foot.
        """
        self.query_one(PathField).offer(path)
        self.say(words)
        self.refresh_bindings()

    def written(self, path: Path) -> None:
        """Tell that it is written."""
        self._close_field()
        self.say(f"Written to {plain(str(path))}")

    def _close_field(self) -> None:
        self.query_one(PathField).add_class("hidden")
        self.query_one("#page").focus()
        self.refresh_bindings()

    def action_back(self) -> None:
        """A step back: out of the field, else as the screen says."""
        if self.writing:
            self._close_field()
            self.say("")
        else:
            self.step_back()

    def step_back(self) -> None:
        """Where a step back leads from the question or the page."""
        super().action_back()
