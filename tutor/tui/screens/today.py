"""The first screen: what to do now."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Static

from tutor.tui.screens.left_open import take_up, waits
from tutor.tui.stage import Stage
from tutor.tui.widgets.frame import Lamp
from tutor.tui.widgets.menu import Menu, Row

if TYPE_CHECKING:
    from tutor.studio import Studio

DAYS = 7
"""How many days the footlights of this screen show."""


@dataclass(frozen=True, slots=True)
class Morning:
    """What the screen tells."""

    singer: str
    newcomer: bool
    left: tuple[int, int] | None
    """Questions answered and planned of the session that was left; 0 planned where it is timed."""
    run_left: bool
    """True where a warm-up was left in the middle."""
    quiz_left: str
    """Title of the quiz that was left while it was being answered; empty for none."""
    due: int
    known: int
    """Skills met so far."""
    songs: int
    own: int
    """Songs the user brought."""
    song: str
    """Title of the song opened last; empty before the first."""
    days: tuple[bool, ...]
    """For each of the last days, today last: practised or not."""
    answers: int
    """Answers of the last days."""
    right: float
    """Share of credit among them, 0 to 1."""
    start_left: tuple[int, int] | None = None
    """The same of the search for a start that was left."""
    range_due: str = ""
    """Why the range should be measured; empty when it need not be."""


def gather(studio: Studio) -> Morning:
    """Look up what the screen tells; reads the store, so it runs in a worker."""
    from tutor.studio import placing, quizdesk
    from tutor.warmup.rangefinder import due

    now = studio.clock()
    singer, seat = studio.singer, quizdesk.left(studio)
    cards = studio.cards()
    songs = studio.songs()
    recent = [r for r in studio.reviews() if _days_ago(r.at, now) < DAYS]
    opened = [s for s in songs if s.opened_at is not None]
    return Morning(
        singer=singer.name, newcomer=studio.newcomer, left=studio.rehearsal.left_in_the_middle(singer),
        run_left=studio.unfinished_run() is not None, quiz_left=seat.taking.pack.title or "a quiz" if seat else "",
        due=sum(1 for c in cards if c.due is not None and c.due <= now),
        known=sum(1 for c in cards if not c.new), songs=len(songs), own=sum(1 for s in songs if not s.bundled),
        song=opened[0].title if opened else "",
        days=tuple(any(_days_ago(r.at, now) == n for r in recent) for n in range(DAYS - 1, -1, -1)),
        answers=len(recent), right=sum(r.credit for r in recent) / len(recent) if recent else 0.0,
        start_left=placing.left_in_the_middle(studio.store, singer.name),
        range_due=due(singer, now.astimezone().date()),
    )  # fmt: skip


def _days_ago(then: datetime, now: datetime) -> int:
    """Whole days between two moments by the local calendar."""
    return (now.astimezone().date() - then.astimezone().date()).days


def rows(morning: Morning | None) -> list[Row]:
    """The menu; without a morning it shows what can be shown at the first paint."""
    out: list[Row] = []
    if morning and morning.newcomer and not morning.known:
        out.append(Row("welcome", "Begin here", "your voice, a sound check, then the first question"))
    if morning and morning.left:
        out.append(Row("resume", "Go on practising", waits(morning.left)))
    if morning and morning.start_left:
        out.append(Row("place", "Find your start", waits(morning.start_left)))
    if morning and morning.run_left:
        out.append(Row("resume-run", "Go on warming up", "the warm-up you left in the middle"))
    if morning and morning.quiz_left:
        out.append(Row("resume-quiz", "Go on with the quiz", f"“{morning.quiz_left}” waits where you left it"))
    due = "" if morning is None else _due_words(morning)
    songs = "" if morning is None else _song_words(morning)
    return [
        *out,
        Row("practice", "Practise", due),
        Row("warmup", "Warm up", f"to the high note of “{morning.song}”" if morning and morning.song else
            "" if morning is None else "to the high note of a song"),
        *([Row("range", "Your range", morning.range_due)] if morning and morning.known and morning.range_due else []),
        Row("songs", "Songs", songs),
        Row("lessons", "Lessons", "read, hear and try one idea at a time"),
        Row("quiz", "Quizzes", "a page for your pupils; their answers gathered"),
        Row("progress", "Progress", "what you know and what is shaky"),
        Row("setup", "Setup", "sound check, voice, theme"),
    ]  # fmt: skip


def _due_words(morning: Morning) -> str:
    if not morning.known:
        return "ten questions, to find where you stand"
    if morning.due:
        return f"{morning.due} {'skill is' if morning.due == 1 else 'skills are'} due; ten questions"
    return "nothing is due; ten questions keep it so"


def _song_words(morning: Morning) -> str:
    bundled = morning.songs - morning.own
    if morning.own:
        return f"{morning.own} of yours, {bundled} bundled"
    return f"{bundled} bundled; or open a score of your own"


class TodayScreen(Stage):
    """What to do now, and how the week went."""

    NAME = ""
    HELP = (
        "This is where every day begins. Choose what to do with the arrow keys and Enter, or with the mouse.\n\n"
        "The lamps on the edge of the stage are the last seven days: a lit lamp is a day on which you practised, "
        "the last one is today."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "pass", "move", key_display="↑ ↓", tooltip="move the light"),
        Binding("enter", "pass", "open", key_display="Enter", tooltip="open what stands in the light"),
        Binding("o", "go('songs')", "open a song", tooltip="open a song"),
        Binding("p", "go('practice')", "practise", tooltip="begin to practise"),
        Binding("w", "go('warmup')", "warm up", tooltip="plan a warm-up"),
        Binding("escape", "nothing", "", show=False),
        Binding("q", "quit", "quit", tooltip="leave Larkstair; everything is kept"),
    ]

    def content(self) -> Iterable[Widget]:
        """A greeting, the menu, a line about the week."""
        yield Static(id="greeting", classes="prompt")
        yield Static(" ", classes="quiet")
        yield Menu(rows(None), id="menu", title_width=20)
        yield Static(id="week", classes="quiet gap")

    def ready(self) -> None:
        """Fill in what the store knows."""
        self.work(lambda: gather(self.studio), self._show)

    def on_screen_resume(self) -> None:
        """Things changed on another screen."""
        if self.is_mounted and self.house.has_studio:
            self.ready()

    def _show(self, morning: Morning) -> None:
        menu = self.query_one(Menu)
        menu.spaced = len(rows(morning)) * 2 + 9 <= self.size.height
        menu.show(rows(morning), menu.current.id if menu.current and menu.at else 0)
        part = part_of_day(self.studio.clock().astimezone().hour)
        name = "" if morning.newcomer else f", {morning.singer}"
        self.query_one("#greeting", Static).update(f"Good {part}{name}.")
        self.head.context = _day(self.studio.clock().astimezone().date())
        self.light(_lamps(morning.days))
        answers = "1 answer" if morning.answers == 1 else f"{morning.answers} answers"
        week = f"The last seven days: {answers}, {morning.right:.0%} right." if morning.answers else ""
        self.query_one("#week", Static).update(week)

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Go where the row leads."""
        if not self.house.has_studio:
            self.say("One moment: the studio is still opening.")
        elif message.id == "resume":
            self.action_resume()
        elif message.id == "place":
            from tutor.tui.screens.placement import place

            place(self)
        elif message.id == "resume-run":
            from tutor.tui.screens.warmup import WarmupScreen

            self.app.push_screen(WarmupScreen(resume=True))
        elif message.id == "resume-quiz":
            self._resume_quiz()
        elif message.id == "welcome":
            from tutor.tui.screens.welcome import WelcomeScreen

            self.app.push_screen(WelcomeScreen())
        else:
            self.house.go(message.id)

    def action_resume(self) -> None:
        """Take up the session that was left."""
        take_up(self, gone=self.ready)

    def _resume_quiz(self) -> None:
        """Take up the quiz that was left."""
        from tutor.studio import quizdesk

        def then(seat: quizdesk.Seat | None) -> None:
            from tutor.tui.screens.quiz_take import QuizTakeScreen

            if seat is not None:
                self.app.push_screen(QuizTakeScreen(seat))

        self.work(lambda: quizdesk.left(self.studio), then)

    def action_go(self, name: str) -> None:
        """Go to a screen, once the studio is open."""
        if self.house.has_studio:
            self.house.go(name)

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""

    def action_nothing(self) -> None:
        """Esc leads nowhere from here."""

    async def action_quit(self) -> None:
        """Leave."""
        self.app.exit()


def _lamps(days: Sequence[bool]) -> list[Lamp]:
    return [*("hit" if d else "wait" for d in days[:-1]), "hit" if days[-1] else "now"]


def _day(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B}"


def part_of_day(hour: int) -> str:
    """'morning', 'afternoon' or 'evening', which lasts until four in the morning."""
    return "morning" if 4 <= hour < 12 else "afternoon" if 12 <= hour < 18 else "evening"
