"""Taps while music sounds: a line with a lamp at every tap."""

from __future__ import annotations

from typing import Any

from rich.text import Text
from textual.app import RenderResult
from textual.reactive import reactive
from textual.widget import Widget

from tutor.tui.widgets.frame import signs_of


class Tapper(Widget):
    """Shows where the music is and where was tapped."""

    DEFAULT_CSS = """
    Tapper { height: 4; width: 1fr; margin: 0 2; }
    """
    length: reactive[float] = reactive(1.0)
    """Length of the music, quarters."""
    now: reactive[float | None] = reactive(None)
    """Where the music is; None in silence."""
    marks: reactive[tuple[float, ...]] = reactive(())
    """Taps so far, quarters from the beginning."""

    def begin(self, length: float) -> None:
        """Ready for another answer."""
        self.length, self.marks, self.now = max(length, 0.01), (), None

    def tap(self) -> bool:
        """Tap here; says whether there was music to tap to."""
        if self.now is None:
            return False
        self.marks = (*self.marks, round(self.now, 3))
        return True

    def take_back(self) -> None:
        """Take the last tap back."""
        self.marks = self.marks[:-1]

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """The line, the taps, the count."""
        return 4

    def render(self) -> RenderResult:
        """The line of time."""
        theme, sign = self.app.theme_variables, signs_of(self)
        width = max(10, self.size.width)
        line = Text(sign.rule * width, style=theme["rule"])
        if self.now is not None:
            full = min(width, round(width * self.now / self.length))
            line = Text(sign.half * full, style=theme["lamp"])
            line.append(sign.rule * (width - full), style=theme["rule"])
        taps = [" "] * (width + 1)
        for at in self.marks:
            taps[min(width - 1, round(width * at / self.length))] = sign.up
        count = f"{len(self.marks)} {'tap' if len(self.marks) == 1 else 'taps'}"
        state = "Tap with Space when the next section begins." if self.now is not None else "Space starts the music."
        return Text("\n").join([
            line, Text("".join(taps)[:width], style=f"bold {theme['lamp']}"), Text(""),
            Text(f"{count}   {state}", style=theme["text-quiet"]),
        ])  # fmt: skip
