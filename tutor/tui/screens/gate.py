"""Before singing: ten signs to look through, and how the voice feels; then go on, or a word about whom to see."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from typing import TYPE_CHECKING, ClassVar, cast, get_args

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.music.voice import Condition
from tutor.tui.planview import rest_text
from tutor.tui.stage import Stage
from tutor.tui.widgets.frame import Lamp
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.told import Told
from tutor.warmup.gate import QUESTIONS, judge
from tutor.warmup.model import RestAdvice

if TYPE_CHECKING:
    from tutor.studio import Studio

FEELS: dict[Condition, str] = {
    "fresh": "rested, nothing to notice",
    "a little tired": "it works, with some effort",
    "tired": "it needs care today: shorter and lower",
    "hoarse": "rough or breathy: no singing today",
    "pain": "it hurts: no singing, and someone to see",
}
_DAYS = (
    ("3", "A few days, or since today"), ("10", "One to two weeks"),
    ("21", "About three weeks"), ("28", "Four weeks or longer"),
)  # fmt: skip
_SETTING = "signs-asked"


def asked_today(studio: Studio) -> bool:
    """True where the singer has looked through the signs today and none was so; the answers themselves are not kept."""
    return studio.store.setting(_SETTING) == _stamp(studio)


def ask_again(studio: Studio) -> None:
    """Let the signs be asked before the next singing, after something hurt or strained."""
    studio.store.keep_setting(_SETTING, "")


def _stamp(studio: Studio) -> str:
    return f"{studio.clock().astimezone().date().isoformat()} {studio.singer.name}"


def rows(yes: Collection[str], *, signs: bool) -> list[Row]:
    """The signs with their marks, if they are asked, and the feelings."""
    feelings = [Row(f"feel:{c}", c.capitalize(), FEELS[c]) for c in get_args(Condition)]
    if not signs:
        return [*feelings, Row("signs", "Go through the signs", "none was so when you looked today")]
    marks = [Row(f"sign:{q.name}", f"[{'x' if q.name in yes else ' '}] {q.text}") for q in QUESTIONS]
    return [*marks, Row("", "The voice feels", heading=True), *feelings]


class GateScreen(Stage):
    """Asks once before singing.

    Args:
        then: told how the voice is, once singing is allowed; this screen has gone by then.
        left: called when the singer goes back without an answer.
        context: shown at the top right.
    """

    NAME = "Before you sing"
    HELP = (
        "Look through the ten signs. Mark with Space what is so today; then say how the voice feels and press Enter. "
        "If nothing is marked, one key is enough, and the signs are not asked again today. Your marks are not kept.\n\n"
        "The first six signs belong to a doctor before anything is sung. A hoarse or hurting voice is not warmed up. "
        "The signs follow the guideline on hoarseness (Stachler et al. 2018) and the self-questions of the NIDCD, in "
        "our words. This program cannot tell what a sign means and diagnoses nothing: a voice teacher, a "
        "laryngologist or a speech-language pathologist can."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "choose", key_display="Enter", tooltip="say how the voice feels; mark a sign"),
        Binding("space,x", "mark", "mark a sign", key_display="Space", tooltip="mark the sign in the light, or unmark"),
        Binding("u", "unmark", "unmark all", tooltip="take all marks back"),
        Binding("escape", "back", "back", key_display="Esc", tooltip="back; nothing is kept"),
    ]

    def __init__(
        self, then: Callable[[Condition], None], left: Callable[[], None] | None = None, *, context: str = ""
    ) -> None:
        super().__init__()
        self._then = then
        self._left = left
        self._song_title = context
        self._yes: set[str] = set()
        self._signs = True
        self._days = False
        self._condition: Condition = "fresh"
        self.refused = False
        """True once there is no singing today."""

    def content(self) -> Iterable[Widget]:
        """A question and a list; or the advice."""
        yield Static(id="prompt", classes="prompt", markup=False)
        with VerticalScroll(classes="page", id="page"):
            yield Told(id="advice", classes="body gap hidden", markup=False)
            yield Menu(id="menu", title_width=24)

    def ready(self) -> None:
        """Ask."""
        self.head.context = self._song_title
        self._signs = not asked_today(self.studio)
        self._ask("feel:fresh")

    def _ask(self, at: str) -> None:
        ask = "Mark what is so today. How does the voice feel?"
        self.query_one("#prompt", Static).update(ask if self._signs else "How does the voice feel today?")
        menu = self.query_one(Menu)
        menu.show(rows(self._yes, signs=self._signs), at)
        menu.focus()
        lamps: list[Lamp] = ["miss" if q.name in self._yes else "wait" for q in QUESTIONS]
        self.light(lamps if self._signs else [])
        self.refresh_bindings()

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """A mark, a feeling, or the way out."""
        kind, _, value = message.id.partition(":")
        if kind == "sign":
            self._yes ^= {value}
            self._ask(message.id)
        elif kind == "signs":
            self._signs = True
            self._ask("feel:fresh")
        elif kind == "feel":
            self._condition = cast(Condition, value)
            self._judge()
        elif kind == "days":
            self._judge(int(value))

    def _judge(self, hoarse_days: int | None = None) -> None:
        found = judge(self._yes, self._condition, hoarse_days=hoarse_days or 0)
        if not isinstance(found, RestAdvice):
            if not self._yes:
                self.studio.store.keep_setting(_SETTING, _stamp(self.studio))
            self.app.pop_screen()
            self._then(found)
        elif hoarse_days is None and found == judge((), "hoarse"):
            self._days = True
            self.refresh_bindings()
            self.query_one("#prompt", Static).update("How long has it been hoarse?")
            self.query_one(Menu).show([Row(f"days:{d}", words) for d, words in _DAYS])
        else:
            self._refuse(found)

    def _refuse(self, advice: RestAdvice) -> None:
        self.refused = True
        ask_again(self.studio)
        self.query_one("#prompt", Static).update(advice.title)
        text = self.query_one("#advice", Told)
        text.tell(lambda theme: rest_text(advice, theme))
        text.remove_class("hidden")
        self.query_one(Menu).display = False
        self.query_one("#page").focus()
        self.query_one("#page", VerticalScroll).scroll_home(animate=False)
        self.light([])
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Marks only while the signs are asked."""
        asking = self._signs and not self._days and not self.refused
        return {"mark": asking, "unmark": asking and bool(self._yes)}.get(action, True)

    def key_words(self, binding: Binding, named: tuple[str, str]) -> tuple[str, str] | None:
        """Enter leads home where there is no singing."""
        return ("Enter", "back to today") if binding.action == "pass" and self.refused else named

    def action_mark(self) -> None:
        """Mark or unmark."""
        row = self.query_one(Menu).current
        if row is not None and row.id.startswith("sign:"):
            self.query_one(Menu).action_choose()

    def action_unmark(self) -> None:
        """Take all marks back."""
        self._yes.clear()
        row = self.query_one(Menu).current
        self._ask(row.id if row else "feel:fresh")

    def action_pass(self) -> None:
        """Shown at the foot; home once there is no singing, else the menu does it."""
        if self.refused:
            self.house.go("today")

    def action_back(self) -> None:
        """Without an answer; home where there is no singing."""
        if self.refused:
            self.house.go("today")
            return
        super().action_back()
        if self._left is not None:
            self._left()
