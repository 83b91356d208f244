"""A list to choose from: number keys, arrows and Enter, or the mouse."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from rich.text import Text
from textual import events
from textual.app import RenderResult
from textual.binding import Binding, BindingType
from textual.geometry import Region
from textual.message import Message
from textual.reactive import reactive
from textual.widget import Widget

from tutor.tui.widgets.frame import signs_of


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a menu."""

    id: str
    """What `Menu.Chosen` carries."""
    title: str
    detail: str = ""
    """Quiet text beside or below the title."""
    key: str = ""
    """Key shown in front: '1'."""
    sign: str = ""
    """A verdict after an answer: tick or cross."""
    heading: bool = False
    """A heading: it cannot be chosen."""


class Menu(Widget, can_focus=True):
    """Rows of which one stands in the light."""

    DEFAULT_CSS = """
    Menu { height: auto; width: 1fr; color: $text-body; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up,k", "move(-1)", "Up", show=False),
        Binding("down,j", "move(1)", "Down", show=False),
        Binding("home", "move(-999)", "First", show=False),
        Binding("end", "move(999)", "Last", show=False),
        Binding("pageup", "move(-8)", "Page up", show=False),
        Binding("pagedown", "move(8)", "Page down", show=False),
        Binding("enter", "choose", "Open", show=False),
    ]
    rows: reactive[tuple[Row, ...]] = reactive((), layout=True)
    """What can be chosen."""
    at: reactive[int] = reactive(0)
    """Index of the row in the light."""
    spaced: reactive[bool] = reactive(False, layout=True)
    """True leaves a blank line after each row."""
    brief: reactive[bool] = reactive(False, layout=True)
    """True cuts a detail to what fits beside its title."""
    frozen: reactive[bool] = reactive(False)
    """True once nothing can be chosen any more; the rows stay to be read."""

    @dataclass
    class Chosen(Message):
        """A row was chosen."""

        menu: Menu
        id: str

        @property
        def control(self) -> Menu:
            """The menu."""
            return self.menu

    @dataclass
    class Pointed(Message):
        """Another row stands in the light."""

        menu: Menu
        id: str

        @property
        def control(self) -> Menu:
            """The menu."""
            return self.menu

    def __init__(
        self, rows: Sequence[Row] = (), *, id: str | None = None, classes: str | None = None, title_width: int = 0,
        spaced: bool = False,
        brief: bool = False,
    ) -> None:  # fmt: skip
        super().__init__(id=id, classes=classes)
        self._title_width = title_width
        self.set_reactive(Menu.spaced, spaced)
        self.set_reactive(Menu.brief, brief)
        self.set_reactive(Menu.rows, tuple(rows))
        self.set_reactive(Menu.at, next((i for i, r in enumerate(rows) if not r.heading), 0))

    @property
    def current(self) -> Row | None:
        """The row in the light."""
        return self.rows[self.at] if self.rows and 0 <= self.at < len(self.rows) else None

    def show(self, rows: Sequence[Row], at: int | str = 0) -> None:
        """Show other rows; ``at`` is an index or the id of the row to stand in the light."""
        self.rows = tuple(rows)
        index = at if isinstance(at, int) else next((i for i, r in enumerate(rows) if r.id == at), 0)
        while 0 <= index < len(rows) - 1 and rows[index].heading:
            index += 1
        before, self.at = self.at, min(index, max(0, len(rows) - 1))
        self.frozen = False
        if before == self.at and self.current is not None:
            self.post_message(self.Pointed(self, self.current.id))

    def watch_at(self) -> None:
        """Keep the row in sight, and tell."""
        row = self.current
        if row is None or not self.is_mounted:
            return
        y, height = self._span(self.at)
        self.call_after_refresh(self.scroll_parent, Region(0, y, max(1, self.size.width), height))
        self.post_message(self.Pointed(self, row.id))

    def scroll_parent(self, region: Region) -> None:
        """Scroll what holds the menu until a part of it shows."""
        parent = self.parent
        if isinstance(parent, Widget) and parent.is_scrollable:
            parent.scroll_to_region(region.translate(self.virtual_region.offset), animate=False)

    def get_content_width(self, container: Any, viewport: Any) -> int:
        """All there is."""
        return int(container.width)

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """A row each, more where the detail stands below."""
        return max(1, sum(len(self._lines(r, width)) for r in self.rows))

    def render(self) -> RenderResult:
        """The rows."""
        theme, sign = self.app.theme_variables, signs_of(self)
        width = self.size.width
        out = Text(no_wrap=True, overflow="crop")
        for i, row in enumerate(self.rows):
            lit = i == self.at and not row.heading and not self.frozen
            for j, line in enumerate(self._lines(row, width)):
                edge = Text(f"{sign.pointer} " if lit and line.cell_len else "  ", style=theme["lamp"])
                full = Text.assemble(edge, line)
                full.pad_right(max(0, width - full.cell_len))
                if lit and line.cell_len:
                    full.stylize(f"on {theme['pool']}")
                    if j == 0:
                        full.stylize("bold", 2, 2 + len(row.key) + 3 + len(row.title))
                out.append_text(full)
                out.append("\n")
        return out

    def _lines(self, row: Row, width: int) -> list[Text]:
        theme = self.app.theme_variables
        if row.heading:
            above = [] if self.rows and row is self.rows[0] else [Text()]
            return [*above, Text(row.title, style=f"bold {theme['text-quiet']}")]
        lead = Text(f"{row.key}  " if row.key else "", style=f"bold {theme['lamp']}")
        head = Text.assemble(lead, Text(row.title, style=theme["text-body"]))
        if row.sign:
            head.append(f"  {row.sign}", style="bold")
        lines = self._with_detail(row, head, len(lead), max(10, width - 3))
        return [*lines, Text()] if self.spaced else lines

    def _with_detail(self, row: Row, head: Text, lead: int, room: int) -> list[Text]:
        theme = self.app.theme_variables
        if not row.detail:
            return list(head.wrap(self.app.console, room)) or [head]
        column = max(head.cell_len + 2, lead + self._title_width)
        detail = Text(row.detail, style=theme["text-quiet"])
        if self.brief:
            detail.truncate(max(0, room - column), overflow="ellipsis")
        if column + detail.cell_len <= room:
            return [Text.assemble(head, " " * (column - head.cell_len), detail)]
        if self._title_width and head.cell_len <= column - 2 and room - column >= 24:
            wrapped = detail.wrap(self.app.console, room - column)
            first = Text.assemble(head, " " * (column - head.cell_len), wrapped[0])
            return [first, *(Text.assemble(" " * column, w) for w in wrapped[1:])]
        indent = " " * (lead + 2)
        return [
            *head.wrap(self.app.console, room),
            *(Text.assemble(indent, w) for w in detail.wrap(self.app.console, room - len(indent))),
        ]

    def _span(self, index: int) -> tuple[int, int]:
        width = self.size.width
        above = sum(len(self._lines(r, width)) for r in self.rows[:index])
        return above, len(self._lines(self.rows[index], width))

    def on_click(self, event: events.Click) -> None:
        """Choose the row under the pointer."""
        y = 0
        for i, row in enumerate(self.rows):
            height = len(self._lines(row, self.size.width))
            if y <= event.y < y + height:
                if not row.heading:
                    self.at = i
                    self.action_choose()
                return
            y += height

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A short list leaves paging to what holds it."""
        return not (action == "move" and parameters in ((-8,), (8,)) and len(self.rows) <= 8)

    def action_move(self, by: int) -> None:
        """Move the light."""
        if not self.rows:
            return
        step = 1 if by > 0 else -1
        index = max(0, min(len(self.rows) - 1, self.at + by))
        ahead = range(index, len(self.rows)) if step > 0 else range(index, -1, -1)
        behind = range(index, self.at, -step)
        self.at = next((i for i in (*ahead, *behind) if not self.rows[i].heading), self.at)

    def action_choose(self) -> None:
        """Choose the row in the light."""
        row = self.current
        if row is not None and not row.heading and not self.frozen:
            self.post_message(self.Chosen(self, row.id))
