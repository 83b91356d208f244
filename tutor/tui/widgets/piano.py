"""A piano on the computer keyboard; its letters are on its keys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from rich.text import Text
from textual import events
from textual.app import RenderResult
from textual.message import Message
from textual.reactive import reactive
from textual.widget import Widget

from tutor.music.pitch import Pitch, pretty
from tutor.tui.look import LayoutName, Look
from tutor.tui.widgets.frame import signs_of

_SEMITONES = (0, 2, 4, 5, 7, 9, 11, 12, 14, 16)
_RAISED = (0, 1, 3, 4, 5, 7, 8)
"""White keys that have a black one to their right."""


@dataclass(frozen=True, slots=True)
class Letters:
    """Which letters are keys; they lie under the fingers as on a piano."""

    white: str
    """Home row: white keys, C first."""
    raised: str
    """Row above: the black keys, C sharp first."""
    lower: str
    """An octave down."""
    higher: str
    """An octave up."""

    @property
    def black(self) -> dict[int, str]:
        """The black key to the right of a white one."""
        return dict(zip(_RAISED, self.raised, strict=True))

    @property
    def keys(self) -> dict[str, int]:
        """Semitones above the C on the left."""
        return {letter: _SEMITONES[i] for i, letter in enumerate(self.white)} | {
            letter: _SEMITONES[i] + 1 for i, letter in self.black.items()
        }


LETTERS: dict[LayoutName, Letters] = {
    "qwerty": Letters("asdfghjkl;", "wetyuop", "z", "x"),
    "qwertz": Letters("asdfghjklö", "wetzuop", "y", "x"),
    "azerty": Letters("qsdfghjklm", "zetyuop", "w", "x"),
}
"""By the first letters of the row above the home row."""
_WIDE = 5


class Piano(Widget, can_focus=True):
    """Plays notes into an answer."""

    DEFAULT_CSS = """
    Piano { height: auto; width: 1fr; margin: 0 2; }
    """
    LOWEST: ClassVar[int] = 1
    HIGHEST: ClassVar[int] = 6

    octave: reactive[int] = reactive(4)
    """Octave of the C on the left."""
    notes: reactive[tuple[int, ...]] = reactive(())
    """MIDI numbers given so far."""
    wanted: reactive[int] = reactive(1)
    """How many make an answer."""
    in_order: reactive[bool] = reactive(False)
    """True for a melody, False for a chord."""
    fifths: reactive[int] = reactive(0)
    """Key signature, for the spelling of names."""

    @dataclass
    class Played(Message):
        """A key was pressed."""

        midi: int

    @property
    def letters(self) -> Letters:
        """The letters of the user's keyboard."""
        look: Look = getattr(self.app, "look", None) or Look()
        return LETTERS[look.letters]

    def begin(self, *, wanted: int, in_order: bool, octave: int, fifths: int) -> None:
        """Ready for another answer."""
        self.notes = ()
        self.wanted, self.in_order, self.octave, self.fifths = wanted, in_order, octave, fifths

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """Keys, names and what was played."""
        return 5

    def press(self, midi: int) -> None:
        """Give a note; in a chord the same note a second time takes it back."""
        if not self.in_order and midi in self.notes:
            self.notes = tuple(n for n in self.notes if n != midi)
        else:
            self.notes = (*self.notes, midi)[-32:]
        self.post_message(self.Played(midi))

    def take_back(self) -> None:
        """Take the last note back."""
        self.notes = self.notes[:-1]

    def shift(self, by: int) -> None:
        """Another octave."""
        self.octave = max(self.LOWEST, min(self.HIGHEST, self.octave + by))

    def on_key(self, event: events.Key) -> None:
        """Letters are notes; two at the bottom left change the octave."""
        key, letters = event.character or event.key, self.letters
        if key in letters.keys:
            self.press(12 * (self.octave + 1) + letters.keys[key])
        elif key == letters.lower:
            self.shift(-1)
        elif key == letters.higher:
            self.shift(1)
        elif event.key == "backspace":
            self.take_back()
        else:
            return
        event.stop()
        event.prevent_default()

    def on_click(self, event: events.Click) -> None:
        """The mouse plays too."""
        self.focus()
        letters = self.letters
        index = (event.x - 1) // _WIDE
        if event.y == 0:
            place = (event.x - 1 - _WIDE // 2) // _WIDE
            if place in letters.black:
                self.press(12 * (self.octave + 1) + letters.keys[letters.black[place]])
        elif event.y in (1, 2) and 0 <= index < len(letters.white):
            self.press(12 * (self.octave + 1) + letters.keys[letters.white[index]])

    def render(self) -> RenderResult:
        """Black keys, white keys, names, the answer."""
        theme, sign, letters = self.app.theme_variables, signs_of(self), self.letters
        base = 12 * (self.octave + 1)
        edge = "|" if sign.pointer == "|" else "│"
        white, names = Text(edge, style=theme["rule"]), Text(edge, style=theme["rule"])
        for letter in letters.white:
            down = base + letters.keys[letter] in self.notes
            style = f"bold {theme['house']} on {theme['lamp']}" if down else f"bold {theme['text-body']}"
            white.append(f"{letter:^{_WIDE - 1}}", style=style)
            white.append(edge, style=theme["rule"])
            name = pretty(Pitch.from_midi(base + letters.keys[letter]).name)
            names.append(f"{name:^{_WIDE - 1}}", style=theme["text-quiet"])
            names.append(edge, style=theme["rule"])
        words = f"{letters.lower} {letters.higher} another octave, Backspace takes back"
        hint = Text(words, style=theme["text-quiet"])
        return Text("\n").join([self._black(base), white, names, hint, self._answer()])

    def _black(self, base: int) -> Text:
        theme, letters = self.app.theme_variables, self.letters
        black, raised = Text("   "), letters.black
        for i in range(len(letters.white) - 1):
            if i in raised:
                down = base + letters.keys[raised[i]] in self.notes
                style = f"bold {theme['house']} on {theme['lamp'] if down else theme['text-quiet']}"
                black.append(f" {raised[i]} ", style=style)
                black.append("  ")
            else:
                black.append(" " * _WIDE)
        return black

    def _answer(self) -> Text:
        theme = self.app.theme_variables
        given: Sequence[int] = self.notes if self.in_order else sorted(self.notes)
        played = " ".join(pretty(Pitch.from_midi(n, fifths=self.fifths).name) for n in given)
        kind = "in order" if self.in_order else "as a chord"
        out = Text("Played: ", style=theme["text-quiet"])
        out.append(played or "nothing yet", style=f"bold {theme['text-body']}" if played else theme["text-quiet"])
        out.append(f"   {len(self.notes)} of {self.wanted}", style=theme["text-quiet"])
        if self.wanted > 1:
            out.append(f" {kind}", style=theme["text-quiet"])
        return out
