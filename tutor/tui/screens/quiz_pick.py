"""Choose several rows of a list."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row


class PickScreen(Stage):
    """Ticks rows.

    Args:
        asks: the question above the list.
        rows: what can be ticked, with headings.
        ticked: ids of the rows that are ticked at first.
        then: gets the ids that are ticked, in the order of the list, when the screen is left.
    """

    NAME = "Quizzes"
    HELP = "Enter or Space ticks what stands in the light, and again takes the tick away. Esc goes back with the ticks."
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "tick", key_display="Enter", tooltip="tick what stands in the light, or untick it"),
        Binding("space", "tick", "", show=False),
        Binding("n", "none", "none", tooltip="take every tick away"),
        Binding("u", "undo", "undo", tooltip="take the last change back"),
        Binding("escape", "back", "done", key_display="Esc", tooltip="go back with these ticks"),
    ]

    def __init__(
        self, asks: str, rows: Sequence[Row], ticked: Sequence[str], then: Callable[[tuple[str, ...]], None]
    ) -> None:
        super().__init__()
        self._asks, self._rows, self._then = asks, tuple(rows), then
        self._ticked = set(ticked)
        self._past: list[set[str]] = []

    def content(self) -> Iterable[Widget]:
        """The list."""
        yield Static(self._asks, classes="prompt", markup=False)
        yield VerticalScroll(Menu(id="menu", title_width=40, brief=True), classes="page gap", can_focus=False)
        yield Static(id="about", classes="about", markup=False)

    def ready(self) -> None:
        """Fill the list."""
        self._show()

    def _show(self) -> None:
        sign = self.signs
        menu = self.query_one(Menu)
        rows = [
            r if r.heading else replace(r, key=sign.right if r.id in self._ticked else sign.dot) for r in self._rows
        ]
        menu.show(rows, menu.current.id if menu.current and menu.current.id else 0)
        self.head.context = f"{len(self._ticked)} ticked"

    def on_menu_pointed(self, message: Menu.Pointed) -> None:
        """Say more about what stands in the light."""
        row = self.query_one(Menu).current
        self.query_one("#about", Static).update(row.detail if row else "")

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Tick or untick."""
        self._change(self._ticked ^ {message.id})

    def _change(self, ticked: set[str]) -> None:
        self._past.append(self._ticked)
        self._ticked = ticked
        self._show()

    def action_tick(self) -> None:
        """The same by Space."""
        self.query_one(Menu).action_choose()

    def action_none(self) -> None:
        """Take every tick away."""
        self._change(set())

    def action_undo(self) -> None:
        """Take the last change back."""
        if self._past:
            self._ticked = self._past.pop()
            self._show()

    def action_back(self) -> None:
        """Go back with the ticks."""
        self._then(tuple(r.id for r in self._rows if r.id in self._ticked))
        super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
