"""The whole song at a glance: sections, the sung line against where it mostly lies, and what was found where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.message import Message
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

from tutor.analysis.findings import Reading
from tutor.music.pitch import Pitch, pretty
from tutor.tui.songview import BarView, section_name
from tutor.tui.widgets.frame import signs_of

_LABEL = 10
_CONTOUR = 4
Cells = dict[int, tuple[str, str]]
"""Column, and the character and style there."""
_EIGHTHS = " ▁▂▃▄▅▆▇█"


class SongMap(Widget):
    """One column, or a few, for each bar."""

    DEFAULT_CSS = """
    SongMap { height: auto; width: 1fr; margin: 0 2; color: $text-quiet; }
    """
    at: reactive[int] = reactive(0)
    """Index of the bar under the cursor."""
    mini: reactive[bool] = reactive(False, layout=True)
    """True leaves only sections and cursor."""
    loop: reactive[tuple[int, int] | None] = reactive(None)
    """First and last bar of the passage that loops."""

    @dataclass
    class Picked(Message):
        """A bar was clicked."""

        index: int

    def __init__(self, bars: Sequence[BarView], reading: Reading, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._bars, self._reading = bars, reading
        self._still: tuple[object, list[Strip]] | None = None
        self._forms: tuple[object, int, Strip] = (None, -1, Strip([]))

    def renew(self, bars: Sequence[BarView], reading: Reading) -> None:
        """Show another reading of the same song."""
        self._bars, self._reading, self._still = bars, reading, None
        self._forms = (None, -1, Strip([]))
        self.refresh(layout=True)

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """Cursor, sections, contour, three rows of findings."""
        return self._height

    def column(self, index: int) -> int:
        """Left column of a bar, counted from the first bar."""
        width = max(1, self.size.width - _LABEL)
        return index * min(width, 8 * len(self._bars)) // max(1, len(self._bars))

    def _span(self, index: int) -> tuple[int, int]:
        """Columns of a bar: first, and one behind the last."""
        start = self.column(index)
        return start, max(start + 1, self.column(index + 1))

    def render_line(self, y: int) -> Strip:
        """One row; what does not move with the cursor is worked out once for a width and a theme."""
        if self._bars and y == self._height - 1:
            label, cells = self._cursor()
            return self._lit(self._strip(label, cells, signs_of(self).rule))
        key = (self.size.width, self.app.theme, signs_of(self).full, id(self._bars), self.rich_style)
        if self._still is None or self._still[0] != key:
            self._still = (key, [self._strip(*row) for row in (*self._contour(), *self._findings())])
        if y == 0:
            section = self._bars[self.at].section if self._bars else -1
            if self._forms[:2] != (key, section):
                self._forms = (key, section, self._strip(*self._sections()))
            return self._lit(self._forms[2])
        return self._lit(self._still[1][y - 1]) if y <= len(self._still[1]) else Strip.blank(self.size.width)

    @property
    def _height(self) -> int:
        return 2 if self.mini else 5 + _CONTOUR

    def _lit(self, strip: Strip) -> Strip:
        """A row with the cursor's bar in the light."""
        first, last = (_LABEL + x for x in self._span(self.at))
        pool = Style(bgcolor=self.app.theme_variables["pool"])
        before, bar, after = strip.crop(0, first), strip.crop(first, last), strip.crop(last)
        return Strip.join(
            [before, Strip([Segment(t, (s or Style()) + pool) for t, s, _ in bar], bar.cell_length), after]
        )

    def _strip(self, label: str, cells: Cells, ground: str = " ") -> Strip:
        """A row of cells behind its label."""
        theme, base = self.app.theme_variables, self.rich_style
        segments = [Segment(f"{label:<{_LABEL}}", base + Style.parse(theme["text-quiet"]))]
        row = [cells.get(x, (ground, theme["rule"])) for x in range(self.column(len(self._bars)))]
        for style, run in groupby(row, key=lambda cell: cell[1]):
            segments.append(Segment("".join(char for char, _ in run), base + Style.parse(style)))
        strip = Strip(segments)
        return strip.adjust_cell_length(self.size.width, base)

    def _sections(self) -> tuple[str, Cells]:
        theme = self.app.theme_variables
        cells: dict[int, tuple[str, str]] = {}
        current = self._bars[self.at].section if self._bars else -1
        sections = self._reading.form.sections
        for index in range(len(sections)):
            inside = [b.index for b in self._bars if b.section == index]
            if not inside:
                continue
            start, end = self.column(inside[0]), self._span(inside[-1])[1]
            name = section_name(sections[index])
            style = f"bold {theme['lamp']}" if index == current else theme["text-body"]
            edge = "|" if signs_of(self).pointer == "|" else "▏"
            room = max(1, end - start)
            # A name cut to one or two letters would only puzzle.
            text = f"{edge}{name if room > min(3, len(name)) else ''}"[:room]
            for i, char in enumerate(text):
                cells[start + i] = (char, theme["rule"] if i == 0 else style)
        return "form", cells

    def _contour(self) -> list[tuple[str, Cells]]:
        theme, sign = self.app.theme_variables, signs_of(self)
        voice = self._reading.voice
        sung = [m for b in self._bars for m in b.sung]
        rows: list[tuple[str, Cells]] = []
        if not sung:
            return [("voice" if i == 0 else "", {}) for i in range(_CONTOUR)]
        low, high = min(sung), max(sung)
        scale = _CONTOUR * 8 / max(1, high - low + 1)
        # A gap between bars only where every bar has room for one: an uneven comb reads worse than none.
        gap = 1 if (self.size.width - _LABEL) // len(self._bars) >= 3 else 0
        top_of = Pitch.parse(voice.tessitura.high).midi if voice.tessitura.high else high
        for row in range(_CONTOUR):
            floor = (_CONTOUR - 1 - row) * 8
            cells: dict[int, tuple[str, str]] = {}
            for bar in self._bars:
                if not bar.sung:
                    continue
                level = round((max(bar.sung) - low + 1) * scale) - floor
                if level <= 0:
                    continue
                char = (sign.full if level >= 4 else sign.light) if sign.full == "#" else _EIGHTHS[min(8, level)]
                tall = max(bar.sung) > top_of
                start, end = self._span(bar.index)
                for x in range(start, max(start + 1, end - gap)):
                    cells[x] = (char, theme["lamp"] if tall else theme["staff-line"])
            label = pretty(voice.high) if row == 0 else pretty(voice.low) if row == _CONTOUR - 1 else ""
            rows.append((f"{'voice ' if row == 0 else '      '}{label}", cells))
        return rows

    def _findings(self) -> list[tuple[str, Cells]]:
        theme, sign = self.app.theme_variables, signs_of(self)
        plain = sign.full == "#"
        borrowed: Cells = {}
        rubs: Cells = {}
        returns: Cells = {}
        for bar in self._bars:
            start, end = self._span(bar.index)
            middle = start + (end - start - 1) // 2
            if bar.borrowed:
                modal = any(b.kind != "chromatic" for b in bar.borrowed)
                borrowed[middle] = (("B" if modal else "b") if plain else ("◆" if modal else "◇"), theme["cool"])
            if bar.rubs:
                rubs[middle] = ("x" if plain else "×", f"bold {theme['lamp']}")
            if bar.back is not None:
                for x in range(start, end):
                    returns[x] = ("=" if plain else "═", theme["text-quiet"])
                if any(not c.follows_words for c in bar.changes):
                    returns[middle] = ("!" if plain else "≠", f"bold {theme['text-body']}")
                elif bar.changes:
                    returns[middle] = ("~" if plain else "≈", theme["text-body"])
            if bar.climax:
                rubs.setdefault(middle, (sign.up, f"bold {theme['lamp']}"))
        return [("borrowed", borrowed), ("rubs, peak", rubs), ("returns", returns)]

    def _cursor(self) -> tuple[str, Cells]:
        theme, sign = self.app.theme_variables, signs_of(self)
        cells: dict[int, tuple[str, str]] = {}
        if self.loop is not None:
            for x in range(self.column(self.loop[0]), self._span(self.loop[1])[1]):
                cells[x] = (sign.half, theme["lamp"])
        start, end = self._span(self.at)
        number = self._bars[self.at].number if self._bars else ""
        cells[start + (end - start - 1) // 2] = (sign.up, f"bold {theme['lamp']}")
        return f"bar {number}", cells

    def on_click(self, event: events.Click) -> None:
        """Go to the bar under the pointer."""
        x = event.x - _LABEL
        for bar in self._bars:
            start, end = self._span(bar.index)
            if start <= x < end:
                self.post_message(self.Picked(bar.index))
                return
