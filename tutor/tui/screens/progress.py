"""Progress: what you know, what is shaky, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.tui.look import Glyphs
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row

if TYPE_CHECKING:
    from tutor.practice.drill import Drill
    from tutor.practice.schedule import Card, Review

_BAR = 10


@dataclass(frozen=True, slots=True)
class Standing:
    """One kind of question."""

    drill: str
    title: str
    met: int
    """Skills asked at least once."""
    skills: int
    recall: float
    """Mean chance that what was met is still there, 0 to 1."""
    answers: int
    due: int


def standings(drills: Sequence[Drill], cards: Sequence[Card], now: datetime) -> list[Standing]:
    """Every kind of question, shakiest first; those never met come last."""
    out = []
    for drill in drills:
        mine = [c for c in cards if c.drill == drill.name and not c.new]
        recall = sum(c.recall(now) for c in mine) / len(mine) if mine else 0.0
        due = sum(1 for c in mine if c.due is not None and c.due <= now)
        out.append(
            Standing(drill.name, drill.title, len(mine), len(drill.skills), recall, sum(c.answers for c in mine), due)
        )
    return sorted(out, key=lambda s: (s.met == 0, s.recall, s.title))


def mixed_up(reviews: Sequence[Review]) -> list[tuple[str, str, int]]:
    """What was taken for what, most often first: expected, answered, how often."""
    counts: dict[tuple[str, str], int] = {}
    for review in reviews:
        if review.credit < 0.5 and review.answered and review.expected and review.answered != review.expected:
            if review.answered.replace(" ", "").isdigit():
                continue
            pair = (review.expected, review.answered)
            counts[pair] = counts.get(pair, 0) + 1
    return [(e, a, n) for (e, a), n in sorted(counts.items(), key=lambda kv: (-kv[1], kv[0]))][:5]


def words(standing: Standing, sign: Glyphs) -> str:
    """A bar and what it means."""
    if not standing.met:
        return "not met yet"
    full = round(standing.recall * _BAR)
    bar = sign.full * full + sign.rule * (_BAR - full)
    due = f", {standing.due} due" if standing.due else ""
    return f"{bar} {standing.recall:.0%} likely to be there; {standing.met} of {standing.skills} skills met{due}"


class ProgressScreen(Stage):
    """What is known."""

    NAME = "Progress"
    HELP = (
        "For each kind of question, how likely it is that what you met is still there today: an estimate from your "
        "answers and the time since, not a mark. The shakiest comes first; Enter practises it.\n\n"
        "Below stands what you most often take for something else."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "practise", key_display="Enter", tooltip="ten questions of the kind in the light"),
    ]

    def content(self) -> Iterable[Widget]:
        """A line, the kinds, what is mixed up."""
        yield Static(id="line", classes="prompt", markup=False)
        with VerticalScroll(classes="page gap", can_focus=False):
            yield Menu(id="menu", title_width=26)
            yield Static(id="mixed", classes="quiet gap", markup=False)

    def ready(self) -> None:
        """Look it up."""
        self.work(self._look_up, self._show)

    def _look_up(self) -> tuple[list[Standing], list[tuple[str, str, int]], int]:
        from tutor.practice.catalogue import drills

        reviews = self.studio.reviews()
        return standings(drills(), self.studio.cards(), self.studio.clock()), mixed_up(reviews), len(reviews)

    def _show(self, found: tuple[list[Standing], list[tuple[str, str, int]], int]) -> None:
        kinds, mixed, answers = found
        nothing = "Nothing was asked yet. Enter begins with the kind in the light."
        line = f"{answers} answers so far." if answers else nothing
        self.query_one("#line", Static).update(line)
        self.query_one(Menu).show([Row(s.drill, s.title, words(s, self.signs)) for s in kinds])
        said = [f"{right}, taken for {given}" + (f", {n} times" if n > 1 else "") for right, given, n in mixed]
        self.query_one("#mixed", Static).update("Mixed up most often\n" + "\n".join(said) if said else "")

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Practise it."""
        from tutor.practice.catalogue import drills
        from tutor.tui.screens.begin import begin

        drill = next(d for d in drills() if d.name == message.id)
        recent = [s.id for s in self.studio.songs() if s.opened_at is not None][:3]
        begin(self, songs=recent, skills=[(drill.name, s) for s in drill.skills])

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
