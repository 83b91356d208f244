"""The diary: how much was sung in each week, how the voice felt, and a caution when a week jumps."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import timedelta
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.tui.look import Glyphs
from tutor.tui.stage import Stage
from tutor.warmup.words import count, note, span

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tutor.warmup.load import DiaryEntry, Week

_BAR = 16
_LAST = 10
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
        worse = f", worse after {week.worse}" if week.worse else ""
        strained = f", strained in {week.strained}" if week.strained else ""
        out.append(f"{days:<17} {bar:{sign.rule}<{_BAR}} {words}{worse}{strained}")
    return out


def entry_line(entry: DiaryEntry) -> str:
    """One warm-up in words."""
    after = f", after it {entry.after}" if entry.after else ""
    before = f"before it {entry.before}" if entry.before else "before it not told"
    strain = f"; strained at {', '.join(map(note, entry.strained_at))}" if entry.strained_at else ""
    rounds = f", {entry.cycles / 1000:.0f} thousand vibrations" if entry.cycles else ""
    sung = f"{span(entry.time_s)} sung{rounds}" if entry.time_s else "time not kept"
    return f"{entry.on.day} {entry.on:%b}: {sung}; {before}{after}{strain}"


class DiaryScreen(Stage):
    """The load of a voice, week by week."""

    NAME = "Diary"
    HELP = (
        "Every led warm-up is kept here with how the voice felt before and after it. The blocks show how long you sang "
        "in each week; the longest week fills the line. When a week is much longer than the weeks before it, or a "
        "note strains again and again, a caution says so.\n\n"
        "Only what this program led is counted, and how loud you sang it cannot know. If the voice stays tired, ask "
        "your teacher; hoarseness that lasts belongs before a laryngologist or a speech-language pathologist."
    )
    AUTO_FOCUS = "#page"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "pass", "scroll", key_display="↑ ↓", tooltip="read on"),
    ]

    def content(self) -> Iterable[Widget]:
        """One page."""
        yield Static(id="line", classes="prompt", markup=False)
        with VerticalScroll(classes="page gap", id="page"):
            yield Static(id="text", classes="body", markup=False)

    def ready(self) -> None:
        """Look it up."""
        from tutor.studio import diary

        self.work(lambda: (diary.entries(self.studio), diary.loads(self.studio)), lambda found: self._show(*found))

    def _show(self, entries: Sequence[DiaryEntry], weeks: Sequence[Week]) -> None:
        now = f"{span(weeks[-1].time_s)} sung this week." if weeks else "No warm-up was led yet."
        self.query_one("#line", Static).update(now)
        self.query_one("#text", Static).update(page(entries, weeks, self.signs, self.app.theme_variables))

    def action_pass(self) -> None:
        """Shown at the foot for the page, which does it."""


def page(entries: Sequence[DiaryEntry], weeks: Sequence[Week], sign: Glyphs, theme: Mapping[str, str]) -> Text:
    """Caution, weeks, the last warm-ups, where the figures come from."""
    out = Text(style=theme["text-body"])
    if weeks and weeks[-1].caution:
        out.append(f"! {weeks[-1].caution}\n\n", style=f"bold {theme['lamp']}")
    for line in week_lines(weeks[-_LAST:], sign):
        out.append(f"{line}\n")
    if entries:
        out.append("\nThe last warm-ups\n", style=f"bold {theme['text-quiet']}")
        out.append("\n".join(entry_line(e) for e in reversed(entries[-_LAST:])))
        out.append("\n\n")
    out.append(_SOURCE, style=theme["text-quiet"])
    return out
