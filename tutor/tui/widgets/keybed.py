"""A piano keyboard to look at: the notes of a pattern, and the one that sounds now."""

from __future__ import annotations

from typing import Any

from rich.text import Text
from textual.app import RenderResult
from textual.reactive import reactive
from textual.widget import Widget

from tutor.tui.widgets.frame import signs_of

_WHITE = (0, 2, 4, 5, 7, 9, 11)
_WIDE = 3
"""Columns of a white key, the gap beside it included."""


class Keybed(Widget):
    """Two rows: black keys above, white keys below, each C with its name."""

    DEFAULT_CSS = """
    Keybed { height: 2; width: 1fr; margin: 0 2; }
    """
    compass: reactive[tuple[int, int]] = reactive((48, 72))
    """Lowest and highest note that must be there, MIDI."""
    notes: reactive[frozenset[int]] = reactive(frozenset())
    """Notes of the pattern, MIDI."""
    now: reactive[int] = reactive(0)
    """The note that sounds, MIDI; 0 for none."""

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """Two rows."""
        return 2

    def whites(self) -> list[int]:
        """The white keys from the left, as many as there is room for."""
        low, high = self.compass
        first = low if low % 12 in _WHITE else low - 1
        found = [m for m in range(first, high + 2) if m % 12 in _WHITE]
        while len(found) > 1 and found[-2] >= high:
            found.pop()
        most = max(1, self.size.width // _WIDE)
        centre = min(self.notes, default=low)
        start = max(0, min(len(found) - most, sum(m < centre for m in found) - most // 3))
        return found[start : start + most]

    def render(self) -> RenderResult:
        """The keys."""
        keys = self.whites()
        upper, lower = Text(no_wrap=True), Text(no_wrap=True)
        for midi in keys:
            black = midi + 1
            has = black % 12 not in _WHITE and black <= keys[-1]
            upper.append(" ", style=self._paper(midi))
            upper.append(self._sign(black).ljust(2), style=self._paper(black)) if has else upper.append_text(
                Text.assemble((" ", self._paper(midi)), " ")
            )
            name = f"C{midi // 12 - 1}" if midi % 12 == 0 else "  "
            sign = self._sign(midi)
            lower.append(f"{sign:<2}" if sign.strip() else name[:2], style=self._paper(midi))
            lower.append(" ")
        return Text("\n").join([upper, lower])

    def _sign(self, midi: int) -> str:
        sign = signs_of(self)
        return sign.lamp_now if midi == self.now else sign.lamp_hit if midi in self.notes else " "

    def _paper(self, midi: int) -> str:
        theme = self.app.theme_variables
        white = midi % 12 in _WHITE
        if midi == self.now:
            return f"bold {theme['house']} on {theme['lamp']}"
        if midi in self.notes:
            return f"bold {theme['house']} on {theme['cool']}"
        return f"{theme['house']} on {theme['text-quiet']}" if white else f"{theme['text-body']} on {theme['rule']}"
