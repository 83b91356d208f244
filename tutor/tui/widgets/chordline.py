"""Bars around the cursor with their chords: number, figure, lead-sheet symbol, words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.message import Message
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

from tutor.music.pitch import pretty
from tutor.music.roman import printed
from tutor.tui.songview import BarView, doubt
from tutor.tui.widgets.frame import signs_of


class ChordLine(Widget):
    """As many bars as fit, the cursor's bar in the light."""

    DEFAULT_CSS = """
    ChordLine { height: 4; width: 1fr; margin: 0 2; }
    """
    at: reactive[int] = reactive(0)
    """Index of the bar under the cursor."""

    @dataclass
    class Picked(Message):
        """A bar was clicked."""

        index: int

    def __init__(self, bars: Sequence[BarView], *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._bars = bars
        self._texts = [self._cells(b) for b in bars]
        self._first = 0

    def renew(self, bars: Sequence[BarView]) -> None:
        """Show another reading of the same song."""
        self._bars, self._texts = bars, [self._cells(b) for b in bars]
        self.refresh(layout=True)

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """Numbers, figures, symbols, words."""
        return 4

    @staticmethod
    def _cells(bar: BarView) -> tuple[str, str, str, str]:
        figures, symbols = [], []
        for chord in bar.chords:
            figure, symbol = printed(chord.figure) + doubt(chord.confidence), _symbol(chord.symbol)
            wide = max(len(figure), len(symbol))
            figures.append(f"{figure:<{wide}}")
            symbols.append(f"{symbol:<{wide}}")
        return bar.number, " ".join(figures).rstrip(), " ".join(symbols).rstrip(), bar.words

    def _width(self, index: int) -> int:
        number, figures, symbols, words = self._texts[index]
        return max(len(number), len(figures), len(symbols), min(len(words), 16), 4) + 2

    def _window(self) -> tuple[int, int]:
        """First bar shown and one behind the last; the page turns when the cursor leaves it."""
        room = self.size.width - 2
        if self.at >= self._fill(self._first, room):
            self._first = self.at
        elif self.at < self._first:
            self._first = self.at
            while self._first > 0 and self._fill(self._first - 1, room) > self.at:
                self._first -= 1
        return self._first, self._fill(self._first, room)

    def _fill(self, first: int, room: int) -> int:
        last, used = first, 0
        while last < len(self._bars) and (last == first or used + self._width(last) <= room):
            used += self._width(last)
            last += 1
        return last

    def render_line(self, y: int) -> Strip:
        """A row: numbers, figures, symbols or words."""
        theme, sign, base = self.app.theme_variables, signs_of(self), self.rich_style
        styles = (theme["text-quiet"], f"bold {theme['cool']}", theme["text-body"], theme["text-quiet"])
        if y >= len(styles):
            return Strip.blank(self.size.width, base)
        first, last = self._window()
        edge = "|" if sign.pointer == "|" else "▏"
        segments = []
        for index in range(first, last):
            width, text = self._width(index), self._texts[index][y]
            lit = base + Style(bgcolor=theme["pool"]) if index == self.at else base
            short = text if len(text) <= width - 2 else text[: width - 3] + sign.ellipsis[0]
            segments.append(Segment(edge, lit + Style.parse(theme["rule"])))
            segments.append(Segment(f"{short:<{width - 1}}", lit + Style.parse(styles[y])))
        return Strip(segments).adjust_cell_length(self.size.width, base)

    def on_click(self, event: events.Click) -> None:
        """Go to the bar under the pointer."""
        x, (first, last) = 0, self._window()
        for index in range(first, last):
            x += self._width(index)
            if event.x < x:
                self.post_message(self.Picked(index))
                return


def _symbol(symbol: str) -> str:
    head, slash, bass = symbol.partition("/")
    root = head[:2] if head[1:2] in ("b", "#") else head[:1]
    out = pretty(root) + head[len(root) :] if root else head
    return f"{out}/{pretty(bass)}" if slash else out
