"""Words in several colours, told anew when the theme changes."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rich.console import RenderableType
from textual.geometry import Size
from textual.reactive import Reactive
from textual.widgets import Static


class Told(Static):
    """A text whose colours come from the theme."""

    virtual_size = Reactive(Size(0, 0), repaint=False)
    """Nothing in it scrolls: its new size, which comes from laying the screen out, asks for no second round."""
    _make: Callable[[Mapping[str, str]], RenderableType] | None = None
    _theme = ""
    _rows = (0, 0)
    """Columns for which the rows of the text were counted, and how many they were."""

    def tell(self, make: Callable[[Mapping[str, str]], RenderableType]) -> None:
        """Show a text; the screen is laid out anew only where its rows ask for it, for that takes longest.

        Args:
            make: gives the text in the colours of a theme; called again for another theme.
        """
        self._make, self._theme = make, self.app.theme
        self.update(make(self.app.theme_variables), layout=False)
        (columns, before), size = self._rows, self.size
        now = self.get_content_height(size, self.app.size, size.width)
        self._rows = (size.width, now)
        # Where there are more rows than the text before needed, they are kept whatever the text.
        fits = columns == size.width > 0 and (now == before or before < size.height >= now)
        if self.styles.is_auto_height and not fits:
            self.refresh(layout=True)

    def notify_style_update(self) -> None:
        """Another theme: tell it anew."""
        super().notify_style_update()
        if self._make is not None and self.app.theme != self._theme:
            self.tell(self._make)
