"""What a quiz shall be: songs, kinds of question, number, difficulty, words; then its questions are chosen."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.errors import plain
from tutor.quiz.pack import MOST_ITEMS, Reveal
from tutor.store.records import SongCard
from tutor.tui.stage import Stage
from tutor.tui.widgets.frame import Lamp
from tutor.tui.widgets.menu import Menu, Row

if TYPE_CHECKING:
    from tutor.practice.drill import Song
    from tutor.studio.quizdesk import Draft

MIXES: dict[str, tuple[int, int, int]] = {
    "easy": (8, 2, 0),
    "rising": (5, 3, 2),
    "even": (1, 1, 1),
    "hard": (1, 3, 6),
}
"""Shares of easy, middling and hard questions (a choice of ours)."""
_WRITTEN = {"title": 120, "introduction": 1_000, "seed": 12}
"""What is typed, and how long it may be."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What the maker wants."""

    songs: tuple[str, ...] = ()
    """Ids of songs."""
    skills: tuple[str, ...] = ()
    """'drill:skill'; none: what the songs hold, and fresh music."""
    count: int = 10
    mix: str = "rising"
    reveal: Reveal = "at once"
    seed: int = 1
    title: str = ""
    introduction: str = ""


class QuizMakeScreen(Stage):
    """A form of a few lines; every one has an answer already."""

    NAME = "Make a quiz"
    HELP = (
        "Each line already has an answer: you may go straight to “Choose the questions” (m). Enter changes the line in "
        "the light; the left and right arrows step through what can be counted.\n\n"
        "With songs chosen, about two thirds of the questions come from them and the rest is fresh music. If you name "
        "kinds of question yourself, only these are asked. Only what the program is sure of is ever asked.\n\n"
        "The seed decides the dice: the same wishes and the same seed give the same quiz."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "change", key_display="Enter", tooltip="change what stands in the light"),
        Binding("left", "nudge(-1)", "less, more", key_display="← →", tooltip="step back or on"),
        Binding("right", "nudge(1)", "", show=False),
        Binding("m", "make", "choose the questions", tooltip="choose the questions"),
        Binding("u", "undo", "undo", tooltip="take the last change back"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.wish = Wish()
        self._past: list[Wish] = []
        self._cards: dict[str, SongCard] = {}
        self._writing = ""
        self._stop = threading.Event()
        self._busy = False

    def content(self) -> Iterable[Widget]:
        """The form, and a field for what is typed."""
        yield Static("What shall the quiz be?", classes="prompt")
        yield Input(id="words", classes="gap hidden", select_on_focus=False)
        yield VerticalScroll(Menu(id="menu", title_width=24, brief=True), classes="page gap", can_focus=False)

    def ready(self) -> None:
        """Learn which songs there are; the dice give a seed."""
        seed = int(self.studio.clock().timestamp()) % 10_000
        self.wish = replace(self.wish, seed=seed)
        self.work(self.studio.songs, self._known)
        self._show()

    def _known(self, cards: tuple[SongCard, ...]) -> None:
        self._cards = {c.id: c for c in cards}
        self._show()

    def _show(self) -> None:
        wish = self.wish
        easy, middling, hard = MIXES[wish.mix]
        told = "after each answer" if wish.reveal == "at once" else "when the viewer has finished"
        rows = [
            Row("", "What it asks", heading=True),
            Row("songs", "Songs", self._song_words()),
            Row("skills", "Kinds of question", self._skill_words()),
            Row("count", "Questions", str(wish.count)),
            Row("mix", "Difficulty", f"{wish.mix}: easy, middling and hard as {easy} to {middling} to {hard}"),
            Row("seed", "Seed of the dice", str(wish.seed)),
            Row("", "What it says", heading=True),
            Row("title", "Title", self.title_now),
            Row("introduction", "Introduction", wish.introduction or "none"),
            Row("reveal", "Explanations", told),
            Row("", "Then", heading=True),
            Row("make", "Choose the questions", "to look over, change and write"),
        ]
        menu = self.query_one(Menu)
        menu.show(rows, menu.current.id if menu.current and menu.current.id else 1)

    @property
    def title_now(self) -> str:
        """The title given, or one made from the first song."""
        if self.wish.title:
            return self.wish.title
        first = self._cards.get(self.wish.songs[0]) if self.wish.songs else None
        return f"{first.title}: what do you hear?" if first else "What do you hear?"

    def _song_words(self) -> str:
        titles = [self._cards[s].title for s in self.wish.songs if s in self._cards]
        return ", ".join(titles) if titles else "none: fresh music alone"

    def _skill_words(self) -> str:
        if not self.wish.skills:
            return "what the songs hold, and fresh music" if self.wish.songs else "the easiest of every kind"
        return f"{len(self.wish.skills)} chosen"

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Change a line."""
        what = message.id
        if what == "make":
            self.action_make()
        elif what == "songs":
            self._pick_songs()
        elif what == "skills":
            self.work(_skill_rows, self._pick_skills)
        elif what in _WRITTEN:
            self._ask_words(what)
        else:
            self.action_nudge(1)

    def _pick_songs(self) -> None:
        from tutor.tui.screens.quiz_pick import PickScreen

        rows = []
        for heading, bundled in (("Yours", False), ("Bundled", True)):
            cards = [c for c in self._cards.values() if c.bundled == bundled]
            if cards:
                rows += [Row("", heading, heading=True), *(Row(c.id, c.title, c.blurb or c.composer) for c in cards)]
        then = self._set_songs
        self.app.push_screen(PickScreen("From which songs?", rows, self.wish.songs, then))

    def _set_songs(self, ids: tuple[str, ...]) -> None:
        self._change(replace(self.wish, songs=ids))

    def _pick_skills(self, rows: list[Row]) -> None:
        from tutor.tui.screens.quiz_pick import PickScreen

        asks = "Which kinds of question? No tick: the program chooses."
        self.app.push_screen(
            PickScreen(asks, rows, self.wish.skills, lambda ids: self._change(replace(self.wish, skills=ids)))
        )

    def _ask_words(self, what: str) -> None:
        field = self.query_one(Input)
        self._writing = what
        field.max_length = _WRITTEN[what]
        field.value = self.title_now if what == "title" else str(getattr(self.wish, what))
        field.remove_class("hidden")
        field.focus()
        field.action_end()
        self.say({"title": "The title; Enter keeps it.", "seed": "A number; Enter keeps it.",
                  "introduction": "A line or two under the title; Enter keeps it."}[what])  # fmt: skip

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Keep what was typed."""
        text = plain(message.value)
        if self._writing == "seed":
            if not text.isdecimal():
                self.say("The seed is a whole number.", bad=True)
                return
            self._change(replace(self.wish, seed=int(text)))
        elif self._writing == "title":
            self._change(replace(self.wish, title=text))
        else:
            self._change(replace(self.wish, introduction=text))
        self._close_field()

    def _close_field(self) -> None:
        self.query_one(Input).add_class("hidden")
        self.query_one(Menu).focus()
        self.say("")

    def _change(self, wish: Wish) -> None:
        if wish != self.wish:
            self._past.append(self.wish)
            self.wish = wish
        self._show()

    def action_nudge(self, by: int) -> None:
        """Step through what can be counted."""
        row, wish = self.query_one(Menu).current, self.wish
        names = list(MIXES)
        if row is None:
            return
        if row.id == "count":
            self._change(replace(wish, count=max(1, min(MOST_ITEMS, wish.count + by))))
        elif row.id == "mix":
            self._change(replace(wish, mix=names[(names.index(wish.mix) + by) % len(names)]))
        elif row.id == "seed":
            self._change(replace(wish, seed=max(0, wish.seed + by)))
        elif row.id == "reveal":
            self._change(replace(wish, reveal="at the end" if wish.reveal == "at once" else "at once"))

    def action_undo(self) -> None:
        """Take the last change back."""
        if self._past:
            self.wish = self._past.pop()
            self.say("Taken back.")
            self._show()

    # -- making

    def action_make(self) -> None:
        """Read the songs and choose the questions."""
        if self._busy:
            return
        self._busy = True
        self._stop.clear()
        wish, title = self.wish, self.title_now
        paths = [self._cards[s].path for s in wish.songs if s in self._cards]
        self.say("Reading the songs and choosing the questions." if paths else "Choosing the questions.")
        self.work(lambda: self._made(wish, title, paths), self._show_draft, failed=self._not_made)

    def _made(self, wish: Wish, title: str, paths: list[str]) -> tuple[Draft, list[Song]]:
        from tutor.studio import quizdesk, quizzes

        songs: list[Song] = []
        for number, path in enumerate(paths):
            self.call_later(self._lamps, number, len(paths) + 1)
            songs.append(self.studio.open_song(path, stop=self._stop))
        self.call_later(self._lamps, len(paths), len(paths) + 1)
        pairs = [(drill, skill) for drill, _, skill in (s.partition(":") for s in wish.skills)]
        pack = quizzes.make_quiz(
            songs, title=title, introduction=wish.introduction, skills=pairs, count=wish.count, mix=MIXES[wish.mix],
            reveal=wish.reveal, seed=wish.seed,
        )  # fmt: skip
        return quizdesk.begin_draft(self.studio, pack, songs), songs

    def _lamps(self, done: int, of: int) -> None:
        self.light(lamps(done, of))

    def _show_draft(self, made: tuple[Draft, list[Song]]) -> None:
        from tutor.tui.screens.quiz_edit import QuizEditScreen

        self._rest()
        self.say("")
        self.app.push_screen(QuizEditScreen(*made))

    def _not_made(self) -> None:
        self._rest()

    def _rest(self) -> None:
        self._busy = False
        self.light(())

    def action_back(self) -> None:
        """Out of the field, or out of the screen; what is being read is given up."""
        if self.query_one(Input).has_focus:
            self._close_field()
        else:
            self._stop.set()
            super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""


def lamps(done: int, of: int) -> list[Lamp]:
    """A row of lamps for work that goes on: what is done is lit."""
    return ["hit" if n < done else "now" if n == done else "wait" for n in range(of)]


def _skill_rows() -> list[Row]:
    """Every kind of question that is answered by a choice, drill by drill."""
    from tutor.studio.quizzes import choosable

    rows: list[Row] = []
    for title, skills in choosable():
        rows.append(Row("", title, heading=True))
        rows += [Row(f"{drill}:{skill}", words) for drill, skill, words in skills]
    return rows
