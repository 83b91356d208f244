"""What is stored on this machine, and how to delete it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.errors import plain
from tutor.tui.screens.asking import Asking
from tutor.tui.screens.singers import answers
from tutor.tui.widgets.menu import Menu, Row

if TYPE_CHECKING:
    from tutor.studio.keeping import Stored

NEVER = (
    "Never stored: the sound of your voice or anything the microphone hears. Nothing leaves this machine: "
    "the program uses no network."
)


def told(found: Stored) -> str:
    """Where it lies and how much it is."""
    from tutor.studio.keeping import words_of

    counts = found.counts
    kinds = [
        ("review", "answers"), ("card", "skills with a level"), ("session", "sessions and warm-ups"),
        ("diary", "diary entries"), ("reading", "readings of songs"), ("setting", "settings"),
    ]  # fmt: skip
    lines = [
        f"Folder: {plain(str(found.folder))}" if found.folder else "Nothing lies on the disk; it is kept in memory.",
        "In the store: " + "; ".join(f"{words} {counts.get(kind, 0)}" for kind, words in kinds) + ".",
    ]
    if found.corrections:
        lines.append(f"Corrections of bundled songs, in its folder “corrections”: {len(found.corrections)} files.")
    if found.files:
        listed = [f"{plain(name)} ({words_of(name)}, {_size(size)})" for name, size in found.files]
        lines.append("Files: " + ", ".join(listed) + ".")
    lines.append("Corrections of your own scores lie beside them and stay there.")
    return "\n".join([*lines, NEVER])


def _size(size: int) -> str:
    return (
        f"{size / 1_000_000:.1f} MB" if size >= 1_000_000 else f"{max(1, round(size / 1000))} kB" if size else "empty"
    )


class StoredScreen(Asking):
    """The list, and deleting."""

    NAME = "What is stored"
    HELP = (
        "Everything that Larkstair keeps lies in one folder on this machine, and only you can read it. Choose a "
        "singer or a song and press Enter to delete what is kept of it; the last line deletes everything. You are "
        "asked first, for everything twice; what is deleted cannot be brought back.\n\n"
        "A song that is deleted only leaves the list: the score is your own file and is never touched. To keep a copy "
        "elsewhere first, leave the program and type: larkstair export FILE"
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "enter", "pass", "delete", key_display="Enter", tooltip="delete what stands in the light; you are asked"
        ),
        Binding("x", "everything", "delete everything", tooltip="delete all that is stored; you are asked twice"),
    ]

    def content(self) -> Iterable[Widget]:
        """What there is, a question, and a list to delete from."""
        yield Static(id="question", classes="lamp hidden", markup=False)
        with VerticalScroll(classes="page", can_focus=False):
            yield Menu(id="menu", title_width=30, brief=True)
            yield Static(id="about", classes="quiet gap", markup=False)

    def ready(self) -> None:
        """Look it up."""
        from tutor.studio import keeping

        self.work(lambda: keeping.stored(self.studio), self._show)

    def _show(self, found: Stored) -> None:
        rows = [Row("", "Singers", heading=True)] if found.voices else []
        rows += [
            Row(f"singer:{v.profile.name}", v.profile.name, f"{answers(v.answers)}, {v.warmups} diary entries")
            for v in found.voices
        ]
        if found.songs:
            rows.append(Row("", "Songs opened", heading=True))
        rows += [Row(f"song:{s.id}", s.title, "bundled" if s.bundled else plain(s.path)) for s in found.songs]
        rows += [Row("", "All of it", heading=True), Row("all", "Delete everything", "as if newly installed")]
        menu = self.query_one(Menu)
        menu.show(rows)
        menu.focus()
        self.query_one("#about", Static).update(told(found))

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Ask, then delete."""
        from tutor.studio import keeping

        kind, _, value = message.id.partition(":")
        row, studio = self.query_one(Menu).current, self.studio
        title = row.title if row else value
        if kind == "all":
            self.action_everything()
        elif kind == "singer":
            question = f"Delete {title} for good: all answers, levels and the diary?"
            self._confirm([question], lambda: keeping.forget_singer(studio, value), f"{title} is deleted.")
        else:
            question = f"Take “{title}” out of the list, with what was read of it?"
            self._confirm([question], lambda: keeping.forget_song(studio, value), f"“{title}” is out of the list.")

    def _confirm(self, questions: list[str], make: Callable[[], None], said: str) -> None:
        def done(_none: None) -> None:
            self.ready()
            self.say(said)

        self.ask(questions, lambda: self.work(make, done))

    def action_everything(self) -> None:
        """Ask twice, then delete everything."""
        from tutor.studio import keeping

        studio = self.studio
        questions = [
            "Delete everything: every singer, every answer, every song, every setting?",
            "Really everything? It cannot be brought back.",
        ]
        self._confirm(questions, lambda: keeping.forget_everything(studio), "Everything is deleted.")

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
