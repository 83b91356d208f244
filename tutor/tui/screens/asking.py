"""A screen that asks before it does what cannot be undone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widgets import Static

from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu


class Asking(Stage):
    """Asks one question, or several in turn; only y to each of them does it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "yes", "yes", tooltip="yes: do what was asked"),
        Binding("n", "no", "no", tooltip="no: leave everything as it is"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._questions: tuple[str, ...] = ()
        self._then: Callable[[], object] | None = None

    @property
    def asking(self) -> bool:
        """True while a question stands."""
        return bool(self._questions)

    def ask(self, questions: Sequence[str], then: Callable[[], object]) -> None:
        """Ask.

        Args:
            questions: each is asked in turn.
            then: called after yes to all of them.
        """
        self._questions, self._then = tuple(questions), then
        self._tell()

    def _tell(self) -> None:
        field = self.query_one("#question", Static)
        field.update(f"{self.signs.pointer} {self._questions[0]}  y: yes   n: no" if self._questions else "")
        field.set_class(not self._questions, "hidden")
        menu = self.query_one(Menu)
        menu.frozen = self.asking
        if self.asking:
            self.say("")
            field.scroll_visible(animate=False)
        self.refresh_bindings()

    def action_yes(self) -> None:
        """On to the next question, or do it."""
        self._questions = self._questions[1:]
        then = self._then
        self._tell()
        if not self._questions and then is not None:
            self._then = None
            then()

    def action_no(self) -> None:
        """Leave it."""
        self._questions, self._then = (), None
        self._tell()
        self.say("Nothing was changed.")

    def may(self, action: str) -> bool:
        """While a question stands only its answers work; without one they do not."""
        if action in ("yes", "no"):
            return self.asking
        return not self.asking or action in ("back", "help")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Which keys work now."""
        return self.may(action)

    def action_back(self) -> None:
        """Out of the question, or out of the screen."""
        if self.asking:
            self.action_no()
        else:
            super().action_back()
