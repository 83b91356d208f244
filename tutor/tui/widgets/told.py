"""Words in several colours, told anew when the theme changes."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rich.console import RenderableType
from textual.widgets import Static


class Told(Static):
    """A text whose colours come from the theme."""

    _make: Callable[[Mapping[str, str]], RenderableType] | None = None
    _theme = ""

    def tell(self, make: Callable[[Mapping[str, str]], RenderableType], *, layout: bool = True) -> None:
        """Show a text.

        Args:
            make: gives the text in the colours of a theme; called again for another theme.
            layout: False where the text takes as many rows as the one before.
        """
        self._make, self._theme = make, self.app.theme
        self.update(make(self.app.theme_variables), layout=layout)

    def notify_style_update(self) -> None:
        """Another theme: tell it anew."""
        super().notify_style_update()
        if self._make is not None and self.app.theme != self._theme:
            self.tell(self._make)
