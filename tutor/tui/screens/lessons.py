"""The lessons: a list, and one lesson to read, hear and try."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Markdown, Static

from tutor.lessons import Lesson, Music, lesson, lessons, sources
from tutor.practice.drill import Excerpt
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.score import Score


class LessonsScreen(Stage):
    """The list."""

    NAME = "Lessons"
    HELP = "One idea at a time: read it, hear it, then practise it. Lessons build on each other from top to bottom."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "read", key_display="Enter", tooltip="read the lesson in the light"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._after: dict[str, str] = {}

    def content(self) -> Iterable[Widget]:
        """One list."""
        yield Static("Which idea?", classes="prompt")
        yield VerticalScroll(Menu(id="menu", title_width=34, brief=True), classes="page gap", can_focus=False)
        yield Static(id="about", classes="about", markup=False)

    def on_menu_pointed(self, message: Menu.Pointed) -> None:
        """Say what to read before."""
        self.query_one("#about", Static).update(self._after.get(message.id, ""))

    def ready(self) -> None:
        """Fill the list."""
        self.work(lessons, self._show)

    def _show(self, found: tuple[Lesson, ...]) -> None:
        titles = {one.name: one.title for one in found}
        rows = [Row(one.name, one.title) for one in found]
        self._after = {
            one.name: f"Best after: {'; '.join(titles.get(n, n) for n in one.needs)}." if one.needs else ""
            for one in found
        }
        if not rows:
            self.query_one(Static).update("No lessons are installed.")
        self.query_one(Menu).show(rows)

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Read it."""
        self.app.push_screen(LessonScreen(message.id))

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""


class LessonScreen(Stage):
    """One lesson.

    Args:
        name: its key.
    """

    NAME = "Lesson"
    HELP = "Read on with the arrow keys. Space plays the example in the light, n and b choose another."
    AUTO_FOCUS = "#page"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "play", "play", key_display="Space", tooltip="play the example in the light; stop"),
        Binding("n", "example(1)", "next example", tooltip="the next example"),
        Binding("b", "example(-1)", "", show=False),
        Binding("p", "practise", "practise", tooltip="ten questions on this lesson"),
        Binding("s", "sources", "sources", tooltip="where the facts come from"),
    ]

    def __init__(self, name: str) -> None:
        super().__init__()
        self.lesson = lesson(name)
        self._music = [b for b in self.lesson.blocks if isinstance(b, Music)]
        self._at = 0
        self._sounding = False

    def content(self) -> Iterable[Widget]:
        """Prose and music in turn."""
        with VerticalScroll(classes="page", id="page"):
            yield Static(self.lesson.title, classes="prompt", markup=False)
            for block in self.lesson.blocks:
                if isinstance(block, Music):
                    yield Score(classes="example gap")
                else:
                    yield Markdown(block.text, classes="prose", open_links=False)

    def ready(self) -> None:
        """Draw the examples."""
        self.head.context = self.lesson.title
        for score, block in zip(self.query(Score), self._music, strict=True):
            score.show(Excerpt(block.caption, block.phrase))
        self._light()

    def _light(self) -> None:
        for i, score in enumerate(self.query(Score)):
            score.set_class(i == self._at, "chosen")
        self.light(["now" if i == self._at else "wait" for i in range(len(self._music))])

    def action_example(self, by: int) -> None:
        """Another example."""
        if self._music:
            self._at = (self._at + by) % len(self._music)
            self._light()
            list(self.query(Score))[self._at].scroll_visible(animate=False)

    def action_play(self) -> None:
        """Play the example in the light, or stop."""
        if self._sounding:
            self.hush()
        elif self._music:
            score = list(self.query(Score))[self._at]
            score.scroll_visible(animate=False)

            def follow(index: int, now: float | None) -> None:
                self._sounding = index >= 0
                score.follow(now)

            self.hear([self._music[self._at].phrase], follow=follow)

    def action_practise(self) -> None:
        """Ten questions on this lesson."""
        from tutor.practice.catalogue import drills
        from tutor.tui.screens.begin import begin

        known = {d.name: d for d in drills()}
        skills = [
            (drill, skill or s)
            for drill, skill in self.lesson.drill_skills()
            if drill in known
            for s in ([skill] if skill else known[drill].skills)
        ]
        if skills:
            recent = [s.id for s in self.studio.songs() if s.opened_at is not None][:3]
            begin(self, songs=recent, skills=skills)
        else:
            self.say("This lesson has no questions of its own.")

    def action_sources(self) -> None:
        """Where the facts come from."""
        from tutor.tui.screens.help import HelpScreen

        known = sources()
        lines = [f"{known[k].citation} ({known[k].status})" for k in self.lesson.sources if k in known]
        self.app.push_screen(HelpScreen("Sources", "\n\n".join(lines) or "Common practice.", ()))
