"""Help for the screen below: what it is for, and the keys that work."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult, RenderResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widget import Widget

EVERYWHERE = (
    ("?", "this help"),
    ("Esc", "back to where you came from"),
    ("Ctrl+P", "every command by name: type a few letters of it"),
    ("Ctrl+Q", "leave Larkstair; everything is kept"),
)


class _Page(Widget):
    DEFAULT_CSS = """
    _Page { height: auto; width: 1fr; padding-right: 2; }
    """

    def __init__(self, title: str, words: str, keys: Sequence[tuple[str, str]]) -> None:
        super().__init__()
        self._title, self._words, self._keys = title, words, keys

    def render(self) -> RenderResult:
        theme = self.app.theme_variables
        out = Text()
        out.append(f"{self._title}\n\n", style=f"bold {theme['lamp']}")
        out.append(self._words.strip(), style=theme["text-body"])
        out.append("\n\n")
        known = {key for key, _ in EVERYWHERE}
        own = [(k, w) for k, w in self._keys if k not in known]
        for heading, rows in (("Keys here", own), ("Keys everywhere", EVERYWHERE)):
            if not rows:
                continue
            out.append(f"{heading}\n", style=f"bold {theme['text-quiet']}")
            for key, words in rows:
                out.append(f"{key:>10}", style=f"bold {theme['lamp']}")
                out.append(f"   {words}\n", style=theme["text-body"])
            out.append("\n")
        return out


class HelpScreen(ModalScreen[None]):
    """Help in plain words."""

    DEFAULT_CSS = """
    HelpScreen { align: center middle; background: $house 80%; }
    HelpScreen > VerticalScroll {
        width: 76; max-width: 100%; height: auto; max-height: 100%; padding: 1 2 1 4; background: $wing;
    }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark,q,enter,space", "close", "Close", key_display="Esc"),
    ]

    def __init__(self, title: str, words: str, keys: Sequence[tuple[str, str]]) -> None:
        super().__init__()
        self._page = _Page(title, words, keys)

    def compose(self) -> ComposeResult:
        """One page that scrolls."""
        with VerticalScroll():
            yield self._page

    def action_close(self) -> None:
        """Back to the screen below."""
        self.dismiss(None)
