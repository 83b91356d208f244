"""After a session: how it went, and what next."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.tui.figures import label_words
from tutor.tui.screens.practice_keys import lamps_of
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row

if TYPE_CHECKING:
    from tutor.practice.session import Session


def summary(session: Session) -> str:
    """How many were right, in words."""
    counted = [d.review for d in session.done if not d.review.withdrawn]
    full = sum(1 for r in counted if r.credit >= 1 - 1e-9)
    part = sum(1 for r in counted if 0.5 <= r.credit < 1 - 1e-9)
    words = f"{full} of {len(counted)} right"
    if part:
        words += f", {part} nearly"
    aside = len(session.done) - len(counted)
    return words + (f", {aside} set aside" if aside else "") + "."


def missed(session: Session) -> list[tuple[str, str]]:
    """What went wrong: title of the drill, and what was taken for what."""
    known = {d.name: d for d in session.drills}
    out = []
    for done in session.done:
        review = done.review
        if review.withdrawn or review.credit >= 1 - 1e-9:
            continue
        drill = known.get(review.drill)
        right, given = label_words(drill, review.expected), label_words(drill, review.answered)
        out.append((drill.title if drill else review.drill, f"{right}, taken for {given}" if given else right))
    return out


class FinishedScreen(Stage):
    """How it went.

    Args:
        session: the session that is over.
    """

    NAME = "Practice"
    HELP = "What you answered is kept. What went wrong comes back soon; what you know comes back later."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "choose", key_display="Enter", tooltip="choose what stands in the light"),
    ]

    def __init__(self, session: Session) -> None:
        super().__init__()
        self._session = session

    def content(self) -> Iterable[Widget]:
        """The count, what went wrong, what next."""
        with VerticalScroll(classes="page", can_focus=False):
            yield Static(summary(self._session), classes="prompt", markup=False)
            wrong = missed(self._session)
            if wrong:
                yield Static("What comes back soon", classes="quiet gap")
                lines = "\n".join(f"{title}: {what}" for title, what in dict.fromkeys(wrong))
                yield Static(lines, classes="body", markup=False)
            rows = [
                Row("more", "Ten more"),
                Row("warmup", "Warm up", "to the high note of a song"),
                Row("progress", "Progress", "what you know and what is shaky"),
                Row("today", "That is enough for now"),
            ]
            yield Menu(rows, title_width=26, classes="gap")

    def ready(self) -> None:
        """Light the lamps of the session."""
        self.light(lamps_of(self._session, "answered"))

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Go on."""
        if message.id == "more":
            from tutor.tui.screens.begin import begin

            songs = [s.id for s in self._session.material.songs]
            begin(self, songs=songs, replace_screen=True)
        else:
            self.house.go(message.id)

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
