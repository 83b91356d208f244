"""What is heard: a row for each excerpt, with the light moving along while it sounds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rich.text import Text
from textual import events
from textual.app import RenderResult
from textual.message import Message
from textual.reactive import reactive
from textual.widget import Widget

from tutor.tui.widgets.frame import signs_of

_BAR = 24


class Heard(Widget):
    """Captions with a bar that fills."""

    DEFAULT_CSS = """
    Heard { height: auto; width: 1fr; margin: 0 2; color: $text-quiet; }
    """
    captions: reactive[tuple[str, ...]] = reactive((), layout=True)
    """One for each excerpt."""
    playing: reactive[int] = reactive(-1)
    """Index of the excerpt that sounds; -1 in silence."""
    share: reactive[float] = reactive(0.0)
    """How much of it was heard, 0 to 1."""

    @dataclass
    class Again(Message):
        """An excerpt was clicked, to be heard again."""

        index: int

    def set(self, captions: Sequence[str]) -> None:
        """Show other excerpts."""
        self.captions = tuple(captions)
        self.playing, self.share = -1, 0.0

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """A row each."""
        return len(self.captions)

    def render(self) -> RenderResult:
        """The rows."""
        theme, sign = self.app.theme_variables, signs_of(self)
        room = max(10, min(max((len(c) for c in self.captions), default=0), self.size.width - _BAR - 6))
        rows = []
        for i, caption in enumerate(self.captions):
            lit = i == self.playing
            name = Text(caption, style=theme["text-body"] if lit else theme["text-quiet"])
            name.truncate(room, overflow="ellipsis", pad=True)
            full = round(_BAR * self.share) if lit else 0
            bar = Text(sign.half * full, style=theme["lamp"])
            bar.append(sign.rule * (_BAR - full), style=theme["rule"])
            mark = Text(f"{sign.note} ", style=theme["lamp"] if lit else theme["text-quiet"])
            rows.append(Text.assemble(mark, name, "  ", bar, no_wrap=True))
        return Text("\n").join(rows)

    def on_click(self, event: events.Click) -> None:
        """Hear it again."""
        if 0 <= event.y < len(self.captions):
            self.post_message(self.Again(event.y))
