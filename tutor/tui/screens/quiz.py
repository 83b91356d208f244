"""Quizzes: make one, take one, gather the answers that came back; what was left in the middle waits here."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.store.folder import path_of
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.path_field import PathField

if TYPE_CHECKING:
    from tutor.practice.drill import Song
    from tutor.quiz.pack import Pack
    from tutor.studio.quizdesk import Draft, Seat

KIND = ".quiz.json"
"""Ending of a quiz file."""


class QuizScreen(Stage):
    """What to do with quizzes."""

    NAME = "Quizzes"
    HELP = (
        "A quiz is one page that works without a network: your pupils open it in a browser, hear and see each "
        "question, and hand in a short code or a small file. The same quiz can be taken here in the terminal.\n\n"
        "Making one gives four files: the quiz itself with its answers (keep that one), the page for viewers, a sheet "
        "for paper with a key, and a package for a school's learning system.\n\n"
        "Gathering reads what came back and shows what people could hear. Nothing is ever sent anywhere by the "
        "program. A quiz that you leave in the middle, made or taken, waits here."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "choose", key_display="Enter", tooltip="do what stands in the light"),
        Binding("m", "choose('make')", "make", tooltip="make a quiz"),
        Binding("t", "choose('take')", "take", tooltip="open a quiz file and answer it here"),
        Binding("c", "choose('change')", "change", tooltip="open a quiz file and change it"),
        Binding("g", "choose('gather')", "gather", tooltip="gather answers"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._seat: Seat | None = None
        self._draft: Draft | None = None
        self._wanted = ""

    def content(self) -> Iterable[Widget]:
        """A list, and a field for a path."""
        yield Static("Make a quiz, take one, or gather answers?", classes="prompt")
        yield PathField((KIND,), id="path", classes="gap hidden", placeholder="the quiz file: ~/name.quiz.json")
        yield Menu(id="menu", classes="gap", title_width=28, spaced=True)

    def ready(self) -> None:
        """Look up what was left."""
        from tutor.studio import quizdesk

        self.work(lambda: (quizdesk.left(self.studio), quizdesk.left_draft(self.studio)), self._show)

    def on_screen_resume(self) -> None:
        """Something may have been made or taken."""
        if self.is_mounted and self.house.has_studio:
            self.ready()

    def _show(self, found: tuple[Seat | None, Draft | None]) -> None:
        self._seat, self._draft = found
        rows = []
        if self._seat is not None:
            taking = self._seat.taking
            where = f"{taking.answered} of {len(taking.answers)} answered"
            rows.append(Row("go-on", "Go on answering", f"“{taking.pack.title}”, {where}"))
        if self._draft is not None:
            pack = self._draft.pack
            rows.append(Row("go-on-making", "Go on making", f"“{pack.title}”, {len(pack.items)} questions"))
        rows += [
            Row("make", "Make a quiz", "from songs and fresh music"),
            Row("take", "Take a quiz", "open a quiz file and answer it here"),
            Row("change", "Change a quiz", "open a quiz file; edit it and write it anew"),
            Row("gather", "Gather answers", "what came back, as figures"),
        ]
        menu = self.query_one(Menu)
        menu.show(rows, menu.current.id if menu.current else 0)

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Do it."""
        self.action_choose(message.id)

    def action_choose(self, what: str) -> None:
        """Do what a row or a key names."""
        if what == "make":
            from tutor.tui.screens.quiz_make import QuizMakeScreen

            self.app.push_screen(QuizMakeScreen())
        elif what == "gather":
            from tutor.tui.screens.quiz_gather import QuizGatherScreen

            self.app.push_screen(QuizGatherScreen())
        elif what == "go-on" and self._seat is not None:
            from tutor.tui.screens.quiz_take import QuizTakeScreen

            self.app.push_screen(QuizTakeScreen(self._seat))
        elif what == "go-on-making" and self._draft is not None:
            self._edit(self._draft)
        elif what in ("take", "change"):
            self._wanted = what
            field = self.query_one(PathField)
            field.remove_class("hidden")
            field.focus()
            self.say("Which quiz file? Type its path; Tab completes it, Enter opens it.")

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Open the file that was typed."""
        from tutor.studio import quizdesk, quizzes

        text = self.query_one(PathField).text
        if not text:
            self._close_field()
            return

        def begin() -> Seat | Draft:
            pack: Pack = quizzes.load_quiz(path_of(text))
            if self._wanted == "take":
                return quizdesk.sit_down(self.studio, pack)
            return quizdesk.begin_draft(self.studio, pack, [])

        self.work(begin, self._opened)

    def _opened(self, found: Seat | Draft) -> None:
        from tutor.studio.quizdesk import Seat
        from tutor.tui.screens.quiz_take import QuizTakeScreen

        self._close_field()
        if isinstance(found, Seat):
            self.app.push_screen(QuizTakeScreen(found))
        else:
            self._edit(found)

    def _edit(self, draft: Draft) -> None:
        from tutor.studio import quizdesk
        from tutor.tui.screens.quiz_edit import QuizEditScreen

        def then(songs: list[Song]) -> None:
            self.app.push_screen(QuizEditScreen(draft, songs))

        self.work(lambda: quizdesk.songs_of(self.studio, draft), then)

    def _close_field(self) -> None:
        self.query_one(PathField).add_class("hidden")
        self.query_one(Menu).focus()
        self.say("")

    def action_back(self) -> None:
        """Out of the field, or out of the screen."""
        if self.query_one(PathField).has_focus:
            self._close_field()
        else:
            super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
