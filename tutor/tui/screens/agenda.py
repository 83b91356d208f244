"""The hours before a recording: water, silence, a check, the warm-ups; to read here and to take along."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import Input, Static

from tutor.studio import hours
from tutor.studio.exports import named
from tutor.tui.screens.page_screen import PageScreen
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.path_field import PathField
from tutor.tui.widgets.told import Told
from tutor.warmup.words import span

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tutor.warmup.agenda import Entry
    from tutor.warmup.model import Plan

_WHEN = (30, 60, 120, 180, 240, 360)


def agenda_text(entries: Sequence[Entry], caution: str, theme: Mapping[str, str]) -> Group:
    """Every entry with its time, what to do and where that comes from."""
    rows: list[RenderableType] = [Text(f"{caution}\n", style=theme["text-quiet"])]
    for entry in entries:
        start, end = (t.astimezone() for t in (entry.start, entry.end))
        head = Text(f"{start:%H:%M} to {end:%H:%M}  ", style=theme["text-quiet"])
        head.append(entry.title, style=f"bold {theme['text-body']}")
        body = Text(entry.what, style=theme["text-body"])
        body.append(f" ({entry.source})", style=theme["text-quiet"])
        rows += [head, Padding(body, (0, 0, 0, 4))]
    return Group(*rows)


class AgendaScreen(PageScreen):
    """Asks when the recording is, then lays the hours out.

    Args:
        plan: the warm-up.
    """

    NAME = "Before the recording"
    TITLES = 16
    MARKUP = False
    HELP = (
        "Say when you record. The hours before it are laid out: water, the warm-up, and where the recording is far "
        "off, silence, a question about the voice, and a second, shorter warm-up. w writes them as a calendar file "
        "(.ics) that any calendar on a phone or computer opens; a file that is there already is never overwritten.\n\n"
        "If the voice is hoarse or anything hurts, do not sing: put the recording off."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "choose", key_display="Enter", tooltip="choose the time; write the file"),
        Binding("w", "write", "write a calendar", tooltip="write these hours into a calendar file"),
        Binding("escape", "back", "back", key_display="Esc", tooltip="a step back"),
    ]

    def __init__(self, plan: Plan) -> None:
        super().__init__()
        self._plan = plan
        self._minutes = 0
        self._now: datetime | None = None

    def ready(self) -> None:
        """Ask when."""
        self._ask()

    def _ask(self) -> None:
        self._minutes = 0
        self.head.context = self._plan.title
        self.query_one("#prompt", Static).update("When do you record?")
        self.query_one("#text").add_class("hidden")
        now = self.studio.clock()
        rows = []
        for minutes in _WHEN:
            start = hours.recording_at(now, minutes).astimezone()
            words = span(minutes * 60) if minutes < 60 else f"{minutes // 60} hour{'s' if minutes > 60 else ''}"
            rows.append(Row(str(minutes), f"In {words}", f"at {start:%H:%M}"))
        menu = self.query_one(Menu)
        menu.display = True
        menu.show(rows, str(_WHEN[1]))
        menu.focus()
        self.refresh_bindings()

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Lay the hours out."""
        self._minutes, self._now = int(message.id), self.studio.clock()
        start = hours.recording_at(self._now, self._minutes).astimezone()
        entries = hours.hours(self._plan, self._now, self._minutes)
        self.query_one("#prompt", Static).update(f"Recording at {start:%H:%M}")
        text = self.query_one("#text", Told)
        text.tell(lambda theme: agenda_text(entries, self._plan.caution, theme))
        text.remove_class("hidden")
        self.query_one(Menu).display = False
        page = self.query_one("#page", VerticalScroll)
        page.focus()
        page.scroll_home(animate=False)
        self.refresh_bindings()

    def action_write(self) -> None:
        """Ask for the file."""
        assert self._now is not None
        start = hours.recording_at(self._now, self._minutes).astimezone()
        self.offer(f"~/warm-up-{start:%Y-%m-%d-%H%M}.ics", "Enter writes it; Esc gives it up.")

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Write it."""
        text, now, minutes = self.query_one(PathField).text, self._now, self._minutes
        assert now is not None

        def make() -> Path:
            path = named(text, ".ics")
            hours.write_calendar(self._plan, now, minutes, path)
            return path

        self.work(make, self.written)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Written is what is laid out."""
        return action != "write" or (bool(self._minutes) and not self.writing)

    def action_pass(self) -> None:
        """Shown at the foot for the menu and the field, which do it."""

    def step_back(self) -> None:
        """To the question, or off this screen."""
        if self._minutes:
            self._ask()
        else:
            super().step_back()
