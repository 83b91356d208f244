"""Writes a quiz into a folder, with lamps that light as it goes on."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.errors import plain
from tutor.store.folder import path_of
from tutor.studio import quizzes
from tutor.tui.screens.quiz_make import lamps
from tutor.tui.stage import Stage
from tutor.tui.widgets.path_field import PathField

if TYPE_CHECKING:
    from tutor.studio.quizdesk import Draft

_LAMPS = 16


class QuizWriteScreen(Stage):
    """Asks for the folder, then writes.

    Args:
        draft: the quiz.
    """

    NAME = "Write a quiz"
    HELP = (
        "Type a folder, or take the one that is proposed, and press Enter. Staves are drawn and clips rendered; that "
        "takes a moment, and Esc gives it up: then nothing is written. A file that is there already is never "
        "overwritten.\n\n"
        "Hand your viewers the .html file alone. Keep the .quiz.json file: it holds the answers, and gathering "
        "needs it; the school package holds them too. They cannot be read in the page at a glance, but somebody who "
        "knows programming can find them: use it for lessons, not for exams."
    )
    AUTO_FOCUS = "PathField"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "write", key_display="Enter", tooltip="write into this folder"),
    ]

    def __init__(self, draft: Draft) -> None:
        super().__init__()
        self._draft = draft
        self._stop = threading.Event()
        self._busy = False
        self._done = False

    def content(self) -> Iterable[Widget]:
        """The field, and what is written."""
        stem = quizzes.stem_of(self._draft.pack.title)
        yield Static("Into which folder?", classes="prompt")
        yield PathField(id="folder", classes="gap")
        with VerticalScroll(classes="page gap", can_focus=False):
            lines = [f"{stem}{kind}\n    {told}" for kind, told in quizzes.TOLD.items()]
            yield Static("\n".join(lines), id="files", classes="quiet", markup=False)

    def ready(self) -> None:
        """Propose a folder."""
        field = self.query_one(PathField)
        field.value = f"~/larkstair-quizzes/{quizzes.stem_of(self._draft.pack.title)}"
        field.action_end()

    def on_path_field_fits(self, message: PathField.Fits) -> None:
        """Show how a path may go on."""
        if self._busy:
            message.prevent_default()

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Write everything."""
        text = self.query_one(PathField).text
        if self._done:
            self.action_back()
        elif not text:
            self.say("No folder was named.", bad=True)
        elif not self._busy:
            self._busy = True
            self._stop.clear()
            self.say("Drawing the staves and rendering the sound. Esc gives up.")
            folder = path_of(text)
            self.work(lambda: self._write(folder), self._written, failed=self._failed)

    def _write(self, folder: Path) -> list[Path]:
        from tutor.studio import quizdesk

        paths = quizzes.write_quiz(self._draft.pack, folder, step=self._step, stop=self._stop)
        quizdesk.keep_draft(self.studio, self._draft, self._draft.pack, finished=True)
        return paths

    def _step(self, done: int, of: int) -> None:
        self.call_later(self._lamps, done, of)

    def _lamps(self, done: int, of: int) -> None:
        if self._busy:
            self.light(lamps(done * _LAMPS // max(1, of), _LAMPS))

    def _written(self, paths: list[Path]) -> None:
        self._busy, self._done = False, True
        self.light(["hit"] * _LAMPS)
        sizes = [f"{path.stat().st_size / 1e6:.1f} MB" for path in paths]
        told = quizzes.TOLD.values()
        lines = [f"{plain(str(p))}  ({size})\n    {t}" for p, size, t in zip(paths, sizes, told, strict=True)]
        files = self.query_one("#files", Static)
        files.set_classes("body")
        files.update("\n".join(lines))
        self.say(f"Written into {plain(str(paths[0].parent))}")

    def _failed(self) -> None:
        self._busy = False
        self.light(())

    def action_back(self) -> None:
        """Give up while it is being made; else back, and home when it is written."""
        if self._busy:
            self._stop.set()
            return
        if self._done:
            self.house.go("quiz")
        else:
            super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the field, which does it."""
