"""A teacher's assignment: what is asked, what is done, and the session that does the rest."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.practice import catalogue
from tutor.store.folder import path_of
from tutor.tui import plots
from tutor.tui.figures import skill_words
from tutor.tui.look import Glyphs
from tutor.tui.screens.left_open import ask_first
from tutor.tui.stage import Stage
from tutor.tui.widgets.path_field import PathField

if TYPE_CHECKING:
    from tutor.practice.session import Session
    from tutor.studio.assignments import Given


def told(given: Given, sign: Glyphs) -> str:
    """The assignment, task by task."""
    assignment = given.assignment
    known = {d.name: d for d in catalogue.drills()}
    lines = []
    for task, done in zip(assignment.tasks, given.done, strict=True):
        drill = known.get(task.drill)
        title = drill.title if drill else task.drill
        ready = f"  {sign.right} done" if done >= task.count else ""
        lines.append(f"{title:<26}{plots.bar(done / task.count, sign)} {done} of {task.count}{ready}")
        lines += [f"  {skill_words(drill, s)}" for s in task.skills]
    if given.songs:
        lines += ["", "Songs: " + ", ".join(f"“{t}”" for _, t in given.songs)]
    if given.missing:
        lines += ["", "Not found here: " + ", ".join(given.missing) + ". Put them beside the assignment file, or open "
                  "them under Songs; other questions stand in for theirs until then."]  # fmt: skip
    return "\n".join(lines)


class AssignmentScreen(Stage):
    """Open an assignment and work on it.

    Args:
        path: the file; None asks for it.
    """

    NAME = "Assignment"
    HELP = (
        "An assignment is a small file that your teacher gives you: songs, kinds of questions, and how many of each. "
        "What you answer counts from the moment you first open it, wherever you practise; you may leave and come "
        "back. Tab completes the path; o opens another file.\n\n"
        "Teachers write it as a text file, for example week3.toml:\n"
        'title = "Week 3"\n'
        'songs = ["Slack Water", "my-song.musicxml"]\n'
        "[[task]]\n"
        'drill = "inversions"\n'
        'skills = ["triads-close", "song"]\n'
        "count = 10\n"
        "A name that is not known is answered with the list of those that are. teacher, note and due may be added at "
        "the top. Songs lie beside the file."
    )
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "start", "begin", key_display="Enter", tooltip="practise what is left of it"),
        Binding("o", "other", "another file", tooltip="open another assignment"),
    ]

    def __init__(self, path: Path | None = None) -> None:
        super().__init__()
        self.path = path
        self.given: Given | None = None

    def content(self) -> Iterable[Widget]:
        """A field for the path; title, note, tasks."""
        yield PathField((".toml", ".json"), id="path", classes="hidden", placeholder="path of the file; Tab completes")
        yield Static(id="title", classes="prompt", markup=False)
        yield Static(id="from", classes="quiet", markup=False)
        with VerticalScroll(classes="page gap", id="page"):
            yield Static(id="tasks", classes="body", markup=False)

    def ready(self) -> None:
        """Open it, or ask for it."""
        if self.path is None:
            self.action_other()
        else:
            self._open(self.path)

    def on_screen_resume(self) -> None:
        """Something may have been done of it."""
        if self.given is not None and self.path is not None:
            self._open(self.path)

    def _open(self, path: Path) -> None:
        from tutor.studio import assignments

        def then(given: Given) -> None:
            self.path = path
            self._show(given)

        self.work(lambda: assignments.open_file(self.studio, path), then, failed=self._failed)

    def _failed(self) -> None:
        if self.given is None:
            self._ask()

    def _show(self, given: Given) -> None:
        self.given = given
        made = given.assignment
        self.query_one(PathField).add_class("hidden")
        self.query_one("#title", Static).update(made.title)
        due = f"due {made.due:%A} {made.due.day} {made.due:%B %Y}" if made.due else ""
        said = "; ".join(p for p in (f"from {made.teacher}" if made.teacher else "", due, made.note) if p)
        self.query_one("#from", Static).update(said)
        self.query_one("#tasks", Static).update(told(given, self.signs))
        self.head.context = f"{sum(given.done)} of {made.count} done"
        self.query_one("#page").focus()
        if not given.left:
            self.say("All of it is done.")
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Enter begins where something is left."""
        if action == "start":
            return bool(self.given and self.given.left) and not self.query_one(PathField).has_focus
        return not self.query_one(PathField).has_focus if action == "other" else True

    def action_start(self) -> None:
        """Practise what is left."""
        from tutor.studio import assignments
        from tutor.tui.screens.practice import PracticeScreen

        given, studio = self.given, self.studio
        assert given is not None

        def show(_session: Session) -> None:
            self.app.push_screen(PracticeScreen())

        ask_first(self, lambda: self.work(lambda: assignments.begin(studio, given), show))

    def action_other(self) -> None:
        """Ask for a file."""
        self.query_one(PathField).value = str(self.path.parent if self.path else Path.home()) + "/"
        self.say("Where is the file your teacher gave you?")
        self._ask()

    def _ask(self) -> None:
        field = self.query_one(PathField)
        field.remove_class("hidden")
        field.focus()
        self.refresh_bindings()

    def on_input_submitted(self, message: PathField.Submitted) -> None:
        """Open it."""
        self.say("")
        self._open(path_of(self.query_one(PathField).text))

    def action_back(self) -> None:
        """Out of the field, or out of the screen."""
        if self.query_one(PathField).has_focus and self.given is not None:
            self._show(self.given)
        else:
            super().action_back()
