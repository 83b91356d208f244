"""What a staff is drawn with: the style, the characters of two alphabets, a canvas, and the finished system."""

from __future__ import annotations

from dataclasses import dataclass, field

from tutor.tui.widgets.staff_layout import Clef

WORDS = {
    "bass": "bass",
    "borrowed": "borrowed",
    "rub": "rub",
    "changed": "changed",
    "target": "here",
    "right": "right",
    "wrong": "not this",
}
"""What stands under a note that is pointed out."""


@dataclass(frozen=True, slots=True)
class Style:
    """How a staff is drawn."""

    large: bool = False
    """Two rows to a staff space instead of one."""
    ascii: bool = False
    """Nothing beyond ASCII."""
    voice_apart: bool = False
    """The sung line on its own staff above the piano's."""
    clef: Clef | None = None
    """Clef of a sung line that stands alone; None chooses by its pitches."""
    words: bool = True
    """Rows for syllables, figures and marks under the staff."""
    now: float | None = None
    """Moment being heard, quarters from the beginning; None draws no pointer."""
    stem: int = 3
    """Length of a stem in staff spaces."""


@dataclass(frozen=True, slots=True)
class Signs:
    """Characters for one alphabet."""

    line: str = "─"
    bar: str = "│"
    solid: tuple[str, str, str] = ("██", "▄▄", "▀▀")
    """Head on a line; upper and lower half of a head in a space."""
    hollow: tuple[str, str, str] = ("()", "╭╮", "╰╯")
    solid_marked: tuple[str, str, str] = ("▐██▌", "▗▄▄▖", "▝▀▀▘")
    hollow_marked: tuple[str, str, str] = ("(══)", "╔══╗", "╚══╝")
    wrong: tuple[str, str, str] = ("><", "╲╱", "╱╲")
    both: str = "──"
    """Where two solid heads in spaces meet on a line; drawn in reverse."""
    both_hollow: str = ")("
    """Where two hollow ones meet."""
    stem_up: str = "▏"
    stem_down: str = "▕"
    large: tuple[tuple[str, str, str], ...] = (
        ("▄▄▄", "███", "▀▀▀"),
        ("╭─╮", "│ │", "╰─╯"),
        ("▗▄▄▄▖", "▐███▌", "▝▀▀▀▘"),
        ("╔═╗", "║ ║", "╚═╝"),
        ("╲ ╱", " ╳ ", "╱ ╲"),
    )
    """In the large density: solid, hollow, the two pointed out, wrong; above, on and below its row."""
    large_hollow: str = "├─┤"
    """Where two hollow heads meet there."""
    beams: tuple[str, str, str, str] = ("▔", "▀", "▁", "▄")
    """Above: eighth, sixteenth; below: the same."""
    accidentals: tuple[str, str, str] = ("♯", "♭", "♮")
    tie: str = "‿"
    dots: tuple[str, str] = ("·", ".")
    """After a head on a line; in a space."""
    rest_long: tuple[str, str] = ("▀▀", "▄▄")
    rest_quarter: tuple[str, str] = ("▚", "▞")
    rest_short: str = "▞"
    mark: str = "▲"
    now: str = "▼"
    treble: tuple[str, ...] = (" ▗▖ ", " ▌▐ ", " ▙▘ ", "▗█▖ ", "▐▐▜▖", "▝▟▛ ", "▄▌  ")
    bass: tuple[str, ...] = ("▄▀▜▖▖", "▀ ▐▌▖", " ▗▛  ", "▝▘   ")


BLOCKS = Signs()
ASCII = Signs(
    line="-", bar="|", solid=("@@", ",,", '""'), hollow=("()", "..", "''"),
    solid_marked=("[@@]", "<,,>", '<"">'), hollow_marked=("[  ]", "<..>", "<''>"), wrong=("><", "\\/", "/\\"),
    both="==", stem_up="|", stem_down="|",
    large=((",,,", "@@@", '"""'), (".-.", "( )", "'-'"), ("<,,,>", "[@@@]", '<""">'), ("{-}", "[ ]", "{-}"),
           ("\\ /", " X ", "/ \\")),
    large_hollow="(-)", beams=("=", "#", "=", "#"), accidentals=("#", "b", "n"), tie="_", dots=(".", "."),
    rest_long=('""', "__"), rest_quarter=("}", "{"), rest_short="/", mark="^", now="v",
    treble=(" __ ", " || ", " |/ ", " /| ", "( @)", " \\| ", "(_| "), bass=(".-. :", "@  ):", "  /  ", " '   "),
)  # fmt: skip


_PIXELS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
"""Quadrants by the bits upper left 1, upper right 2, lower left 4, lower right 8."""


def stretched(art: tuple[str, ...]) -> tuple[str, ...]:
    """A clef drawn in quadrants, twice as tall; in ASCII the rows are repeated."""
    rows: list[str] = []
    for row in art:
        if any(c not in _PIXELS for c in row):
            rows += [row, row]
            continue
        bits = [_PIXELS.index(c) for c in row]
        rows.append("".join(" ▌▐█"[b & 3] for b in bits))
        rows.append("".join(" ▌▐█"[b >> 2] for b in bits))
    return tuple(rows)


Cell = tuple[str, str]


@dataclass(slots=True)
class Canvas:
    """Characters with the role each plays; rows may be negative until it is cropped."""

    cells: dict[tuple[int, int], Cell] = field(default_factory=dict)

    def put(self, row: int, col: int, text: str, role: str) -> None:
        """Write text; a blank is written too."""
        for i, char in enumerate(text):
            self.cells[row, col + i] = (char, role)

    def put_free(self, row: int, col: int, text: str, role: str) -> None:
        """Write over nothing but blanks and staff lines."""
        for i, char in enumerate(text):
            if self.cells.get((row, col + i), (" ", "line"))[1] in ("line", "ledger"):
                self.cells[row, col + i] = (char, role)

    @property
    def bottom(self) -> int:
        """The lowest row in use."""
        return max((r for r, _ in self.cells), default=0)

    @property
    def top(self) -> int:
        """The highest row in use."""
        return min((r for r, _ in self.cells), default=0)

    def rows(self, width: int) -> list[tuple[Cell, ...]]:
        """Cropped rows, each ``width`` cells."""
        blank = (" ", "")
        return [tuple(self.cells.get((r, c), blank) for c in range(width)) for r in range(self.top, self.bottom + 1)]


@dataclass(frozen=True, slots=True)
class System:
    """One line of staves, drawn."""

    rows: tuple[tuple[Cell, ...], ...]
    start: float
    """Quarters at its left edge."""
    end: float
    """Quarters at its right edge."""
    columns: tuple[tuple[float, int], ...]
    """Column of the heads at each moment."""
    staff_row: int
    """Row of the highest staff line."""

    @property
    def text(self) -> str:
        """The drawing without roles."""
        return "\n".join("".join(c for c, _ in row).rstrip() for row in self.rows)
