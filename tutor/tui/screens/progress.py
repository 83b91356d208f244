"""Progress: what you know, what is shaky, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Literal, get_args

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.errors import plain
from tutor.practice import stats
from tutor.store.folder import path_of
from tutor.tui import figures, plots
from tutor.tui.look import Glyphs
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.path_field import PathField

if TYPE_CHECKING:
    from tutor.practice.drill import Drill
    from tutor.practice.schedule import Card, Review

View = Literal["Kinds", "Skills", "Mixed up", "Days"]
VIEWS: tuple[View, ...] = get_args(View)
_TALL_FROM = 32
"""From this many rows of terminal on, the plots are taller."""
_WIDE = 38
"""Columns for a skill in words, so that the bars stand below each other."""


@dataclass(frozen=True, slots=True)
class Standing:
    """One kind of question."""

    drill: str
    title: str
    met: int
    """Skills asked at least once."""
    skills: int
    recall: float
    """Mean chance that what was met goes well today, 0 to 1: what went well of late, as far as it is still there."""
    answers: int
    due: int


def standings(drills: Sequence[Drill], cards: Sequence[Card], now: datetime) -> list[Standing]:
    """Every kind of question, shakiest first; those never met come last."""
    out = []
    for drill in drills:
        mine = [c for c in cards if c.drill == drill.name and not c.new]
        recall = sum(c.recall(now) * (c.recent or 0) for c in mine) / len(mine) if mine else 0.0
        due = sum(1 for c in mine if c.due is not None and c.due <= now)
        out.append(
            Standing(drill.name, drill.title, len(mine), len(drill.skills), recall, sum(c.answers for c in mine), due)
        )
    return sorted(out, key=lambda s: (s.met == 0, s.recall, s.title))


def words(standing: Standing, sign: Glyphs) -> str:
    """A bar and what it means."""
    if not standing.met:
        return "not met yet"
    bar = plots.bar(standing.recall, sign)
    due = f", {standing.due} due" if standing.due else ""
    return f"{bar} {standing.recall:.0%} likely to go well; {standing.met} of {standing.skills} skills met{due}"


@dataclass(frozen=True, slots=True)
class Found:
    """What the screen tells."""

    drills: tuple[Drill, ...]
    kinds: tuple[Standing, ...]
    reviews: tuple[Review, ...]
    """The answers that count."""
    cards: tuple[Card, ...]
    now: datetime


class ProgressScreen(Stage):
    """What is known, in four views."""

    NAME = "Progress"
    HELP = (
        "Four views, with 1 to 4 or ← →.\n\n"
        "Kinds: for each kind of question, how likely it is that what you met goes well today: an estimate from your "
        "latest answers and the time since, not a mark. The shakiest comes first; Enter practises it.\n\n"
        "Skills: for each skill how many answers were right, and the usual time to answer (half were quicker). Enter "
        "practises that skill.\n\n"
        "Mixed up: a row for what was right, a column for what you answered, by the same numbers; right answers stand "
        "in brackets.\n\n"
        "Days: your answers on each of the last fourteen days, and how many skills come due on each of the next "
        "fourteen.\n\n"
        "e writes all your answers into a folder of yours, as a table (CSV) and as JSON."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "practise", key_display="Enter", tooltip="ten questions of what stands in the light"),
        Binding("1", "view(0)", "views", key_display="1–4", tooltip="kinds, skills, mixed up, days"),
        Binding("2", "view(1)", "", show=False),
        Binding("3", "view(2)", "", show=False),
        Binding("4", "view(3)", "", show=False),
        Binding("right", "turn(1)", "", show=False),
        Binding("left", "turn(-1)", "", show=False),
        Binding("d", "app.go('diary')", "voice diary", tooltip="how much you sang, and how the voice felt"),
        Binding("e", "export", "export", tooltip="write your answers into a folder"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.view: View = "Kinds"
        self._found: Found | None = None

    def content(self) -> Iterable[Widget]:
        """A line, the views, what they show."""
        yield Static(id="line", classes="prompt", markup=False)
        yield Static(id="views", classes="quiet", markup=False)
        yield PathField(id="folder", classes="gap hidden", placeholder="a folder; Tab completes")
        with VerticalScroll(classes="page gap", id="page", can_focus=False):
            yield Menu(id="menu", title_width=26)
            yield Static(id="text", classes="quiet gap", markup=False)

    def ready(self) -> None:
        """Look it up."""
        self.work(self._look_up, self._show)

    def on_screen_resume(self) -> None:
        """Things changed on another screen."""
        if self._found is not None:
            self.ready()

    def _look_up(self) -> Found:
        from tutor.practice.catalogue import drills

        studio, offered = self.studio, tuple(drills())
        cards, now = studio.cards(), studio.clock()
        return Found(offered, tuple(standings(offered, cards, now)), studio.reviews(), cards, now)

    def _show(self, found: Found) -> None:
        self._found = found
        answers = len(found.reviews)
        if not answers:
            line = "Nothing was asked yet. Enter begins with the kind in the light."
        else:
            days = len(stats.by_day(found.reviews, found.now.astimezone().tzinfo or found.now.tzinfo or UTC))
            line = f"{answers} {'answer' if answers == 1 else 'answers'} so far, on {days} {_days(days)}."
        self.query_one("#line", Static).update(line)
        names = (f"{self.signs.pointer if v == self.view else ' '}{i} {v}" for i, v in enumerate(VIEWS, 1))
        self.query_one("#views", Static).update("  ".join(names))
        menu, text = self.query_one(Menu), self.query_one("#text", Static)
        rows, said = {
            "Kinds": self._kinds, "Skills": self._skills, "Mixed up": self._mixed, "Days": self._days,
        }[self.view](found)  # fmt: skip
        menu.display = bool(rows)
        if rows:
            menu.show(rows, menu.current.id if menu.current and menu.current.id else 0)
        text.update(said)
        page = self.query_one("#page", VerticalScroll)
        page.can_focus = not rows
        (menu if rows else page).focus()
        self.refresh_bindings()

    def _kinds(self, found: Found) -> tuple[list[Row], str]:
        rows = [Row(s.drill, s.title, words(s, self.signs)) for s in found.kinds]
        mixed = figures.mixed_up(found.reviews, found.drills)
        said = [f"{right}, taken for {given}" + (f", {n} times" if n > 1 else "") for right, given, n in mixed]
        return rows, "Mixed up most often\n" + "\n".join(said) if said else ""

    def _skills(self, found: Found) -> tuple[list[Row], str]:
        rows: list[Row] = []
        known = {d.name: d for d in found.drills}
        for skill in stats.by_skill(found.reviews):
            drill = known.get(skill.drill)
            title = drill.title if drill else skill.drill
            if not rows or title not in (r.title for r in rows if r.heading):
                rows.append(Row("", title, heading=True))
            shown = figures.skill_words(drill, skill.skill)
            rows.append(Row(f"{skill.drill}:{skill.skill}", shown.ljust(_WIDE), figures.how(skill, self.signs)))
        return rows, "" if rows else "Each skill gets a line here once it was asked. 1 goes back; Enter there begins."

    def _mixed(self, found: Found) -> tuple[list[Row], str]:
        tables = figures.confusion_tables(found.reviews, found.drills, self.signs)
        if not tables:
            return [], "Nothing was mixed up so far. What you take for something else will stand here in a table."
        key = "Rows: what was right. Columns: what you answered, by the same numbers. [ ]: right."
        return [], "\n\n".join([key, *(f"{title}\n{text}" for title, text in tables)])

    def _days(self, found: Found) -> tuple[list[Row], str]:
        zone = found.now.astimezone().tzinfo
        assert zone is not None
        height = 8 if self.app.size.height >= _TALL_FROM else 3
        told = figures.fortnight(found.reviews, found.cards, found.now, zone, self.signs, height)
        if not told.practised and not told.due:
            return [], "Your days of practice and what comes due will stand here. p begins on the first screen."
        back = told.practised or "Nothing in the last fourteen days; what you know waits."
        ahead = told.due or "Nothing comes due in the next fourteen days."
        said = [told.line, "", "Answers of the last fourteen days", back]
        return [], "\n".join([*said, "", "Skills that come due in the next fourteen days", ahead])

    def on_resize(self) -> None:
        """Taller plots on a taller terminal."""
        if self._found is not None:
            self._show(self._found)

    # -- keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Enter practises where there are rows; there is nothing to export before the first answer."""
        if action == "pass":
            return self.view in ("Kinds", "Skills")
        return bool(self._found and self._found.reviews) if action == "export" else True

    def action_view(self, index: int) -> None:
        """Another view."""
        self.view = VIEWS[index]
        if self._found is not None:
            self._show(self._found)
            self.query_one("#page", VerticalScroll).scroll_home(animate=False)

    def action_turn(self, by: int) -> None:
        """The next view, or the one before."""
        self.action_view((VIEWS.index(self.view) + by) % len(VIEWS))

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Practise it."""
        from tutor.practice.catalogue import drills
        from tutor.tui.screens.begin import begin

        name, _, skill = message.id.partition(":")
        drill = next((d for d in drills() if d.name == name), None)
        if drill is None or (skill and skill not in drill.skills):
            self.say("That kind of question is no longer asked.")
            return
        recent = [s.id for s in self.studio.songs() if s.opened_at is not None][:3]
        begin(self, songs=recent, skills=[(drill.name, s) for s in ([skill] if skill else drill.skills)])

    def action_export(self) -> None:
        """Ask for the folder."""
        field = self.query_one(PathField)
        field.offer(str(Path.home()) + "/")
        self.say("Which folder? Two files are written there, and none is overwritten. Esc leaves it.")

    def on_input_submitted(self, message: PathField.Submitted) -> None:
        """Write the files."""
        from tutor.studio.exports import write_answers

        studio, folder = self.studio, path_of(self.query_one(PathField).text)
        name, now = studio.singer.name, studio.clock().astimezone()

        def then(files: tuple[Path, Path]) -> None:
            self._close_field()
            self.say(f"Written: {plain(files[0].name)} and {plain(files[1].name)}, in {plain(str(folder))}")

        self.work(lambda: write_answers(studio.store.reviews(name), name, folder, now), then)

    def _close_field(self) -> None:
        self.query_one(PathField).add_class("hidden")
        if self._found is not None:
            self._show(self._found)

    def action_back(self) -> None:
        """Out of the field, or out of the screen."""
        if self.query_one(PathField).has_focus:
            self._close_field()
            self.say("")
        else:
            super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""


def _days(n: int) -> str:
    return "day" if n == 1 else "days"
