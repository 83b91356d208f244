"""A session or warm-up still open when another is to begin: the singer says first what becomes of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Static

from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row

if TYPE_CHECKING:
    from tutor.practice.session import Session
    from tutor.warmup.run import Run

GONE = "That session cannot be taken up any more; your answers are kept. Begin a new one."


def waits(left: tuple[int, int]) -> str:
    """'question 4 of 10 waits where you left it'.

    Args:
        left: questions answered and planned; 0 planned where the session is timed.
    """
    done, planned = left
    return f"question {done + 1}{f' of {planned}' if planned else ''} waits where you left it"


def take_up(stage: Stage, *, replace_screen: bool = False, gone: Callable[[], object] | None = None) -> None:
    """Go on with the session that was left.

    Args:
        stage: the screen that asks.
        replace_screen: True leaves the asking screen.
        gone: called when it cannot be taken up any more, after that was told.
    """
    app = stage.app

    def then(session: Session | None) -> None:
        from tutor.tui.screens.practice import PracticeScreen

        if session is None:
            stage.say(GONE, bad=True)
            if gone is not None:
                gone()
            return
        if replace_screen:
            app.pop_screen()
        app.push_screen(PracticeScreen())

    stage.work(lambda: stage.studio.rehearsal.resume(stage.studio.singer), then)


def ask_first(stage: Stage, begin: Callable[[], object], *, replace_screen: bool = False) -> None:
    """Begin a new session; where another is still open, ask what becomes of it before anything is begun.

    Args:
        stage: the screen that asks.
        begin: begins the new session; the open one is closed by it, and its answers stay.
        replace_screen: True leaves the asking screen where the open session is taken up.
    """

    def told(left: tuple[int, int] | None) -> None:
        if stage.app.screen is not stage:
            return  # the key was pressed twice, and the first press has led on already
        if left is None:
            begin()
        else:
            go_on = partial(take_up, stage, replace_screen=replace_screen)
            stage.app.push_screen(LeftOpenScreen(waits(left), _aside(left[0]), go_on, begin))

    stage.work(lambda: stage.studio.rehearsal.left_in_the_middle(stage.studio.singer), told)


def ask_about_run(stage: Stage, go_on: Callable[[Run, int], object], begin: Callable[[], object]) -> None:
    """Begin a warm-up; where another is still open, ask what becomes of it before anything is begun.

    Args:
        stage: the screen that asks.
        go_on: takes up the open one, given with its number.
        begin: begins the new one; the open one is closed by it, and what was sung of it goes into the diary.
    """

    def look() -> tuple[Run, int] | None:
        from tutor.studio import diary

        return diary.left(stage.studio)

    def told(left: tuple[Run, int] | None) -> None:
        if stage.app.screen is not stage:
            return
        if left is None:
            begin()
        else:
            aside = "what you sang goes into the diary" if left[0].sung else "nothing in it was sung yet"
            screen = RunLeftOpenScreen(_run_waits(left[0]), aside, lambda: go_on(*left), begin)
            screen.of = left[0].plan.title
            stage.app.push_screen(screen)

    stage.work(look, told)


def _aside(done: int) -> str:
    kept = "your answer stays" if done == 1 else f"your {done} answers stay"
    return f"{kept}; the rest is not asked" if done else "nothing in it was answered yet"


def _run_waits(run: Run) -> str:
    return f"step {run.step + 1} of {len(run.plan.steps)} waits where you left it"


class LeftOpenScreen(Stage):
    """Go on with the open session, put it aside for a new one, or neither.

    Args:
        waits: where it waits.
        aside: what becomes of it when it is put aside.
        go_on: takes it up.
        anew: begins the new one.
    """

    NAME = "Practice"
    WHAT: ClassVar[str] = "session"
    HELP = (
        "You are about to begin a session while another one is still open. Go on with the open one, or put it aside: "
        "then the new one begins, and the questions that were left in the old one are not asked any more. Esc does "
        "neither. Every answer you gave is kept and counts, whichever you choose."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "choose", key_display="Enter", tooltip="choose what stands in the light"),
        Binding("escape", "back", "cancel", key_display="Esc", tooltip="begin nothing; what is open waits"),
    ]

    def __init__(self, waits: str, aside: str, go_on: Callable[[], object], anew: Callable[[], object]) -> None:
        super().__init__()
        self._rows = [
            Row("on", "Go on with it", waits),
            Row("anew", "Put it aside, begin anew", aside),
            Row("cancel", "Cancel", "begin nothing; it goes on waiting"),
        ]
        self._ways = {"on": go_on, "anew": anew}
        self.of = ""
        """Title of its song, for the head."""

    def ready(self) -> None:
        """Name the song."""
        self.head.context = self.of

    def content(self) -> Iterable[Widget]:
        """The question and three answers."""
        yield Static(f"A {self.WHAT} is still open. What shall become of it?", classes="prompt")
        yield Menu(self._rows, title_width=26, classes="gap")

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Do it; this screen has gone by then."""
        way = self._ways.get(message.id)
        self.app.pop_screen()
        if way is not None:
            way()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""


class RunLeftOpenScreen(LeftOpenScreen):
    """The same for a warm-up."""

    NAME = "Warm up"
    WHAT = "warm-up"
    HELP = (
        "You are about to begin a warm-up while another one is still open. Go on with the open one, or put it aside: "
        "then the new one begins, and what you sang of the old one goes into the diary. Esc does neither. A note that "
        "strained stays remembered, whichever you choose."
    )
