"""The command palette, deaf to keys that arrive before it stands or after it has closed."""

from __future__ import annotations

from textual.await_complete import AwaitComplete
from textual.command import CommandList, CommandPalette
from textual.css.query import NoMatches


class Palette(CommandPalette):
    """As the library's own, but quick typists cannot reach it half built."""

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Nothing works while the list is not there."""
        return bool(self.query(CommandList)) and super().check_action(action, parameters)

    def _watch__list_visible(self) -> None:
        try:
            super()._watch__list_visible()
        except NoMatches:
            return

    async def _watch__show_busy(self) -> None:
        try:
            await super()._watch__show_busy()
        except NoMatches:
            return

    def _start_no_matches_countdown(self, search_value: str) -> None:
        if self.is_attached and self.query(CommandList):
            super()._start_no_matches_countdown(search_value)

    def dismiss(self, result: None = None) -> AwaitComplete:
        """Close, and leave no countdown behind that would look for the list."""
        self._stop_no_matches_countdown()
        return super().dismiss(result)
