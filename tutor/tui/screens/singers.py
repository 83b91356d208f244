"""The singers on this machine: each has answers, levels, voice and diary of their own."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.tui.screens.asking import Asking
from tutor.tui.screens.setup import voice_row
from tutor.tui.widgets.menu import Menu, Row

if TYPE_CHECKING:
    from tutor.studio.keeping import Voice


def answers(n: int) -> str:
    """'1 answer', '42 answers'."""
    return f"{n} answer{'' if n == 1 else 's'}"


class SingersScreen(Asking):
    """Choose, add, rename, forget."""

    NAME = "Singers"
    HELP = (
        "Several people can practise on one machine. Each singer has a voice, answers, levels and a diary of warm-ups "
        "of their own; songs, theme and devices are shared.\n\n"
        "Enter lets the singer in the light practise from now on. To forget a singer deletes all that is kept for "
        "that singer, for good; you are asked first."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "sings now", key_display="Enter", tooltip="the singer in the light practises now"),
        Binding("a", "add", "add", tooltip="add a singer"),
        Binding("r", "rename", "rename", tooltip="give the singer in the light another name"),
        Binding("d", "forget", "forget", tooltip="delete the singer in the light and all that is kept for them"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._renaming = ""
        """Who gets another name; empty while a new singer is added."""

    def content(self) -> Iterable[Widget]:
        """A list, a field for a name, a question."""
        yield Static("Who sings?", classes="prompt")
        yield Input(id="name", classes="gap hidden", max_length=40, placeholder="a name")
        yield Static(id="question", classes="lamp gap hidden", markup=False)
        yield VerticalScroll(Menu(id="menu", title_width=24), classes="page gap", can_focus=False)

    def ready(self) -> None:
        """Fill the list."""
        from tutor.studio import keeping

        self.work(lambda: (self.studio.singer, keeping.voices(self.studio)), lambda found: self._show(found[1]))

    def _show(self, voices: tuple[Voice, ...]) -> None:
        now = self.studio.singer.name
        rows = [
            Row(v.profile.name, v.profile.name, f"{voice_row(v.profile)}; {answers(v.answers)}",
                sign="sings now" if v.profile.name == now else "")
            for v in voices
        ]  # fmt: skip
        menu = self.query_one(Menu)
        menu.show(rows, now)
        menu.focus()
        self.head.context = now

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Another singer."""
        from tutor.studio import keeping

        keeping.choose(self.studio, message.id)
        self.say(f"{message.id} sings now.")
        self.ready()

    def _ask_name(self, renaming: str) -> None:
        self._renaming = renaming
        field = self.query_one(Input)
        field.value = renaming
        field.remove_class("hidden")
        field.focus()

    def action_add(self) -> None:
        """Ask for a name."""
        self._ask_name("")
        self.say("Who is it? Voice and range can be set in Setup afterwards.")

    def action_rename(self) -> None:
        """Ask for another name."""
        row = self.query_one(Menu).current
        if row is not None:
            self._ask_name(row.id)

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Add, or rename."""
        from tutor.studio import keeping

        studio, old, text = self.studio, self._renaming, message.value

        def make() -> None:
            if old:
                keeping.rename(studio, old, text)
            else:
                keeping.add(studio, text)

        self.work(make, lambda _done: self._named())

    def _named(self) -> None:
        renamed = bool(self._renaming)
        self._close_field()
        singer = self.studio.singer.name
        self.say("Renamed; all that was kept stays." if renamed else f"{singer} sings now. Setup sets voice and range.")

    def _close_field(self) -> None:
        self.query_one(Input).add_class("hidden")
        self.ready()

    def action_forget(self) -> None:
        """Ask, then forget."""
        from tutor.studio import keeping

        row, studio = self.query_one(Menu).current, self.studio
        if row is None:
            return
        name = row.id
        count = answers(len(studio.store.reviews(name)))
        question = f"Forget {name} for good: {count}, all levels, the diary?"

        def then() -> None:
            self.work(lambda: keeping.forget_singer(studio, name), lambda _none: self._forgotten(name))

        self.ask([question], then)

    def _forgotten(self, name: str) -> None:
        self.say(f"{name} is forgotten.")
        self.ready()

    def action_back(self) -> None:
        """Out of the field, or out of the screen."""
        if self.query_one(Input).has_focus:
            self._close_field()
            self.say("")
        else:
            super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
