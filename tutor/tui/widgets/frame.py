"""What frames every screen: the line of light at the top, the footlights and the keys at the foot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

from rich.text import Text
from textual import actions, events
from textual.app import RenderResult
from textual.binding import Binding
from textual.reactive import reactive
from textual.screen import Screen
from textual.widget import Widget

from tutor.tui.look import Glyphs, glyphs

LEAST = (80, 24)
"""Columns and rows from which on everything has its place."""
Lamp = Literal["hit", "miss", "part", "now", "wait", "out"]
"""A footlight: right, wrong, partly right, this one, still to come, set aside."""


def signs_of(widget: Widget) -> Glyphs:
    """The signs the running app uses."""
    look = getattr(widget.app, "look", None)
    return glyphs(bool(look and look.ascii))


class Head(Widget):
    """The top line: where you are on the left, one word of context on the right."""

    DEFAULT_CSS = """
    Head { height: 2; dock: top; padding: 0 2; color: $text-quiet; background: $house; }
    """
    where: reactive[str] = reactive("")
    """Name of the screen."""
    context: reactive[str] = reactive("")
    """Song, singer or progress."""

    def __init__(self, where: str = "", context: str = "") -> None:
        super().__init__()
        self.set_reactive(Head.where, where)
        self.set_reactive(Head.context, context)

    def render(self) -> RenderResult:
        """One line."""
        theme = self.app.theme_variables
        left = Text("Larkstair", style=f"bold {theme['lamp']}")
        if self.where:
            left.append(f"  {self.where}", style=f"bold {theme['text-body']}")
        room = self.size.width - left.cell_len - 2
        right = Text(self.context)
        if right.cell_len > room:
            right.truncate(max(0, room), overflow="ellipsis")
        gap = max(1, self.size.width - left.cell_len - right.cell_len)
        return Text.assemble(left, " " * gap, right, no_wrap=True, overflow="crop")


_NOTICE = 2
"""Most lines of a notice."""


class Foot(Widget):
    """The edge of the stage: a notice when there is one, the footlights, and the keys that work now."""

    DEFAULT_CSS = """
    Foot { height: auto; max-height: 4; dock: bottom; padding: 0 2; background: $house; color: $text-quiet; }
    """
    lamps: reactive[tuple[Lamp, ...]] = reactive((), layout=True)
    """The row of footlights; empty leaves a plain edge."""
    notice: reactive[str] = reactive("", layout=True)
    """One sentence or two for the user; empty for none."""
    bad: reactive[bool] = reactive(False)
    """True where the notice tells of trouble."""

    _spots: list[tuple[int, int, str]]

    def on_mount(self) -> None:
        """Follow the keys that work."""
        self._spots = []
        self.screen.bindings_updated_signal.subscribe(self, self._keys_changed)

    def _keys_changed(self, _screen: Any) -> None:
        self.refresh()

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """Two rows, and one or two for a notice."""
        return 2 + len(self._told(width))

    def render(self) -> RenderResult:
        """Notice, lamps, keys."""
        rows = [self._edge(), self._keys()]
        if self.notice:
            theme = self.app.theme_variables
            sign = signs_of(self)
            mark = Text(f"{sign.wrong if self.bad else sign.note} ", style=theme["miss" if self.bad else "lamp"])
            first, *more = self._told(self.size.width)
            body = theme["text-body"]
            rows[:0] = [Text.assemble(mark, (first, body)), *(Text(f"  {line}", style=body) for line in more)]
        return Text("\n").join(rows)

    def _told(self, width: int) -> list[str]:
        """The notice beside its sign in at most two lines: what is wrong comes first, what to do about it last."""
        if not self.notice:
            return []
        room = max(1, width - 2)
        lines = [line.plain.rstrip() for line in Text(self.notice).wrap(self.app.console, room)]
        if len(lines) > _NOTICE:
            last = Text(" ".join(lines[_NOTICE - 1 :]), no_wrap=True)
            last.truncate(room, overflow="ellipsis")
            lines = [*lines[: _NOTICE - 1], last.plain]
        return lines

    def _edge(self) -> Text:
        theme, sign = self.app.theme_variables, signs_of(self)
        width = self.size.width
        if not self.lamps:
            return self._with_size(Text(sign.rule * width, style=theme["rule"], no_wrap=True))
        shapes = {
            "hit": (sign.lamp_hit, theme["lamp"]), "miss": (sign.lamp_miss, f"bold {theme['miss']}"),
            "part": (sign.lamp_part, theme["lamp"]), "now": (sign.lamp_now, f"bold {theme['lamp']}"),
            "wait": (sign.lamp_wait, theme["text-quiet"]), "out": (sign.lamp_out, theme["text-quiet"]),
        }  # fmt: skip
        step = max(1, min(4, (width - 2) // len(self.lamps)))
        shown = self._window(width, step)
        text = Text(sign.rule * 2, style=theme["rule"], no_wrap=True)
        for lamp in shown:
            text.append(*shapes[lamp])
            text.append(sign.rule * (step - 1), style=theme["rule"])
        text.append(sign.rule * max(0, width - text.cell_len), style=theme["rule"])
        return self._with_size(text)

    def _with_size(self, edge: Text) -> Text:
        """The edge; in a window that is too small it ends in a word about that, if there is room beside the lamps."""
        have, (columns, rows) = self.app.size, LEAST
        words = f" small window: {columns} by {rows} characters show all "
        if (have.width >= columns and have.height >= rows) or len(words) + len(self.lamps) * 4 > edge.cell_len:
            return edge
        edge.truncate(edge.cell_len - len(words))
        return edge.append(words, style=self.app.theme_variables["text-quiet"])

    def _window(self, width: int, step: int) -> Sequence[Lamp]:
        most = (width - 2) // step
        if len(self.lamps) <= most:
            return self.lamps
        now = next((i for i, lamp in enumerate(self.lamps) if lamp == "now"), 0)
        start = max(0, min(now - most // 2, len(self.lamps) - most))
        return self.lamps[start : start + most]

    def _keys(self) -> Text:
        theme = self.app.theme_variables
        entries = self._entries()
        text = Text(no_wrap=True, overflow="crop")
        last = [e for e in entries if e[2] in ("back", "help")]
        gap = 3 if sum(len(k) + len(w) + 4 for k, w, _ in entries) <= self.size.width + 3 else 2
        room = self.size.width - sum(len(k) + len(w) + 1 + gap for k, w, _ in last)
        self._spots = []
        for key, words, action in [e for e in entries if e not in last] + last:
            need = len(key) + len(words) + 1 + (gap if text.cell_len else 0)
            if (key, words, action) not in last and text.cell_len + need > room:
                continue
            if text.cell_len:
                text.append(" " * gap)
            start = text.cell_len
            text.append(key, style=f"bold {theme['lamp']}")
            text.append(f" {words}")
            self._spots.append((start, text.cell_len, action))
        return text

    def _entries(self) -> list[tuple[str, str, str]]:
        """Key, word and action of what works now, in the order in which the screen names it."""
        out: list[tuple[str, str, str]] = []
        for binding in bindings_of(self.screen):
            named = self._named(binding)
            if named is not None and not any((w, a) == (named[1], binding.action) for _, w, a in out):
                out.append((*named, binding.action))
        return out

    def _named(self, binding: Binding) -> tuple[str, str] | None:
        """Key and word; a screen may know better ones for the moment."""
        named: tuple[str, str] | None = self.app.get_key_display(binding), binding.description
        better = getattr(self.screen, "key_words", None)
        return better(binding, named) if better is not None else named

    async def on_click(self, event: events.Click) -> None:
        """A key at the foot can be clicked."""
        if event.y != self.size.height - 1:
            return
        for start, end, action in self._spots:
            if start <= event.x < end:
                await self.screen.run_action(action)
                return


def bindings_of(screen: Screen[Any]) -> list[Binding]:
    """The screen's own keys that are shown and work now."""
    out = []
    for bindings in screen._bindings.key_to_bindings.values():
        for binding in bindings:
            _, name, parameters = actions.parse(binding.action)
            if binding.show and screen.check_action(name, parameters):
                out.append(binding)
    return out
