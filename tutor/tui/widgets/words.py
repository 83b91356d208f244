"""Words in a room of fixed height: what does not fit is turned over like a page, and nothing is laid out anew."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from rich.console import RenderableType
from rich.text import Text
from textual.app import RenderResult

from tutor.tui.widgets.frame import signs_of
from tutor.tui.widgets.told import Told


class Words(Told):
    """A text that shows as many rows as there are, and in the last one that there are more."""

    DEFAULT_CSS = """
    Words { width: 100%; height: 1fr; padding: 0 2; }
    """
    _top = 0

    def tell(self, make: Callable[[Mapping[str, str]], RenderableType]) -> None:
        """Show a text from its beginning.

        Args:
            make: gives the text in the colours of a theme; called again for another theme.
        """
        self._top = 0
        super().tell(make)

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """Rows of the whole text."""
        return len(self._lines(width))

    @property
    def turns(self) -> bool:
        """True where the text takes more rows than there are."""
        return len(self._lines(self.size.width)) > self.size.height > 0

    def turn(self, by: int) -> None:
        """A page on or back; the last row of one page is the first of the next."""
        most = len(self._lines(self.size.width)) - self.size.height
        self._top = max(0, min(self._top + by * max(1, self.size.height - 1), most))
        self.refresh()

    def on_mouse_scroll_down(self) -> None:
        """A page on, with the wheel."""
        self.turn(1)

    def on_mouse_scroll_up(self) -> None:
        """A page back."""
        self.turn(-1)

    def render(self) -> RenderResult:
        """The rows in sight."""
        width, height = self.size
        lines = self._lines(width)
        top = max(0, min(self._top, len(lines) - height))
        page = lines[top : top + height]
        if page and top + height < len(lines):
            sign = signs_of(self)
            more = Text(f"  {sign.down} PgDn", self.app.theme_variables["lamp"])
            last = page[-1].copy()
            last.rstrip()
            room = max(0, width - more.cell_len)
            if last.cell_len > room:
                last.truncate(max(0, room - len(sign.ellipsis)))
                last.rstrip()
                last.append(sign.ellipsis)
            page[-1] = Text.assemble(last, " " * (room - last.cell_len), more)
        return Text("\n", no_wrap=True).join(page)

    def _lines(self, width: int) -> list[Text]:
        text = self.content
        return list(text.wrap(self.app.console, max(1, width))) if isinstance(text, Text) else []
