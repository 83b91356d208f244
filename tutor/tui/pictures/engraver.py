"""Staves as pictures in the terminal's own protocol, made once and kept."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass

from rich.color import Color
from rich.segment import ControlType, Segment
from rich.style import Style
from textual.strip import Strip

from tutor.music.phrase import Phrase
from tutor.score.engrave import SungClef
from tutor.score.raster import Ink, Picture, draw
from tutor.tui.pictures.detect import Ability
from tutor.tui.pictures.kitty import MOST_ROWS, placeholders, removal, transmission
from tutor.tui.pictures.sixel import sixel

MOST_KEPT = 24
"""Pictures kept ready."""
_FIRST = 0x4C4B01
"""Number of the first picture; numbers of their own keep other programs' pictures alone."""
_UNSEEN = [(ControlType.HOME, 0)]
"""Tells the compositor that a segment takes no cells; the segment's own text is what is written."""


@dataclass(frozen=True, slots=True)
class Engraved:
    """A picture ready to be shown."""

    strips: tuple[Strip, ...]
    """Its rows."""
    before: str
    """What the terminal must be sent once, before the rows are written; empty for none."""


Key = tuple[Phrase, int, Ink, float, SungClef | None]
"""What a picture shows: phrase, cells of width, colours, how much larger than printed, clef of the sung line."""


class Engraver:
    """Makes pictures of phrases.

    Args:
        ability: what the terminal can do.
    """

    def __init__(self, ability: Ability) -> None:
        self.ability = ability
        self._kept: OrderedDict[Key, Engraved | None] = OrderedDict()
        self._lock = threading.Lock()
        self._sent: set[str] = set()
        self._next = _FIRST

    def get(self, key: Key) -> Engraved | None:
        """A picture that is ready; None where it is still to be made, or cannot be."""
        return self._kept.get(key)

    def known(self, key: Key) -> bool:
        """Whether making it was tried."""
        return key in self._kept

    def due(self, engraved: Engraved) -> str:
        """What the terminal must still be sent before a picture's rows; empty from the second time on."""
        if not engraved.before or engraved.before in self._sent:
            return ""
        self._sent.add(engraved.before)
        return engraved.before

    def make(self, key: Key) -> None:
        """Make a picture and keep it; takes about a second and runs in a thread."""
        from tutor.errors import TutorError

        phrase, width, ink, zoom, clef = key
        cell = (self.ability.cell_width, self.ability.cell_height)
        try:
            picture = draw(phrase, ink, width=(width - 1) * cell[0], cell=cell, zoom=zoom, clef=clef)
            made = self._engraved(picture, width, Style(bgcolor=Color.parse(ink.paper)))
        except TutorError:
            made = None  # the staff of characters stays
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)

    def _engraved(self, picture: Picture, width: int, ground: Style) -> Engraved | None:
        height = self.ability.cell_height
        rows = picture.indices.shape[0] // height
        columns = picture.indices.shape[1] // self.ability.cell_width
        if columns >= width:
            return None
        if self.ability.kind == "kitty":
            return self._placed(picture, rows, columns, width, ground)
        strips = []
        for row in range(rows):
            drawn = sixel(picture.indices[row * height : (row + 1) * height], picture.palette, ground=0)
            # The cells are blanked first, then painted over; the last one ends the row behind the picture.
            paint = f"\x1b7\x1b[{width - 1}D{drawn}\x1b8"
            segments = [Segment(" " * (width - 1), ground), Segment(paint, None, _UNSEEN), Segment(" ", ground)]
            strips.append(Strip(segments, width))
        return Engraved(tuple(strips), "")

    def _placed(self, picture: Picture, rows: int, columns: int, width: int, ground: Style) -> Engraved | None:
        if rows > MOST_ROWS:
            return None
        with self._lock:
            number, self._next = self._next, self._next + 1
        style = ground + Style(color=f"#{number:06x}")
        strips = tuple(
            Strip([Segment(placeholders(row, columns), style), Segment(" " * (width - columns), ground)], width)
            for row in range(rows)
        )
        return Engraved(strips, transmission(picture.png, number, columns, rows))

    def farewell(self) -> str:
        """What frees all pictures."""
        return "".join(removal(n) for n in range(_FIRST, self._next))
