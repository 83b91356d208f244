"""What frames every screen: the line of light at the top, the footlights and the keys at the foot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

from rich.text import Text
from textual.app import RenderResult
from textual.reactive import reactive
from textual.widget import Widget

from tutor.tui.look import Glyphs, glyphs

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


class Foot(Widget):
    """The edge of the stage: a notice when there is one, the footlights, and the keys that work now."""

    DEFAULT_CSS = """
    Foot { height: auto; max-height: 4; dock: bottom; padding: 0 2; background: $house; color: $text-quiet; }
    """
    lamps: reactive[tuple[Lamp, ...]] = reactive((), layout=True)
    """The row of footlights; empty leaves a plain edge."""
    notice: reactive[str] = reactive("", layout=True)
    """One line for the user; empty for none."""
    bad: reactive[bool] = reactive(False)
    """True where the notice tells of trouble."""

    def on_mount(self) -> None:
        """Follow the keys that work."""
        self.screen.bindings_updated_signal.subscribe(self, self._keys_changed)

    def _keys_changed(self, _screen: Any) -> None:
        self.refresh()

    def get_content_height(self, container: Any, viewport: Any, width: int) -> int:
        """Two rows, and one for a notice."""
        return 3 if self.notice else 2

    def render(self) -> RenderResult:
        """Notice, lamps, keys."""
        rows = [self._edge(), self._keys()]
        if self.notice:
            theme = self.app.theme_variables
            sign = signs_of(self)
            mark = Text(f"{sign.wrong if self.bad else sign.note} ", style=theme["miss" if self.bad else "lamp"])
            line = Text.assemble(mark, Text(self.notice, style=theme["text-body"]), no_wrap=True)
            line.truncate(self.size.width, overflow="ellipsis")
            rows.insert(0, line)
        return Text("\n").join(rows)

    def _edge(self) -> Text:
        theme, sign = self.app.theme_variables, signs_of(self)
        width = self.size.width
        if not self.lamps:
            return Text(sign.rule * width, style=theme["rule"], no_wrap=True)
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
        return text

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
        last = [e for e in entries if e[2] == "screen.help"]
        room = self.size.width - sum(len(k) + len(w) + 4 for k, w, _ in last)
        for key, words, action in [e for e in entries if e not in last] + last:
            need = len(key) + len(words) + 4
            if action != "screen.help" and text.cell_len + need > room:
                continue
            if text.cell_len:
                text.append("   ")
            style = f"bold {theme['lamp']}"
            start = len(text)
            text.append(key, style=style)
            text.append(f" {words}")
            text.apply_meta({"@click": action}, start, len(text))
        return text

    def _entries(self) -> list[tuple[str, str, str]]:
        out: list[tuple[str, str, str]] = []
        for active in self.screen.active_bindings.values():
            binding = active.binding
            if not binding.show or not active.enabled:
                continue
            action = binding.action
            if "." not in action.partition("(")[0]:
                action = f"{'app' if active.node is self.app else 'screen'}.{action}"
            if any(a == action for _, _, a in out):
                continue
            out.append((self.app.get_key_display(binding), binding.description, action))
        return out
