"""After a quiz: the result, the code to hand in, and every explanation."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.errors import plain
from tutor.quiz.sheet import to_code
from tutor.quiz.taking import Taking
from tutor.store.folder import path_of
from tutor.tui.screens.quiz_halves import Halves
from tutor.tui.screens.quiz_take import lamps_of
from tutor.tui.widgets.menu import Menu
from tutor.tui.widgets.path_field import PathField
from tutor.tui.widgets.quiz_view import QuizView

_FOLDER = "~/larkstair-answers"


class QuizTakenScreen(Halves):
    """How it went.

    Args:
        taking: the quiz, handed in.
    """

    NAME = "Quiz"
    HELP = (
        "The code holds your answers and nothing about you. To hand them in, send the code to your teacher, or s saves "
        "a small file to send; a nickname goes into the file only if you type one (n).\n\n"
        "Below are all questions with what was right and why: the arrows go through them, Enter shows one in full, "
        "Space plays its music."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "hear", "hear", key_display="Space", tooltip="hear the question in the light"),
        Binding("enter", "full", "full", key_display="Enter", tooltip="show the question in full, or the list again"),
        Binding("s", "save", "save the file", tooltip="save your answers as a small file to send"),
        Binding("c", "copy", "copy code", tooltip="copy the code, where the terminal allows it"),
        Binding("n", "nickname", "nickname", tooltip="a nickname for the file, only if you like"),
    ]

    def __init__(self, taking: Taking) -> None:
        super().__init__()
        self.taking = taking
        self.code = to_code(taking.sheet())
        self.nickname = ""

    def content(self) -> Iterable[Widget]:
        """Result, code, questions."""
        taking = self.taking
        score = f"{taking.right} of {len(taking.answers)} right"
        yield Static(f"{taking.pack.title}: {score}", classes="prompt", markup=False)
        yield Static("Your answer code; send it to your teacher if you like:", classes="quiet")
        yield Static(self.code, id="code", classes="lamp", markup=False)
        yield Input(id="nickname", classes="hidden", max_length=40, placeholder="a nickname, only if you like")
        yield PathField(id="folder", classes="hidden", placeholder="the folder for the answer file")
        yield from self.halves()

    def ready(self) -> None:
        """Show the questions."""
        self.lay_halves()
        sign, taking = self.signs, self.taking
        signs = [sign.right if taking.hit(i) else sign.wrong for i in range(len(taking.answers))]
        rows = self.item_rows(taking.pack.items, signs)
        self.query_one(Menu).show(rows)
        self.light(lamps_of(taking))
        self._view()

    def on_menu_pointed(self, message: Menu.Pointed) -> None:
        """Another question stands in the light."""
        self._view()

    def _view(self) -> None:
        at = self.at
        item = self.taking.pack.items[at]
        self.query_one(QuizView).show(item, number=at + 1, given=self.taking.answers[at])

    def action_hear(self) -> None:
        """Hear the question."""
        item = self.taking.pack.items[self.at]
        self.hear([e.phrase for e in item.heard or item.seen or item.evidence])

    def action_copy(self) -> None:
        """Copy the code."""
        self.app.copy_to_clipboard(self.code)
        self.say("The code was handed to the clipboard; if your terminal does not allow that, type it off.")

    def action_nickname(self) -> None:
        """Ask for a nickname."""
        self._open_field("#nickname", self.nickname, "A nickname for the file, only if you like; Enter keeps it.")

    def action_save(self) -> None:
        """Ask for the folder."""
        self._open_field("#folder", _FOLDER, "Into which folder? Enter saves.")

    def _open_field(self, name: str, value: str, words: str) -> None:
        field = self.query_one(name, Input)
        field.value = value
        field.remove_class("hidden")
        field.focus()
        field.action_end()
        self.say(words)

    def _close_fields(self) -> None:
        for field in self.query(Input):
            field.add_class("hidden")
        self.query_one(Menu).focus()

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Keep the nickname, or save the file."""
        from tutor.studio import quizdesk

        if message.input.id == "nickname":
            self.nickname = plain(message.value)
            self._close_fields()
            words = f"The answer file will carry the name {self.nickname}." if self.nickname else "No name, then."
            self.say(words)
            return
        text, taking, nickname = self.query_one(PathField).text, self.taking, self.nickname
        if not text:
            self.say("No folder was named.", bad=True)
            return
        self.work(lambda: quizdesk.hand_in(taking, nickname, path_of(text)), self._saved)

    def _saved(self, path: Path) -> None:
        self._close_fields()
        self.say(f"Saved: {plain(str(path))}")

    def action_back(self) -> None:
        """Out of the field, or out of the screen."""
        if any(field.has_focus for field in self.query(Input)):
            self._close_fields()
            self.say("")
        elif self.is_full:
            self.action_full()
        else:
            super().action_back()
