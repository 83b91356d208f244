"""The diary: how much was sung in each week, how the voice felt, and a caution when a week jumps."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import timedelta
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.tui.look import Glyphs
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.told import Told
from tutor.warmup.strains import RULE, day_words
from tutor.warmup.words import count, note, span

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tutor.warmup.load import DiaryEntry, Week
    from tutor.warmup.strains import Held

_BAR = 16
_LAST = 10
"""Weeks shown."""
_SHOWN = 300
"""Warm-ups listed."""
_SOURCE = (
    "Singing time and vibrations of the vocal folds in led warm-ups: time dose and cycle dose (Titze, Švec and Popolo, "
    "JSLHR 46(4), 2003). No safe limit for singers is agreed on, so a week is compared only with your own."
)


def week_lines(weeks: Sequence[Week], sign: Glyphs) -> list[str]:
    """A line for every week, newest first: the days, a bar, the figures in words."""
    most = max((w.time_s for w in weeks), default=0.0)
    out = []
    for week in reversed(weeks):
        full = round(week.time_s / most * _BAR) if most else 0
        bar = sign.full * max(full, 1 if week.time_s else 0)
        last = week.monday + timedelta(days=6)
        days = f"{week.monday.day} {week.monday:%b} to {last.day} {last:%b}"
        words = f"{span(week.time_s)}, {count(week.entries, 'warm-up')}" if week.entries else "no singing here"
        rounds = f", {vibrations(week.cycles)}" if week.cycles else ""
        worse = f", worse after {week.worse}" if week.worse else ""
        strained = f", strained in {week.strained}" if week.strained else ""
        out.append(f"{days:<17} {bar:{sign.rule}<{_BAR}} {words}{rounds}{worse}{strained}")
    return out


def vibrations(cycles: float) -> str:
    """'180 thousand vibrations'."""
    return f"{cycles / 1000:.0f} thousand vibrations"


def entry_words(entry: DiaryEntry) -> str:
    """How long was sung, and how it felt."""
    after = f", after it {entry.after}" if entry.after else ""
    before = f"before it {entry.before}" if entry.before else "before it not told"
    strain = f"; strained at {', '.join(map(note, entry.strained_at))}" if entry.strained_at else ""
    rounds = f", {vibrations(entry.cycles)}" if entry.cycles else ""
    sung = f"{span(entry.time_s)} sung{rounds}" if entry.time_s else "time not kept"
    return f"{sung}; {before}{after}{strain}"


def strain_words(found: Held) -> str:
    """When a note strained, and what it takes away."""
    when = f"on {day_words(found.on)}" if found.on else "on a day that was not kept"
    often = f"{count(found.times, 'time')}, last " if found.times > 1 else ""
    until = f" until {day_words(found.rises)}" if found.rises else " until you measure again"
    return f"{often}{when}; nothing above {note(found.top)}{until}"


def rows(entries: Sequence[DiaryEntry], strains: Sequence[Held]) -> list[Row]:
    """The notes that strained, then the warm-ups, newest first."""
    out = [Row("", "Notes that strained", heading=True)] if strains else []
    out += [Row(f"strain:{h.midi}", note(h.midi), strain_words(h)) for h in strains]
    out += [Row("", "Warm-ups", heading=True)] if entries else []
    for entry in list(reversed(entries))[:_SHOWN]:
        day = f"{entry.on.day} {entry.on:%b}"
        title = f"{day} {entry.song}" if len(entry.song) <= 20 else f"{day} {entry.song[:19]}…"
        out.append(Row(f"entry:{entry.number}", title, entry_words(entry)))
    return out


class DiaryScreen(Stage):
    """The load of a voice, week by week; the warm-ups and the notes that strained, each to delete."""

    NAME = "Diary"
    HELP = (
        "Every led warm-up is kept here with how the voice felt before and after it. The blocks show how long you sang "
        "in each week; the longest week fills the line. When a week is much longer than the weeks before it, or a "
        "note strains again and again, a caution says so.\n\n"
        f"Notes that strained stand first. {RULE} x deletes what stands in the light, a note or a single warm-up, and "
        "u brings it back. Take a note off only when the key was a slip or your teacher says so.\n\n"
        "Only what this program led is counted, and how loud you sang it cannot know. If the voice stays tired, ask "
        "your teacher; hoarseness that lasts belongs before a laryngologist or a speech-language pathologist."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "pass", "choose", key_display="↑ ↓", tooltip="go through the warm-ups and strained notes"),
        Binding("x,delete", "delete", "delete", key_display="x", tooltip="delete this warm-up, or take this note off"),
        Binding("u", "undo", "undo", tooltip="bring back what was deleted last"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._undo: list[tuple[str, Callable[[], None]]] = []

    def content(self) -> Iterable[Widget]:
        """One page."""
        yield Static(id="line", classes="prompt", markup=False)
        with VerticalScroll(classes="page gap", id="page", can_focus=False):
            yield Told(id="text", classes="body", markup=False)
            yield Menu(id="menu", title_width=28)
            yield Static(_SOURCE, id="source", classes="quiet gap", markup=False)

    def ready(self) -> None:
        """Look it up."""
        from tutor.studio import diary

        studio = self.studio
        self.work(
            lambda: (diary.entries(studio), diary.loads(studio), diary.strains(studio)),
            lambda found: self._show(*found),
        )

    def _show(self, entries: Sequence[DiaryEntry], weeks: Sequence[Week], strains: Sequence[Held]) -> None:
        now = f"{span(weeks[-1].time_s)} sung this week." if weeks else "No warm-up was led yet."
        self.query_one("#line", Static).update(now)
        self.query_one("#text", Told).tell(lambda theme: page(weeks, self.signs, theme))
        menu = self.query_one(Menu)
        at = menu.at
        menu.show(rows(entries, strains), at)
        menu.display = bool(menu.rows)
        menu.focus()
        self.refresh_bindings()

    def on_menu_pointed(self, message: Menu.Pointed) -> None:
        """The top of the page comes back with the first row."""
        first = next((r.id for r in message.menu.rows if not r.heading), "")
        if message.id == first:
            self.call_after_refresh(self.query_one("#page", VerticalScroll).scroll_home, animate=False)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Deleting where there is something, undoing where something was deleted."""
        rules = {"delete": bool(self.query_one(Menu).rows), "undo": bool(self._undo)}
        return rules.get(action, True)

    def action_delete(self) -> None:
        """Delete what stands in the light."""
        from tutor.studio import diary

        row = self.query_one(Menu).current
        if row is None or row.heading:
            return
        kind, _, value = row.id.partition(":")
        number, studio = int(value), self.studio
        make = diary.forget if kind == "entry" else diary.forget_strain
        entry = kind == "entry"
        said = f"The warm-up of {row.title} is deleted" if entry else f"{row.title} is taken off"
        back_words = f"The warm-up of {row.title} is back." if entry else f"{row.title} is back on the list."

        def then(back: Callable[[], None]) -> None:
            self._undo.append((back_words, back))
            self.ready()
            self.say(f"{said}; u brings it back.")

        self.work(lambda: make(studio, number), then)

    def action_undo(self) -> None:
        """Bring back what was deleted last."""
        if not self._undo:
            return
        said, back = self._undo.pop()

        def then(_none: None) -> None:
            self.ready()
            self.say(said)

        self.work(back, then)

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""


def page(weeks: Sequence[Week], sign: Glyphs, theme: Mapping[str, str]) -> Text:
    """Caution and weeks."""
    out = Text(style=theme["text-body"])
    if weeks and weeks[-1].caution:
        out.append(f"! {weeks[-1].caution}\n\n", style=f"bold {theme['lamp']}")
    out.append("\n".join(week_lines(weeks[-_LAST:], sign)))
    return out
