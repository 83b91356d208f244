"""The climb: a stair with a step for every turn of the warm-up, as high as its highest note."""

from __future__ import annotations

from typing import Any

from rich.text import Text
from textual.app import RenderResult
from textual.reactive import reactive
from textual.widget import Widget

from tutor.music.pitch import Pitch, pretty
from tutor.tui.widgets.frame import signs_of
from tutor.warmup.run import Ascent, Mark

_LABEL = 11
_ROWS = 6


class Climb(Widget):
    """The whole ascent; the turn being sung stands in the light."""

    DEFAULT_CSS = """
    Climb { height: 7; width: 1fr; margin: 0 2; }
    """
    ascent: reactive[Ascent | None] = reactive(None)
    """What to draw."""

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """The stair and a line of words."""
        return _ROWS + 1

    def render(self) -> RenderResult:
        """The stair, from the lowest top note to the highest line that matters."""
        ascent = self.ascent
        if ascent is None or not ascent.marks:
            return Text()
        theme, sign = self.app.theme_variables, signs_of(self)
        lines = self._lines(ascent)
        high = max([m.top for m in ascent.marks] + list(lines))
        low = min(m.top for m in ascent.marks) - 1
        shown, wide = self._window(ascent.marks)
        rows = []
        step = max(1, -(-(high - low) // _ROWS))
        for row in range(_ROWS):
            top = high - row * step
            inside = [m for m in lines if top - step < m <= top]
            label = f"{pretty(Pitch.from_midi(inside[0]).name)} {lines[inside[0]]}" if inside else ""
            text = Text(f"{label:<{_LABEL}}"[:_LABEL], style=theme["text-quiet"], no_wrap=True)
            for mark in shown:
                if mark.top > top - step:
                    whole = mark.top >= top or step == 1
                    text.append((sign.full if whole else sign.half) * wide, style=self._style(mark, ascent))
                else:
                    text.append((sign.rule if inside else " ") * wide, style=theme["rule"])
            rows.append(text)
        rows.append(self._foot(shown, wide))
        return Text("\n").join(rows)

    def _lines(self, ascent: Ascent) -> dict[int, str]:
        """MIDI numbers that matter, with a word each."""
        lines = {ascent.transitions[1]: "turn", ascent.song_top: "song"}
        if ascent.today_top < ascent.song_top:
            lines[ascent.today_top] = "today"
        if ascent.ceiling:
            lines[ascent.ceiling] = "limit"
        lowest = min(m.top for m in ascent.marks)
        return {m: w for m, w in lines.items() if m >= lowest}

    def _window(self, marks: tuple[Mark, ...]) -> tuple[tuple[Mark, ...], int]:
        room = max(10, self.size.width - _LABEL)
        wide = max(1, min(4, room // len(marks)))
        most = room // wide
        if len(marks) <= most:
            return marks, wide
        now = next((i for i, m in enumerate(marks) if m.now), 0)
        first = max(0, min(now - most // 2, len(marks) - most))
        return marks[first : first + most], wide

    def _style(self, mark: Mark, ascent: Ascent) -> str:
        theme = self.app.theme_variables
        if mark.now:
            return theme["lamp"]
        if mark.done:
            return theme["text-quiet"]
        return theme["rule"]

    def _foot(self, shown: tuple[Mark, ...], wide: int) -> Text:
        theme, sign = self.app.theme_variables, signs_of(self)
        text = Text(f"{'now':<{_LABEL}}", style=theme["text-quiet"], no_wrap=True)
        for mark in shown:
            char = sign.up if mark.now else " "
            text.append(char + " " * (wide - 1), style=f"bold {theme['lamp']}")
        now = next((m for m in shown if m.now), None)
        if now is not None:
            text.append(f" {pretty(Pitch.from_midi(now.top).name)}", style=f"bold {theme['lamp']}")
        return text
