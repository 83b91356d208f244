"""What to practise: the usual ten, one song, or one kind of question."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Sequence
from functools import partial
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.errors import TutorError
from tutor.practice.session import Session
from tutor.tui.screens.left_open import ask_first, take_up, waits
from tutor.tui.screens.placement import MINUTES, place
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row

COUNT = 10
"""Questions in a usual session."""
MINUTES_OF = {5: "Five minutes", 10: "Ten minutes", 20: "Twenty minutes"}
"""Lengths of a timed session."""
MIXED = "what is due, what is weak, one new thing"


def begin(
    stage: Stage,
    *,
    songs: Sequence[str] = (),
    count: int = COUNT,
    minutes: float | None = None,
    skills: Sequence[tuple[str, str]] | None = None,
    near: tuple[float, float] | None = None,
    replace_screen: bool = False,
) -> None:
    """Begin a session in the background and show it; where another is still open, ask first what becomes of it.

    Args:
        stage: the screen that asks.
        songs: ids of songs to draw on.
        count: how many questions.
        minutes: how long, in place of a count.
        skills: only these, as (drill, skill).
        near: only what was found in this stretch of the songs, in quarters, as long as it gives something to ask.
        replace_screen: True leaves the asking screen.
    """

    def make() -> Session:
        start = partial(
            stage.studio.rehearsal.begin, stage.studio.singer, songs=songs, count=None if minutes else count,
            minutes=minutes, skills=skills,
        )  # fmt: skip
        try:
            if near is not None:
                with contextlib.suppress(ValueError):
                    there = start(near=near)
                    if _as_wished(there, skills):
                        return there
            return start()
        except ValueError as error:
            raise TutorError(str(error), remedy="Choose another song or another kind of question") from error

    def then(session: Session) -> None:
        from tutor.tui.screens.practice import PracticeScreen

        app, screen = stage.app, PracticeScreen()
        if replace_screen:
            app.pop_screen()
        app.push_screen(screen)
        if not _as_wished(session, skills):
            screen.call_after_refresh(screen.say, "Nothing sure enough can be asked about that; this can.")

    ask_first(stage, lambda: stage.work(make, then), replace_screen=replace_screen)


def _as_wished(session: Session, skills: Sequence[tuple[str, str]] | None) -> bool:
    """Whether the first question is of a kind that was wished for, and not one in its place."""
    return not skills or session.queue[0].item.drill in {drill for drill, _ in skills}


class BeginScreen(Stage):
    """Choose what to practise."""

    NAME = "Practise"
    HELP = (
        "The usual ten questions, or as many as fit into five, ten or twenty minutes, mix what is due, what is weak "
        "and one new thing, from the songs you opened and from fresh music made on the spot. You can also stay with "
        "one song, or with one kind of question. “Find my start” asks twenty quick questions and sets the level from "
        "which you begin.\n\n"
        "You may leave at any moment: every answer is kept, and the session waits where you left it; the time you "
        "were away does not count. Before another session begins in its place, you are asked."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "begin", key_display="Enter", tooltip="begin with what stands in the light"),
    ]

    def content(self) -> Iterable[Widget]:
        """One list."""
        yield Static("What shall it be?", classes="prompt")
        yield VerticalScroll(Menu(id="menu", title_width=30, brief=True), classes="page gap", can_focus=False)
        yield Static(id="about", classes="about", markup=False)

    def ready(self) -> None:
        """Fill the list."""
        self.work(self._rows, lambda rows: self.query_one(Menu).show(rows))

    def _rows(self) -> list[Row]:
        from tutor.practice.catalogue import drills
        from tutor.studio.placing import left_in_the_middle

        songs = [s for s in self.studio.songs() if s.opened_at is not None]
        rows = []
        open_one = self.studio.rehearsal.left_in_the_middle(self.studio.singer)
        if open_one is not None:
            rows.append(Row("resume", "Go on where you left off", waits(open_one)))
        rows.append(Row("mixed", "Ten questions", MIXED))
        rows += [Row(f"minutes:{n}", title, MIXED) for n, title in MINUTES_OF.items()]
        left = left_in_the_middle(self.studio.store, self.studio.singer.name)
        rows.append(Row("place", "Find my start", waits(left) if left else MINUTES))
        rows.append(Row("assignment", "An assignment", "a file from your teacher"))
        if songs:
            rows.append(Row("", "From one song", heading=True))
            rows += [Row(f"song:{s.id}", s.title, "its own music and fresh music like it") for s in songs[:6]]
        rows.append(Row("", "One kind of question", heading=True))
        rows += [Row(f"drill:{d.name}", d.title, d.about) for d in drills()]
        return rows

    def on_menu_pointed(self, message: Menu.Pointed) -> None:
        """Say more about what stands in the light."""
        row = self.query_one(Menu).current
        self.query_one("#about", Static).update(row.detail if row else "")

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Begin."""
        kind, _, value = message.id.partition(":")
        recent = [s.id for s in self.studio.songs() if s.opened_at is not None][:3]
        if kind == "resume":
            take_up(self, replace_screen=True, gone=self.ready)
        elif kind == "place":
            place(self)
        elif kind == "assignment":
            from tutor.tui.screens.assignment import AssignmentScreen

            self.app.push_screen(AssignmentScreen())
        elif kind == "minutes":
            begin(self, songs=recent, minutes=float(value), replace_screen=True)
        elif kind == "song":
            begin(self, songs=[value], replace_screen=True)
        elif kind == "drill":
            from tutor.practice.catalogue import drills

            drill = next(d for d in drills() if d.name == value)
            begin(self, songs=recent, skills=[(drill.name, s) for s in drill.skills], replace_screen=True)
        else:
            begin(self, songs=recent, replace_screen=True)

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
