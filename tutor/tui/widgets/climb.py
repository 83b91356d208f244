"""The climb: a stair with a step for every turn of the warm-up, as high as its highest note."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.text import Text
from textual.app import RenderResult
from textual.reactive import reactive
from textual.widget import Widget

from tutor.music.pitch import Pitch, pretty
from tutor.tui.widgets.frame import signs_of
from tutor.warmup.run import Ascent, Mark

_LABEL = 16
_ROWS, _FEW = 7, 5
"""Rows of the stair, and where the terminal is low."""
_LOW = 30
"""Rows of terminal under which it is low."""


def levels(lines: Sequence[int], low: int, high: int, rows: int) -> list[int]:
    """Which note each row of the stair stands for, highest first: every line that matters gets a row of its own.

    Args:
        lines: notes that matter, the most telling first, MIDI.
        low: lowest top note of the stair.
        high: highest top note of the stair.
        rows: rows there are.
    """
    kept = sorted({*list(dict.fromkeys(lines))[:rows]}, reverse=True)
    if len(kept) < rows and high not in kept and (not kept or high > kept[0]):
        kept.insert(0, high)
    while len(kept) < rows:
        edges = [*kept, low - 1]
        gap, at = max((edges[i] - edges[i + 1], -i) for i in range(len(kept)))
        if gap < 2:
            kept.append(kept[-1] - 1)
        else:
            kept.insert(1 - at, edges[-at] - gap // 2)
    return kept


class Climb(Widget):
    """The whole ascent; the turn being sung stands in the light."""

    DEFAULT_CSS = """
    Climb { height: auto; width: 1fr; margin: 0 2; }
    """
    ascent: reactive[Ascent | None] = reactive(None)
    """What to draw."""
    fifths: reactive[int] = reactive(0)
    """Key signature of the turn being sung, for the spelling of its name."""

    @property
    def rows(self) -> int:
        """Rows of the stair."""
        return _FEW if self.app.size.height < _LOW else _ROWS if self.app.size.height < 45 else 2 * _ROWS

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """The stair and a line of words."""
        return self.rows + 1

    def render(self) -> RenderResult:
        """The stair, from the lowest top note to the highest line that matters."""
        ascent = self.ascent
        if ascent is None or not ascent.marks:
            return Text()
        theme, sign = self.app.theme_variables, signs_of(self)
        lines = self._lines(ascent)
        steps = levels([*lines], min(m.top for m in ascent.marks), max([m.top for m in ascent.marks]), self.rows)
        shown, wide = self._window(ascent.marks)
        rows = []
        for level, below in zip(steps, [*steps[1:], min(m.top for m in ascent.marks) - 1], strict=True):
            inside = {m: w for m, w in lines.items() if below < m <= level}
            text = Text(f"{self._label(inside)[: _LABEL - 1]:<{_LABEL}}", style=theme["text-quiet"], no_wrap=True)
            for mark in shown:
                if mark.top > below:
                    text.append((sign.full if mark.top >= level else sign.half) * wide, style=self._style(mark, ascent))
                else:
                    text.append((sign.rule if inside else " ") * wide, style=theme["rule"])
            rows.append(text)
        rows.append(self._foot(shown, wide))
        return Text("\n").join(rows)

    def _label(self, lines: dict[int, str]) -> str:
        """What a row says: the most telling line in it, and the others while there is room."""
        order = ("limit", "today", "song", "change")
        ranked = sorted(lines, key=lambda m: order.index(lines[m].split(",")[0]))
        text = ""
        for midi in ranked:
            more = f"{pretty(Pitch.from_midi(midi).name)} {lines[midi]}"
            while len(more) >= _LABEL and "," in more:
                more = more.rpartition(",")[0]
            text = f"{text}, {more}" if text and len(text) + len(more) + 3 < _LABEL else text or more
        return text

    def _lines(self, ascent: Ascent) -> dict[int, str]:
        """MIDI numbers that matter, with a word each: register changes, the song's top, today's top."""
        wanted = [
            (ascent.ceiling, "limit"), (ascent.today_top, "today"), (ascent.song_top, "song"),
            (ascent.transitions[1], "change"), (ascent.transitions[0], "change"),
        ]  # fmt: skip
        lowest = min(m.top for m in ascent.marks)
        lines: dict[int, str] = {}
        for midi, word in wanted:
            if midi >= lowest and midi:
                lines[midi] = f"{lines[midi]}, {word}" if midi in lines else word
        return lines

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
            text.append(f" {pretty(Pitch.from_midi(now.top, fifths=self.fifths).name)}", style=f"bold {theme['lamp']}")
        return text
