"""How loud the input is: a bar with the peak of the last moments, and a word."""

from __future__ import annotations

from typing import Any

from rich.text import Text
from textual.app import RenderResult
from textual.reactive import reactive
from textual.widget import Widget

from tutor.sound.meter import TOO_LOUD_DB, TOO_QUIET_DB, Reading
from tutor.tui.widgets.frame import signs_of

LOWEST_DB = -60.0
"""Where the bar begins, decibels below full scale."""
_WORDS = 10


class LevelBar(Widget):
    """A bar from -60 dB to full scale; the stretch where a voice should stand is marked below it."""

    DEFAULT_CSS = """
    LevelBar { height: 2; width: 1fr; margin: 1 2 0 2; }
    """
    reading: reactive[Reading | None] = reactive(None)
    """What to show; None shows an empty bar."""

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """The bar and its scale."""
        return 2

    def render(self) -> RenderResult:
        """Bar, peak, word; below it where the peaks should lie."""
        theme, sign = self.app.theme_variables, signs_of(self)
        width = max(10, self.size.width - _WORDS - 1)

        def place(decibels: float) -> int:
            return min(width - 1, max(0, round((decibels - LOWEST_DB) / -LOWEST_DB * (width - 1))))

        bar, now = Text(no_wrap=True), self.reading
        full = place(now.peak_db) if now and now.peak_db > LOWEST_DB else 0
        held = place(now.held_db) if now and now.held_db > LOWEST_DB else -1
        for x in range(width):
            if x == held:
                bar.append(sign.pointer, style=f"bold {theme['lamp']}")
            else:
                bar.append(sign.full if x < full else sign.rule, style=theme["lamp" if x < full else "rule"])
        word = now.word if now else ""
        bar.append(f" {word}", style=theme["text-body" if word in ("", "good") else "miss"])
        low, high = place(TOO_QUIET_DB), place(TOO_LOUD_DB)
        scale = " " * low + sign.up + "good".center(max(0, high - low - 1)) + sign.up
        return Text("\n").join([bar, Text(scale, style=theme["text-quiet"], no_wrap=True)])
