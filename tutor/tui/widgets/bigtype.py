"""Letters of blocks, to be read at arm's length from a music stand."""

from __future__ import annotations

import unicodedata
from typing import Any

from rich.text import Text
from textual.app import RenderResult
from textual.reactive import reactive
from textual.widget import Widget

from tutor.tui.widgets.frame import signs_of

TALL = 5
"""Rows of a letter, in half characters."""
_GLYPHS = {
    "A": "010 101 111 101 101", "B": "110 101 110 101 110", "C": "011 100 100 100 011", "D": "110 101 101 101 110",
    "E": "111 100 110 100 111", "F": "111 100 110 100 100", "G": "0110 1000 1011 1001 0110",
    "H": "101 101 111 101 101", "I": "1 1 1 1 1", "J": "001 001 001 101 010", "K": "1001 1010 1100 1010 1001",
    "L": "100 100 100 100 111", "M": "10001 11011 10101 10001 10001", "N": "1001 1101 1011 1001 1001",
    "O": "0110 1001 1001 1001 0110", "P": "110 101 110 100 100", "Q": "0110 1001 1001 1010 0101",
    "R": "110 101 110 101 101", "S": "011 100 010 001 110", "T": "111 010 010 010 010",
    "U": "1001 1001 1001 1001 0110", "V": "101 101 101 101 010", "W": "10001 10001 10101 11011 10001",
    "X": "101 101 010 101 101", "Y": "101 101 010 010 010", "Z": "111 001 010 100 111",
    "0": "010 101 101 101 010", "1": "010 110 010 010 111", "2": "110 001 010 100 111", "3": "110 001 010 001 110",
    "4": "101 101 111 001 001", "5": "111 100 110 001 110", "6": "011 100 110 101 010", "7": "111 001 010 010 010",
    "8": "010 101 010 101 010", "9": "010 101 011 001 110",
    "♯": "0101 1111 0101 1111 0101", "♭": "100 100 110 101 110", "♮": "100 111 101 111 001",
    " ": "0 0 0 0 0", "-": "00 00 11 00 00", ":": "0 1 0 1 0", "’": "1 1 0 0 0", "'": "1 1 0 0 0", "!": "1 1 1 0 1",
}  # fmt: skip
_LETTERS = {sign: tuple(rows.split()) for sign, rows in _GLYPHS.items()}


def lettering(text: str, times: int = 1) -> list[str]:
    """The dots of a text, row by row: '1' is lit.

    Args:
        text: what to write; accents are left out, and signs that have no letter.
        times: how many dots wide and high each dot becomes.
    """
    bare = unicodedata.normalize("NFD", text.replace("ß", "ss")).upper()
    letters = [_LETTERS[c] for c in bare if c in _LETTERS]
    rows = ["0".join(letter[r] for letter in letters) for r in range(TALL)]
    return [row for r in rows for row in ["".join(dot * times for dot in r)] * times]


class BigType(Widget):
    """One line in large letters; smaller where it does not fit, plain where nothing large does."""

    DEFAULT_CSS = """
    BigType { height: auto; width: 1fr; margin: 0 2; }
    """
    text: reactive[str] = reactive("", layout=True)
    """What to show."""
    most: reactive[int] = reactive(1, layout=True)
    """How many times as large it may become."""

    def _dots(self, width: int) -> list[str]:
        if signs_of(self).full != "█":
            return []
        for times in range(self.most, 0, -1):
            rows = lettering(self.text, times)
            if 0 < len(rows[0]) <= width:
                return rows
        return []

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """Half as many rows as there are dots; one for plain text."""
        return max(1, -(-len(self._dots(width)) // 2))

    def render(self) -> RenderResult:
        """Two rows of dots in a row of characters."""
        style = f"bold {self.app.theme_variables['lamp']}"
        dots = self._dots(self.size.width)
        if not dots:
            return Text(self.text, style=style, no_wrap=True)
        if len(dots) % 2:
            dots.append("0" * len(dots[0]))
        shapes = {"00": " ", "10": "▀", "01": "▄", "11": "█"}
        pairs = zip(dots[::2], dots[1::2], strict=True)
        lines = ["".join(shapes[a + b] for a, b in zip(up, low, strict=True)) for up, low in pairs]
        return Text("\n".join(lines), style=style, no_wrap=True)
