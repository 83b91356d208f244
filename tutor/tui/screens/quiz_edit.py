"""A quiz before it is written: look each question over, replace, move, drop or reword it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.errors import plain
from tutor.quiz.pack import MOST_TEXT, Pack
from tutor.tui.screens.quiz_halves import Halves
from tutor.tui.widgets.menu import Menu
from tutor.tui.widgets.quiz_view import QuizView

if TYPE_CHECKING:
    from tutor.practice.drill import Song
    from tutor.studio.quizdesk import Draft

_SAID = {
    "prompt": "The question in other words; Enter keeps it.",
    "explanation": "The explanation in other words; Enter keeps it.",
    "choices": "The choices in other words, in the same order, a stroke | between them; Enter keeps them.",
    "title": "The title; Enter keeps it.",
    "introduction": "A line or two under the title; Enter keeps it.",
}


class QuizEditScreen(Halves):
    """The questions on one side, the one in the light in full on the other.

    Args:
        draft: the quiz and where it is kept.
        songs: what it was made from, for questions that replace others.
    """

    NAME = "Quiz"
    HELP = (
        "Go through the questions with the arrow keys; the one in the light is shown in full, with its answer, its "
        "explanation and the notes that prove it; Enter gives it the whole screen. Space plays it.\n\n"
        "r asks for another question of the same kind, - and + move the question up and down, Del drops it. p, c and x "
        "let you reword the question, its choices and the explanation, t and i the title and the introduction. u takes "
        "the last change back, as often as you like.\n\n"
        "w writes everything into a folder. Until then the quiz is kept here and waits for you."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "hear", "hear", key_display="Space", tooltip="hear the question in the light"),
        Binding("enter", "full", "full", key_display="Enter", tooltip="show the question in full, or the list again"),
        Binding("r", "another", "replace", tooltip="another question of the same kind"),
        Binding("w", "write", "write", tooltip="write page, sheet, quiz and school package into a folder"),
        Binding("minus,shift+up", "shift(-1)", "move", key_display="- +", tooltip="move the question up or down"),
        Binding("plus,equals_sign,shift+down", "shift(1)", "", show=False),
        Binding("delete,backspace", "drop", "drop", key_display="Del", tooltip="leave this question out"),
        Binding("p", "word('prompt')", "reword", tooltip="reword the question"),
        Binding("c", "word('choices')", "choices", tooltip="reword the choices"),
        Binding("x", "word('explanation')", "explain", tooltip="reword the explanation"),
        Binding("u", "undo", "undo", tooltip="take the last change back"),
        Binding("t", "word('title')", "title", tooltip="change the title"),
        Binding("i", "word('introduction')", "introduction", tooltip="change the introduction"),
        Binding("e", "reveal", "explain when", tooltip="explanations after each answer, or at the end"),
    ]

    def __init__(self, draft: Draft, songs: list[Song]) -> None:
        super().__init__()
        self._draft = draft
        self._songs = songs
        self._past: list[Pack] = []
        self._writing = ""
        self._throws = 0
        self._saving = False
        self._unsaved = False

    @property
    def pack(self) -> Pack:
        """The quiz as it stands."""
        return self._draft.pack

    def content(self) -> Iterable[Widget]:
        """Title, list, question."""
        yield Static(id="title", classes="prompt", markup=False)
        yield Static(id="introduction", classes="quiet", markup=False)
        yield Input(id="words", classes="gap hidden", select_on_focus=False, max_length=MOST_TEXT)
        yield from self.halves()

    def ready(self) -> None:
        """Show the questions."""
        self.lay_halves()
        self._show(0)

    def _show(self, at: int) -> None:
        pack = self.pack
        when = "after each answer" if pack.reveal == "at once" else "at the end"
        self.query_one("#title", Static).update(f"{pack.title} · {len(pack.items)} questions, explained {when}")
        words = self.query_one("#introduction", Static)
        words.update(pack.introduction)
        words.display = bool(pack.introduction)
        rows = self.item_rows(pack.items)
        self.query_one(Menu).show(rows, max(0, min(at, len(rows) - 1)))
        self._view()
        self.refresh_bindings()

    def on_menu_pointed(self, message: Menu.Pointed) -> None:
        """Another question stands in the light."""
        self._view()

    def _view(self) -> None:
        at = self.at
        if at < len(self.pack.items):
            self.query_one(QuizView).show(self.pack.items[at], number=at + 1)

    def action_hear(self) -> None:
        """Hear the question."""
        item = self.pack.items[self.at]
        self.hear([e.phrase for e in item.heard or item.seen])

    # -- changing

    def _change(self, pack: Pack, at: int | None = None, *, past: bool = True) -> None:
        """Show a change at once, and keep it."""
        if past and pack != self.pack:
            self._past.append(self.pack)
        where = self.at if at is None else at
        self._draft = replace(self._draft, pack=pack)
        self._show(where)
        self._save()

    def _save(self) -> None:
        """Keep the quiz as it stands; one write at a time, so that an older one never comes last."""
        from tutor.studio import quizdesk

        if self._saving:
            self._unsaved = True
            return
        self._saving, self._unsaved, draft = True, False, self._draft
        self.work(
            lambda: quizdesk.keep_draft(self.studio, draft, draft.pack), lambda _draft: self._saved(),
            failed=self._saved,
        )  # fmt: skip

    def _saved(self) -> None:
        self._saving = False
        if self._unsaved:
            self._save()

    def on_unmount(self) -> None:
        """What was changed in the last moment is kept too."""
        from tutor.studio import quizdesk

        if self._unsaved:
            quizdesk.keep_draft(self.studio, self._draft, self.pack)
        super().on_unmount()

    def action_another(self) -> None:
        """Another question of the same kind."""
        from tutor.studio.quizzes import replace_item

        pack, at = self.pack, self.at
        self._throws += 1
        seed = pack.seed + self._throws
        self.say("Looking for another question of this kind.")

        def then(changed: Pack) -> None:
            # The quiz may have been changed meanwhile: the new question goes where the old one now stands.
            if pack.items[at] in self.pack.items:
                place = self.pack.items.index(pack.items[at])
                self.say("Replaced; u brings the old one back.")
                self._change(self.pack.with_item(place, changed.items[at]), place)

        self.work(lambda: replace_item(self._songs, pack, at, seed), then)

    def action_drop(self) -> None:
        """Leave this question out."""
        if len(self.pack.items) > 1:
            self.say("Dropped; u brings it back.")
            self._change(self.pack.without(self.at))
        else:
            self.say("A quiz needs at least one question.", bad=True)

    def action_shift(self, by: int) -> None:
        """Move the question up or down."""
        at = self.at
        to = max(0, min(len(self.pack.items) - 1, at + by))
        if to != at:
            self._change(self.pack.moved(at, to), to)

    def action_reveal(self) -> None:
        """After each answer, or at the end."""
        self._change(replace(self.pack, reveal="at the end" if self.pack.reveal == "at once" else "at once"))

    def action_undo(self) -> None:
        """Take the last change back."""
        if self._past:
            self.say("Taken back.")
            self._change(self._past.pop(), past=False)

    def action_word(self, what: str) -> None:
        """Type other words."""
        field = self.query_one(Input)
        self._writing = what
        item = self.pack.items[self.at]
        field.value = (
            " | ".join(c.text for c in item.choices) if what == "choices"
            else str(getattr(self.pack if what in ("title", "introduction") else item, what))
        )  # fmt: skip
        field.remove_class("hidden")
        field.focus()
        field.action_end()
        self.say(_SAID[what])

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Keep what was typed."""
        text, what, at = plain(message.value), self._writing, self.at
        if not text and what != "introduction":
            self.say("Some words are needed here.", bad=True)
            return
        if what == "choices":
            self._reword_choices(text)
            return
        self._close_field()
        if what == "title":
            self._change(replace(self.pack, title=text))
        elif what == "introduction":
            self._change(replace(self.pack, introduction=text))
        elif what == "prompt":
            self._change(self.pack.with_item(at, replace(self.pack.items[at], prompt=text)))
        else:
            self._change(self.pack.with_item(at, replace(self.pack.items[at], explanation=text)))

    def _reword_choices(self, text: str) -> None:
        at, item = self.at, self.pack.items[self.at]
        words = [plain(w) for w in text.split("|")]
        if len(words) != len(item.choices) or not all(words) or len(set(words)) < len(words):
            self.say(f"{len(item.choices)} different choices are needed, a stroke | between them.", bad=True)
            return
        self._close_field()
        choices = tuple(replace(c, text=w) for c, w in zip(item.choices, words, strict=True))
        self._change(self.pack.with_item(at, replace(item, choices=choices)))

    def _close_field(self) -> None:
        self.query_one(Input).add_class("hidden")
        self.query_one(Menu).focus()
        self.say("")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Undo needs something to undo."""
        return bool(self._past) if action == "undo" else super().check_action(action, parameters)

    def action_write(self) -> None:
        """Write it."""
        from tutor.tui.screens.quiz_write import QuizWriteScreen

        self.hush()
        self.app.push_screen(QuizWriteScreen(self._draft))

    def action_back(self) -> None:
        """Out of the field, or out of the screen; the quiz waits."""
        if self.query_one(Input).has_focus:
            self._close_field()
        elif self.is_full:
            self.action_full()
        else:
            super().action_back()
