"""Questions in a list and the one in the light in full: below each other, or side by side where there is room."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from textual import events
from textual.binding import Binding
from textual.containers import Container, VerticalScroll
from textual.widget import Widget

from tutor.quiz.pack import PackItem
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.quiz_view import QuizView

_WIDE = 110
"""From this many columns on the two stand side by side."""
_LIST_SHARE = 0.4
_EDGES = 17
"""Cells of a row that its text cannot have."""


class Halves(Stage):
    """What the screens that look over a quiz share."""

    AUTO_FOCUS = "Menu"
    DEFAULT_CSS = """
    Halves #halves { height: 1fr; layout: vertical; }
    Halves #list { height: 1fr; min-height: 4; }
    Halves QuizView { height: 2fr; border-top: solid $rule; }
    Halves #halves.wide { layout: horizontal; }
    Halves .wide #list { width: 2fr; height: 1fr; }
    Halves .wide QuizView { width: 3fr; height: 1fr; border-top: none; }
    Halves .full #list { display: none; }
    Halves .full QuizView { border-top: none; }
    """

    def halves(self) -> Iterable[Widget]:
        """The two halves."""
        with Container(id="halves", classes="gap"):
            with VerticalScroll(id="list", can_focus=False):
                yield Menu(id="menu")
            yield QuizView(can_focus=False)

    def item_rows(self, items: Sequence[PackItem], signs: Sequence[str] = ()) -> list[Row]:
        """A line for each question, cut to the width at hand."""
        width = self.app.size.width
        room = int(width * (_LIST_SHARE if width >= _WIDE else 1)) - _EDGES
        rows = []
        for i, item in enumerate(items):
            title = item.prompt if len(item.prompt) <= room else item.prompt[: room - 1].rstrip() + self.signs.ellipsis
            rows.append(Row(str(i), title, key=f"{i + 1:>2}{f' {signs[i]}' if signs else ''}"))
        return rows

    def lay_halves(self) -> None:
        """Side by side where there is room."""
        wide = self.app.size.width >= _WIDE
        if wide and self.is_full:
            self.action_full()
        self.query_one("#halves").set_class(wide, "wide")
        self.refresh_bindings()

    def on_resize(self, event: events.Resize) -> None:
        """Another size of the terminal."""
        self.lay_halves()

    @property
    def at(self) -> int:
        """Index of the question in the light."""
        return self.query_one(Menu).at

    @property
    def is_full(self) -> bool:
        """True while one question has the whole screen."""
        return self.query_one("#halves").has_class("full")

    @property
    def is_wide(self) -> bool:
        """True where both stand side by side."""
        return self.query_one("#halves").has_class("wide")

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Enter or a click shows the question in full, or plays it where it is in full already."""
        self.action_hear() if self.is_wide else self.action_full()

    def action_hear(self) -> None:
        """Hear the question in the light."""

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Side by side there is nothing to enlarge."""
        return not self.is_wide if action == "full" and self.is_mounted else True

    def key_words(self, binding: Binding, named: tuple[str, str]) -> tuple[str, str] | None:
        """What Enter does now."""
        return ("Enter", "list") if binding.action == "full" and self.is_full else named

    def action_full(self) -> None:
        """Give the question the whole screen, or the list its place again."""
        view, full = self.query_one(QuizView), not self.is_full
        self.query_one("#halves").set_class(full, "full")
        view.can_focus = full
        (view if full else self.query_one(Menu)).focus()
        self.refresh_bindings()
