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
from tutor.tui.widgets.frame import signs_of

WHITE = "asdfghjkl;"
"""Home row: white keys, C first."""
BLACK = {0: "w", 1: "e", 3: "t", 4: "y", 5: "u", 7: "o", 8: "p"}
"""Row above: the black key to the right of a white one."""
_SEMITONES = (0, 2, 4, 5, 7, 9, 11, 12, 14, 16)
KEYS = {letter: _SEMITONES[i] for i, letter in enumerate(WHITE)} | {
    letter: _SEMITONES[i] + 1 for i, letter in BLACK.items()
}
"""Semitones above the C on the left."""
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
        """Letters are notes; z and x change the octave."""
        key = event.character or event.key
        if key in KEYS:
            self.press(12 * (self.octave + 1) + KEYS[key])
        elif key == "z":
            self.shift(-1)
        elif key == "x":
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
        index = (event.x - 1) // _WIDE
        if event.y == 0:
            place = (event.x - 1 - _WIDE // 2) // _WIDE
            if place in BLACK:
                self.press(12 * (self.octave + 1) + KEYS[BLACK[place]])
        elif event.y in (1, 2) and 0 <= index < len(WHITE):
            self.press(12 * (self.octave + 1) + KEYS[WHITE[index]])

    def render(self) -> RenderResult:
        """Black keys, white keys, names, the answer."""
        theme, sign = self.app.theme_variables, signs_of(self)
        base = 12 * (self.octave + 1)
        edge = "|" if sign.pointer == "|" else "│"
        black = Text(" ")
        white, names = Text(edge, style=theme["rule"]), Text(edge, style=theme["rule"])
        for letter in WHITE:
            down = base + KEYS[letter] in self.notes
            style = f"bold {theme['house']} on {theme['lamp']}" if down else f"bold {theme['text-body']}"
            white.append(f"{letter:^{_WIDE - 1}}", style=style)
            white.append(edge, style=theme["rule"])
            name = pretty(Pitch.from_midi(base + KEYS[letter]).name)
            names.append(f"{name:^{_WIDE - 1}}", style=theme["text-quiet"])
            names.append(edge, style=theme["rule"])
        black.append("  ")
        for i in range(len(WHITE) - 1):
            if i in BLACK:
                down = base + KEYS[BLACK[i]] in self.notes
                style = f"bold {theme['house']} on {theme['lamp'] if down else theme['text-quiet']}"
                black.append(f" {BLACK[i]} ", style=style)
                black.append("  ")
            else:
                black.append(" " * _WIDE)
        hint = Text("z x another octave, Backspace takes back", style=theme["text-quiet"])
        return Text("\n").join([black, white, names, hint, self._answer()])

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
