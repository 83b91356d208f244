"""Quizzes: make one from songs, hear it through, write its page; gather the answers that come back."""

from __future__ import annotations

import random
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.errors import PackError
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.score import Score

if TYPE_CHECKING:
    from tutor.practice.drill import Song
    from tutor.quiz.gather import Gathered
    from tutor.quiz.pack import Pack

COUNT = 10
"""Questions in a quiz."""


class QuizScreen(Stage):
    """Choose a song to make a quiz from, or gather answers."""

    NAME = "Quizzes"
    HELP = (
        "A quiz is one page that works without a network: your pupils open it in a browser, hear and see each "
        "question, and hand in a short code. Choose the song it is made from.\n\n"
        "To gather the answers, put the files or codes you received into the folder of the quiz and name that folder."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "choose", key_display="Enter", tooltip="make a quiz from the song in the light"),
        Binding("g", "gather", "gather answers", tooltip="name the folder that holds a quiz and its answers"),
    ]

    def content(self) -> Iterable[Widget]:
        """A list of songs, a field, the figures."""
        yield Static("Make a quiz from which song?", classes="prompt")
        yield Input(id="folder", classes="gap hidden", placeholder="folder that holds a quiz and its answers")
        with VerticalScroll(classes="page gap", can_focus=False):
            yield Menu(id="menu", title_width=28, brief=True)
            yield Static(id="figures", classes="body gap", markup=False)

    def ready(self) -> None:
        """Fill the list."""
        self.work(self.studio.songs, lambda cards: self.query_one(Menu).show([
            *(Row(c.path, c.title, c.blurb if c.bundled else c.composer) for c in cards),
            Row("", "No song", "fresh music alone"),
        ]))  # fmt: skip

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Make it."""
        if message.id:
            from tutor.tui.screens.opening import OpeningScreen

            self.app.push_screen(OpeningScreen(message.id, then=self._make))
        else:
            self._make(None)

    def _make(self, song: Song | None) -> None:
        from tutor.studio.quizzes import make_quiz

        songs = [song] if song is not None else []
        title = song.title if song is not None else "Listening"
        seed = random.Random(self.studio.clock().isoformat()).randrange(1 << 30)
        self.say("Choosing ten questions.")

        def then(pack: Pack) -> None:
            self.say("")
            self.app.push_screen(PackScreen(pack, songs))

        self.work(lambda: make_quiz(songs, title=f"{title}: a quiz", count=COUNT, seed=seed), then)

    def action_gather(self) -> None:
        """Ask for the folder."""
        field = self.query_one(Input)
        field.remove_class("hidden")
        field.focus()

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Gather."""
        from tutor.tui.quizfiles import gather_folder

        folder = Path(message.value.strip()).expanduser()
        self.work(lambda: gather_folder(folder), self._figures)

    def _figures(self, found: Gathered) -> None:
        figures = found.figures
        lines = [f"{found.pack.title}: {figures.sheets} answer sheets. {found.next_video}".strip()]
        for number, (item, one) in enumerate(zip(found.pack.items, figures.items, strict=True), 1):
            lines.append(f"{number:>3}  {one.facility:>4.0%} right   {item.prompt}")
        if found.refused_count:
            lines.append(f"{found.refused_count} files or lines were refused; first: {found.refused[0]}")
        self.query_one("#figures", Static).update("\n".join(lines))
        self.query_one(Input).add_class("hidden")
        self.query_one(Menu).focus()

    def action_back(self) -> None:
        """Out of the field, or out of the screen."""
        if self.query_one(Input).has_focus:
            self.query_one(Input).add_class("hidden")
            self.query_one(Menu).focus()
        else:
            super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""


class PackScreen(Stage):
    """A quiz before it is written.

    Args:
        pack: the quiz.
        songs: what it was made from.
    """

    NAME = "Quiz"
    HELP = (
        "Hear each question with Space and see its music with Enter. x drops a question, a asks for another of its "
        "kind, u takes that back. w writes the page, a sheet for paper and the quiz itself into a folder."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "hear", "hear", key_display="Space", tooltip="hear the question in the light"),
        Binding("enter", "pass", "see", key_display="Enter", tooltip="see its music and its answer"),
        Binding("a", "another", "another", tooltip="another question of the same kind"),
        Binding("x", "drop", "drop", tooltip="leave this question out"),
        Binding("u", "undo", "undo", tooltip="take the last change back"),
        Binding("w", "write", "write the page", tooltip="write page, sheet and quiz into a folder"),
    ]

    def __init__(self, pack: Pack, songs: list[Song]) -> None:
        super().__init__()
        self.pack = pack
        self._songs = songs
        self._before: list[Pack] = []

    def content(self) -> Iterable[Widget]:
        """The questions, the field for the folder, the music of one."""
        yield Static(id="title", classes="prompt", markup=False)
        yield Input(id="folder", classes="gap hidden")
        with VerticalScroll(classes="page gap", can_focus=False):
            yield Menu(id="menu", title_width=44, brief=True)
            yield Static(id="answer", classes="quiet gap", markup=False)
            yield Score(id="score")

    def ready(self) -> None:
        """Show the questions."""
        self._show(0)

    def _show(self, at: int) -> None:
        self.query_one("#title", Static).update(f"{self.pack.title}, {len(self.pack.items)} questions")
        rows = [Row(str(i), item.prompt, item.right_text, key=f"{i + 1}") for i, item in enumerate(self.pack.items)]
        self.query_one(Menu).show(rows, at)
        self.query_one("#answer", Static).update("")
        self.query_one(Score).show(None)

    @property
    def _at(self) -> int:
        return self.query_one(Menu).at

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """See the music and the answer."""
        item = self.pack.items[int(message.id)]
        self.query_one("#answer", Static).update(f"{item.right_text}. {item.explanation}")
        score = self.query_one(Score)
        score.show((item.evidence or item.seen or item.heard or (None,))[0])
        self.call_after_refresh(score.scroll_visible, animate=False)

    def action_hear(self) -> None:
        """Hear the question."""
        if self.pack.items:
            item = self.pack.items[self._at]
            self.hear([e.phrase for e in item.heard or item.seen])

    def _change(self, pack: Pack) -> None:
        self._before.append(self.pack)
        at = self._at
        self.pack = pack
        self._show(min(at, max(0, len(pack.items) - 1)))

    def action_drop(self) -> None:
        """Leave this question out."""
        if len(self.pack.items) > 1:
            self._change(self.pack.without(self._at))

    def action_another(self) -> None:
        """Another question of the same kind."""
        from tutor.studio.quizzes import replace_item

        pack, at, seed = self.pack, self._at, len(self._before) + 1
        self.work(lambda: replace_item(self._songs, pack, at, pack.seed + seed), self._change)

    def action_undo(self) -> None:
        """Take the last change back."""
        if self._before:
            self.pack = self._before.pop()
            self._show(min(self._at, len(self.pack.items) - 1))

    def action_write(self) -> None:
        """Ask where to."""
        from tutor.tui.quizfiles import stem_of

        field = self.query_one(Input)
        field.value = f"~/larkstair-quizzes/{stem_of(self.pack.title)}"
        field.remove_class("hidden")
        field.focus()
        self.say("Into which folder? Enter writes.")

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Write everything."""
        from tutor.tui.quizfiles import write_all

        pack, folder = self.pack, Path(message.value.strip()).expanduser()
        if not message.value.strip():
            self.say(PackError("no folder was named").line, bad=True)
            return
        self.say("Writing: drawing the staves and rendering the sound takes a moment.")
        self.work(lambda: write_all(pack, folder), self._written)

    def _written(self, paths: list[Path]) -> None:
        self._close_field()
        self.say(f"Written: {paths[1]}")

    def _close_field(self) -> None:
        self.query_one(Input).add_class("hidden")
        self.query_one(Menu).focus()

    def action_back(self) -> None:
        """Out of the field, or out of the screen."""
        if self.query_one(Input).has_focus:
            self._close_field()
        else:
            super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
