"""Writing music to a file: which of it, then where."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.errors import plain
from tutor.studio.exports import named, write_phrases
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.path_field import PathField

if TYPE_CHECKING:
    from tutor.music.phrase import Phrase
    from tutor.sound.synth import Sounds


@dataclass(frozen=True, slots=True)
class Part:
    """Something that can be written."""

    title: str
    """'This phrase'."""
    detail: str
    """'bars 5–8'."""
    name: str
    """Offered as the file's name, without its ending."""
    write: Callable[[Path, Sounds | None], None]
    """Writes it; raises TutorError where it cannot."""


def part(title: str, detail: str, name: str, phrases: Sequence[Phrase]) -> Part:
    """A part that is phrases in a row."""
    return Part(title, detail, name, lambda path, sounds: write_phrases(phrases, path, sounds=sounds))


class SoundFileScreen(Stage):
    """Asks what to write and where, and writes it.

    Args:
        parts: what can be written; with one alone only the place is asked.
        about: what it is taken from, shown at the top.
    """

    NAME = "Write"
    HELP = (
        "Choose what to write, then name the file. Its ending says what it becomes: .wav, .flac or .ogg to hear "
        "anywhere, .mid (MIDI, the notes alone) for an instrument or a notation program. The sound is the one you hear "
        "here. Tab completes a folder's name; a file that is there already is never overwritten."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "choose", key_display="Enter", tooltip="choose; write the file"),
        Binding("escape", "back", "back", key_display="Esc", tooltip="a step back"),
    ]

    def __init__(self, parts: Sequence[Part], about: str = "") -> None:
        super().__init__()
        self._parts = tuple(parts)
        self._about = about
        self._part: Part | None = None

    def content(self) -> Iterable[Widget]:
        """A question with its menu, or with a field."""
        yield Static(id="prompt", classes="prompt", markup=False)
        yield PathField(id="file", classes="gap hidden")
        yield Menu(id="menu", title_width=28, classes="gap")

    def ready(self) -> None:
        """Ask."""
        self.head.context = self._about
        if len(self._parts) == 1:
            self._place(self._parts[0])
        else:
            self._ask()

    def _ask(self) -> None:
        self._part = None
        self.query_one("#prompt", Static).update("What shall be written?")
        self.query_one(PathField).add_class("hidden")
        menu = self.query_one(Menu)
        menu.display = True
        menu.show([Row(str(i), p.title, p.detail) for i, p in enumerate(self._parts)])
        menu.focus()
        self.say("")

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Ask for the file."""
        self._place(self._parts[int(message.id)])

    def _place(self, part: Part) -> None:
        self._part = part
        self.query_one("#prompt", Static).update(f"{part.title}, {part.detail}" if part.detail else part.title)
        self.query_one(Menu).display = False
        field = self.query_one(PathField)
        field.offer(f"~/{file_name(part.name)}.wav")
        self.say("Enter writes it: .wav, .flac or .ogg to hear, .mid for the notes alone. Esc gives it up.")

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Write it."""
        text, part = self.query_one(PathField).text, self._part
        if part is None:
            return

        def make() -> Path:
            path = named(text, ".wav")
            part.write(path, None if path.suffix.lower() == ".mid" else self.studio.sounds)
            return path

        self.say("Writing it.")
        self.work(make, self._written)

    def _written(self, path: Path) -> None:
        app = self.app
        self.dismiss(None)
        below = app.screen
        if isinstance(below, Stage):
            below.say(f"Written to {plain(str(path))}")

    def action_pass(self) -> None:
        """Shown at the foot for the menu and the field, which do it."""

    def action_back(self) -> None:
        """A step back."""
        if self._part is not None and len(self._parts) > 1:
            self._ask()
        else:
            super().action_back()


def file_name(text: str) -> str:
    """Words as a file's name: letters, digits and hyphens."""
    kept = "".join(c if c.isalnum() else "-" for c in text.lower())
    return "-".join(w for w in kept.split("-") if w) or "music"
