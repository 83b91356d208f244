"""The microphone: which one, how loud, how quiet the room, how late the sound, and whether it hears the program."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.timer import Timer
from textual.widget import Widget
from textual.widgets import Static

from tutor.errors import plain
from tutor.studio import hearing
from tutor.tui.stage import Stage
from tutor.tui.widgets.level import LevelBar
from tutor.tui.widgets.menu import Menu, Row

if TYPE_CHECKING:
    from tutor.sound.calibrate import Room
    from tutor.sound.meter import Reading
    from tutor.studio import Studio

WRONG_S = 8.0
"""After so long without anything loud enough the screen asks whether it is the right microphone."""

_WORDS = {
    "no input": "Nothing comes in: it is switched off, muted, or this terminal may not use it.",
    "too quiet": "Too quiet for singing: go nearer, or raise the input level in the system's sound settings.",
    "good": "Good. Sing your loudest note: the peak should stay between the two marks.",
    "too loud": "Too loud, it clips: go further away, or lower the input level in the system's sound settings.",
}
_WRONG = "If you are singing now, this is not the microphone you sing into: choose another below."


def room_words(known: hearing.Hearing) -> str:
    """'-58 dB, measured'."""
    return "not measured yet" if known.noise_db is None else f"{known.noise_db:.0f} dB below full scale"


def delay_words(known: hearing.Hearing) -> str:
    """'sounds 180 ms later than the device says'."""
    if known.late_s is None:
        return "not measured yet"
    late = round(1000 * known.late_s)
    return f"sounds {late} ms later than the device says" if late >= 3 else "nothing that the device does not say"


def microphone_words(studio: Studio) -> str:
    """One line for Setup."""
    named = plain(studio.store.setting("input")) or "the system's own"
    return f"{named}; level, quiet room, delay, headphones"


class MicrophoneScreen(Stage):
    """A meter and what can be measured."""

    NAME = "The microphone"
    HELP = (
        "Watch the level and sing: the peak should stay between the two marks. Measure the quiet room once where you "
        "usually sing: whatever is not louder than the room is then not taken for singing. Measure the delay if the "
        "pointer runs ahead of the sound, as with wireless headphones: five short rising sounds are played, and the "
        "microphone must hear them, so bring it near the loudspeaker, or hold the headphones to it and not to your "
        "ears.\n\n"
        "While the program plays, the microphone would hear it too; so nothing is judged then. If you wear "
        "headphones, say so here, and it listens all the time.\n\n"
        "Nothing that is heard here is kept, only the two numbers."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "choose", key_display="Enter", tooltip="do what stands in the light"),
        Binding("u", "undo", "undo", tooltip="take the last change back"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._check: hearing.Check | None = None
        self._what = ""
        self._reading: Reading | None = None
        self._timer: Timer | None = None
        self._quiet_s = 0.0
        self._before: list[tuple[str, hearing.Hearing]] = []
        self._inputs: tuple[str, ...] = ()

    def content(self) -> Iterable[Widget]:
        """The meter, a line about it, and the list."""
        yield Static("How well does it hear you?", classes="prompt")
        yield LevelBar(id="level")
        yield Static("", id="about", classes="body", markup=False)
        yield VerticalScroll(Menu(id="menu", title_width=28), classes="page gap", can_focus=False)

    def ready(self) -> None:
        """Fill the list, and look which microphones there are."""
        self._timer = self.set_interval(hearing.TOLD_S, self._draw, pause=True)
        self._show()
        self.work(self.studio.inputs, self._found)

    def _found(self, names: tuple[str, ...]) -> None:
        self._inputs = names
        self._show()

    @property
    def _known(self) -> hearing.Hearing:
        return hearing.hearing(self.studio.store)

    def _show(self) -> None:
        known, chosen = self._known, self.studio.store.setting("input")
        names = [*self._inputs, *(n for n in [chosen] if n and n not in self._inputs)]
        menu = self.query_one(Menu)
        rows = [
            Row("watch", "Stop watching" if self._what == "watch" else "Watch the level", "sing, and see"),
            Row("room", "Measure the quiet room", room_words(known)),
            Row("delay", "Measure the delay", delay_words(known)),
            Row("headphones", "Headphones", "on: it listens while the program plays" if known.headphones else
                "no: it pauses while music plays"),
            Row("", "Which microphone", heading=True),
            Row("input:", "The system's own", "" if chosen else "chosen"),
            *(Row(f"input:{n}", plain(n), "chosen" if n == chosen else "") for n in names),
        ]  # fmt: skip
        menu.show(rows, menu.current.id if menu.current and menu.current.id else 0)

    # -- choosing

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Do it."""
        kind, _, name = message.id.partition(":")
        running = self._what
        self._end()
        if kind == running:
            self._show()
        elif kind == "watch":
            self._begin("watch", "Sing. Enter stops.")
        elif kind == "room":
            self._begin("room", "Be quiet for three seconds.")
        elif kind == "delay":
            self._begin("delay", "Five rising sounds are played. Esc stops.")
        elif kind == "headphones":
            self._keep(replace(self._known, headphones=not self._known.headphones))
        elif kind == "input":
            self._take(name)

    def _take(self, name: str) -> None:
        self._remember()
        self.studio.store.keep_setting("input", name)
        self._show()
        self.say(f"From now on: {plain(name) or 'the system’s own microphone'}. Watch the level to try it.")

    def _keep(self, known: hearing.Hearing) -> None:
        self._remember()
        hearing.keep(self.studio.store, known)
        hearing.apply(self.studio.store, self.studio.outlets.player)
        self._show()

    def _remember(self) -> None:
        self._before.append((self.studio.store.setting("input"), self._known))

    def action_undo(self) -> None:
        """Take the last change back."""
        if not self._before:
            self.say("Nothing was changed.")
            return
        name, known = self._before.pop()
        self.studio.store.keep_setting("input", name)
        hearing.keep(self.studio.store, known)
        hearing.apply(self.studio.store, self.studio.outlets.player)
        self._show()
        self.say("Taken back.")

    # -- measuring

    def _begin(self, what: str, words: str) -> None:
        self.hush()
        check = hearing.Check(self.studio, self._heard)
        self._check, self._what, self._quiet_s, self._reading = check, what, 0.0, None
        self.say("")
        self.query_one("#about", Static).update(words)
        if self._timer is not None:
            self._timer.resume()
        if what == "watch":
            self.work(check.watch, lambda _none: self._watched(check), failed=self._end)
        elif what == "room":
            self.work(check.room, lambda room: self._room(check, room), failed=self._end)
        else:
            self.work(check.delay, lambda found: self._delay(check, found), failed=self._end)
        self._show()

    def _heard(self, reading: Reading) -> None:
        """From the measuring thread."""
        self._reading = reading

    def _draw(self) -> None:
        reading = self._reading
        self.query_one(LevelBar).reading = reading
        if reading is None or self._what != "watch":
            return
        self._quiet_s = 0.0 if reading.word in ("good", "too loud") else self._quiet_s + hearing.TOLD_S
        words = _WORDS[reading.word]
        if reading.word == "too quiet" and self._quiet_s > WRONG_S:
            words = _WRONG
        self.query_one("#about", Static).update(words)

    def _watched(self, check: hearing.Check) -> None:
        self._over(check)

    def _room(self, check: hearing.Check, room: Room | None) -> None:
        if not self._over(check):
            return
        if room is None:
            self._tell("Nothing came in: choose another microphone below.", measured=False)
        elif room.noise_db <= -119.0:
            self._tell(room.words, measured=False)
        else:
            self._keep(replace(self._known, noise_db=round(room.noise_db, 1)))
            self._tell(room.words)

    def _delay(self, check: hearing.Check, found: tuple[float, str] | str) -> None:
        if not self._over(check):
            return
        if isinstance(found, str):
            self._tell(found, measured=False)
            return
        late_s, remark = found
        self._keep(replace(self._known, late_s=round(late_s, 4)))
        self._tell(remark)

    def _tell(self, words: str, *, measured: bool = True) -> None:
        """Say how the measuring went, with what may take more than a line."""
        self.say("Measured." if measured else "Not measured.", bad=not measured)
        self.query_one("#about", Static).update(words)

    def _over(self, check: hearing.Check) -> bool:
        """A check has ended; whether it is the one that was begun last, and was not stopped by hand."""
        mine = check is self._check
        if mine:
            self._end()
            self._show()
        return mine

    def _end(self) -> None:
        if self._check is not None:
            self._check.end()
        self._check, self._what, self._reading = None, "", None
        if self._timer is not None:
            self._timer.pause()
        if self.is_mounted:
            self.query_one(LevelBar).reading = None
            self.query_one("#about", Static).update("")
            self._show()

    # -- leaving

    def action_back(self) -> None:
        """Stop measuring, or leave."""
        if self._check is not None:
            self._end()
            self.say("Stopped.")
        else:
            super().action_back()

    def on_unmount(self) -> None:
        """Leave with the microphone closed."""
        if self._check is not None:
            self._check.end()
        super().on_unmount()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
