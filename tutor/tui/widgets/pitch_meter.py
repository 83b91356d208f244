"""The pitch that is sung now, against where it should be: a trace on a few semitones, newest at the right."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from typing import Any

from rich.text import Text
from textual.app import RenderResult
from textual.reactive import reactive
from textual.widget import Widget

from tutor.music.pitch import Pitch, pretty
from tutor.music.take import TrackPoint
from tutor.tui.widgets.frame import signs_of

_KEPT = 400
_NAMES = 5


class PitchMeter(Widget):
    """A trace of sung pitch."""

    DEFAULT_CSS = """
    PitchMeter { height: 8; width: 1fr; margin: 0 2; }
    """
    targets: reactive[tuple[int, ...]] = reactive(())
    """MIDI numbers wanted, drawn as lines; empty shows none."""
    centre: reactive[int] = reactive(60)
    """MIDI number in the middle."""
    level_db: reactive[float] = reactive(-120.0)
    """How loud the input is."""
    state: reactive[str] = reactive("")
    """One line of words: 'listening', 'too quiet'."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._points: deque[float | None] = deque(maxlen=_KEPT)

    def begin(self, centre: int, targets: Sequence[int] = ()) -> None:
        """Ready for another take."""
        self._points.clear()
        self.centre, self.targets, self.state = centre, tuple(targets), ""
        self.refresh()

    def feed(self, points: Sequence[TrackPoint]) -> None:
        """Add what was heard."""
        for point in points:
            self._points.append(69 + 12 * math.log2(point.hz / 440.0) if point.hz > 0 else None)
        if points:
            self.refresh()

    @property
    def latest(self) -> float | None:
        """The newest pitch as a fractional MIDI number; None in silence."""
        return self._points[-1] if self._points else None

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """The trace and a line of words."""
        return 8

    def render(self) -> RenderResult:
        """Rows of semitones, two to a row."""
        theme, sign = self.app.theme_variables, signs_of(self)
        rows = self.size.height - 1
        width = max(10, self.size.width - _NAMES)
        shown = list(self._points)[-width:]
        grid = [[" "] * width for _ in range(rows)]
        top = self.centre + rows
        for x, midi in enumerate(shown, start=width - len(shown)):
            if midi is None:
                continue
            half = round((top - midi) * 2) / 2
            row = math.floor(half / 2)
            if 0 <= row < rows:
                grid[row][x] = "▀" if sign.full == "█" and half % 2 < 1 else sign.half
        out = [Text(self._words(), style=theme["text-body"])]
        for row in range(rows):
            midi = top - 2 * row - 1
            wanted = [t for t in self.targets if t in (midi, midi + 1)]
            name = Pitch.from_midi(wanted[0] if wanted else midi)
            label = Text(f"{pretty(name.name):>4} ", style=f"bold {theme['lamp']}" if wanted else theme["text-quiet"])
            line = Text("".join(c if c != " " else (sign.rule if wanted else " ") for c in grid[row]))
            line.stylize(theme["rule"])
            for x, char in enumerate(grid[row]):
                if char != " ":
                    line.stylize(f"bold {theme['lamp']}", x, x + 1)
            out.append(Text.assemble(label, line, no_wrap=True))
        return Text("\n").join(out)

    def _words(self) -> str:
        latest = self.latest
        if latest is None:
            return self.state
        nearest = round(latest)
        cents = round((latest - nearest) * 100)
        side = "in tune" if abs(cents) <= 10 else f"{abs(cents)} cents {'high' if cents > 0 else 'low'}"
        return f"{pretty(Pitch.from_midi(nearest).name)}, {side}   {self.state}"
