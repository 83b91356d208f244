"""Turns everything on the screen into ASCII, for terminals and fonts that lack the signs."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

from rich.segment import Segment
from textual.color import Color
from textual.filter import LineFilter

_TABLE = str.maketrans(
    {
        "♯": "#", "♭": "b", "♮": "n", "●": "*", "○": "o", "◐": "~", "◆": ">", "◇": "b", "×": "x", "≠": "!", "═": "=",
        "≈": "~",
        "▲": "^", "▼": "v", "♪": "#", "✓": "+", "✗": "x", "·": "-", "•": "*", "…": ".", "–": "-", "—": "-", "−": "-",
        "“": '"', "”": '"', "‘": "'", "’": "'", "½": "h", "→": ">", "←": "<", "↑": "^", "↓": "v", "⌫": "<", "‿": "_",
        "─": "-", "│": "|", "▌": "|", "▐": "|", "▏": "|", "▕": "|", "█": "#", "▀": '"', "▄": "=", "▇": "#", "░": ".",
        "ø": "%",
    }
)  # fmt: skip


@lru_cache(4096)
def ascii_of(text: str) -> str:
    """The same text in as many ASCII characters."""
    if text.isascii():
        return text
    out = text.translate(_TABLE)
    return out if out.isascii() else "".join(c if c.isascii() else _nearest(c) for c in out)


def _nearest(char: str) -> str:
    base = unicodedata.normalize("NFKD", char)[:1]
    if base.isascii() and base.isprintable():
        return base
    return "#" if "▀" <= char <= "▟" else "+" if "─" <= char <= "╿" else "?"


class PlainSigns(LineFilter):
    """Nothing but ASCII leaves the program."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """Translate the text; styles stay."""
        return [Segment(ascii_of(text), style, control) for text, style, control in segments]
