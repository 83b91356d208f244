"""Finding a start: a few quick questions of each kind, and what they told."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.tui.screens.practice import PracticeScreen
from tutor.tui.screens.practice_keys import HELP, Desk
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row

if TYPE_CHECKING:
    from tutor.practice.drill import Drill
    from tutor.practice.placement import Probe
    from tutor.studio.placing import Placing

MINUTES = "about five minutes; leave whenever you like"
_WORDS = ("at the beginning", "on the first steps", "well under way", "far along", "at home")


def place(stage: Stage, then: Callable[[], None] | None = None) -> None:
    """Begin to find a start, or go on where it was left.

    Args:
        stage: the screen that asks.
        then: called once it is over, in place of the list of what to do next.
    """

    def make() -> Placing:
        from tutor.practice import catalogue
        from tutor.studio.placing import Placing

        studio = stage.studio
        return Placing.open(studio.store, studio.clock, studio.rehearsal.dice, catalogue.drills(), studio.singer)

    def show(placing: Placing) -> None:
        if placing.current is None:
            stage.say("Nothing can be asked without a song here; begin with ten questions instead.", bad=True)
        else:
            stage.app.push_screen(PlacementScreen(placing, then))

    stage.work(make, show)


def told(probes: Sequence[Probe], drills: Sequence[Drill]) -> list[tuple[str, str]]:
    """Where each kind of question begins: its title, and words."""
    out = []
    for probe in probes:
        drill = next((d for d in drills if d.name == probe.drill), None)
        if drill is None or not probe.asked:
            continue
        here = _WORDS[min(len(_WORDS) - 1, int(probe.at * len(_WORDS)))]
        words = getattr(drill, "words", None)
        skill = words(probe.skill) if words else probe.skill
        out.append((drill.title, f"{here}: {skill}"))
    return out


class PlacementScreen(PracticeScreen):
    """Asks the questions of a placement.

    Args:
        placing: the placement.
        then: called once it is over, in place of the list of what to do next.
    """

    NAME = "Finding your start"
    HELP = (
        "Twenty quick questions, about five minutes. They grow harder while you are right and easier while you are "
        "not, so everybody misses some: it is no test, it finds the place to begin. Esc leaves at any moment: what "
        "was found until then is used, and the next question waits for you.\n\n" + HELP
    )

    def __init__(self, placing: Placing, then: Callable[[], None] | None = None) -> None:
        super().__init__()
        self.placing = placing
        self._then = then

    @property
    def desk(self) -> Desk:
        """The placement."""
        return self.placing

    def finish(self) -> None:
        """Keep what was found, and tell it."""
        self.work(self.placing.settle, lambda _found: self._settled())

    def action_back(self) -> None:
        """Leave; what was found so far is used, and the rest waits."""
        self.end_take()
        self.hush()
        self.finish()

    def _settled(self) -> None:
        app, then, placing = self.app, self._then, self.placing
        asked = any(p.asked for p in placing.placement.probes)
        app.pop_screen()
        if asked:
            app.push_screen(PlacedScreen(placing, then))
        elif then is not None:
            then()


class PlacedScreen(Stage):
    """Where each kind of question begins.

    Args:
        placing: the placement that is over.
        then: called on going on, in place of beginning to practise.
    """

    NAME = "Your start"
    HELP = (
        "Where each kind of question begins for you. It is a start, not a mark: from now on the level follows your "
        "answers, up and down."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "choose", key_display="Enter", tooltip="choose what stands in the light"),
    ]

    def __init__(self, placing: Placing, then: Callable[[], None] | None = None) -> None:
        super().__init__()
        self._placing = placing
        self._then = then

    def content(self) -> Iterable[Widget]:
        """A line for each kind, and what next."""
        found = told(self._placing.placement.probes, self._placing.placement.drills)
        with VerticalScroll(classes="page", can_focus=False):
            over = self._placing.session.over
            yield Static("This is where you begin." if over else "This is where you begin, so far.", classes="prompt")
            wide = max((len(title) for title, _ in found), default=0) + 2
            yield Static("\n".join(f"{t:<{wide}}{w}" for t, w in found), classes="body gap", markup=False)
            yield Static("It is a start, not a mark: the level follows your answers.", classes="quiet gap")
            rows = [Row("go", "Go on", "to a song to begin with")] if self._then else [Row("more", "Ten questions")]
            rows += [] if over else [Row("on", "Go on finding it", self._waiting())]
            yield Menu([*rows, Row("today", "That is enough for now")], title_width=26, classes="gap")

    def _waiting(self) -> str:
        session = self._placing.session
        return f"question {len(session.reviews) + 1} of {session.planned} waits"

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Go on."""
        if message.id == "on":
            app, then = self.app, self._then
            app.pop_screen()
            app.push_screen(PlacementScreen(self._placing, then))
        elif message.id == "more":
            from tutor.tui.screens.begin import begin

            recent = [s.id for s in self.studio.songs() if s.opened_at is not None][:3]
            begin(self, songs=recent, replace_screen=True)
        elif message.id == "go":
            self.action_back()
        else:
            self.house.go("today")

    def action_back(self) -> None:
        """On with what comes next."""
        super().action_back()
        if self._then is not None:
            self._then()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
