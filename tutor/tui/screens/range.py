"""Finding the comfortable range: a note is played, the singer sings it and says how it was. Nobody shows a limit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.music.phrase import Phrase
from tutor.tui.ear import OpenEar
from tutor.tui.planview import rest_text
from tutor.tui.screens import gate
from tutor.tui.stage import Stage
from tutor.tui.widgets.frame import Lamp
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.pitch_meter import PitchMeter
from tutor.warmup import rangefinder
from tutor.warmup.rangefinder import Comfort, Finder
from tutor.warmup.words import note

if TYPE_CHECKING:
    from tutor.music.take import TrackPoint
    from tutor.music.voice import Condition, SingerProfile

_NOTE_S = 2.0
_ANSWERS: dict[str, Comfort] = {"easy": "easy", "effort": "effort", "pain": "pain"}
_SPREAD = 6
"""Semitones by which a transition may be moved from the published one."""


def asked_note(midi: int) -> Phrase:
    """The note that is played, two seconds long."""
    from tutor.music.pitch import Pitch

    return Phrase.parse(f"{Pitch.from_midi(midi).name}:2", bpm=60, line="upper")


class RangeScreen(Stage):
    """Leads through the notes.

    Args:
        then: called once the range is kept or left; goes back by itself if not given.
    """

    NAME = "Your range"
    HELP = (
        "Each note is played; sing it on “oo” and say how it was: e easy, f it takes effort, h it hurts. It goes up a "
        "semitone at a time, and the first note that takes effort ends that direction: then it goes down. Never push: "
        "what counts is the range that is easy, not the last note you can reach.\n\n"
        "With m the microphone listens and tells whether it was the note asked; it cannot hear how singing feels, so "
        "that is yours to say. Nothing is recorded. u takes an answer back, Esc leaves at any moment and keeps "
        "nothing. Measure on a day when the voice is rested. When anything hurts, stop; pain or lasting hoarseness "
        "belongs before a laryngologist or a speech-language pathologist."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "sound", "hear again", key_display="Space", tooltip="hear the note again"),
        Binding("e", "answer('easy')", "easy", tooltip="the note was easy"),
        Binding("f", "answer('effort')", "effort", tooltip="the note took effort: this direction ends"),
        Binding("h", "answer('pain')", "hurts", tooltip="it hurts: stop"),
        Binding("left", "nudge(-1)", "less, more", key_display="← →", tooltip="a semitone down or up"),
        Binding("right", "nudge(1)", "", show=False),
        Binding("m", "listen", "listen", tooltip="let the microphone listen, or stop it"),
        Binding("u", "undo", "undo", tooltip="take the last answer back"),
        Binding("escape", "back", "leave", key_display="Esc", tooltip="leave; nothing is kept"),
    ]

    def __init__(self, then: Callable[[], None] | None = None) -> None:
        super().__init__()
        self._then = then
        self.finder: Finder | None = None
        """Where the search stands; None on the first page."""
        self._before: list[Finder] = []
        self._kept: SingerProfile | None = None
        self._ear: OpenEar | None = None

    def content(self) -> Iterable[Widget]:
        """A prompt, a hint, the answers, the microphone's trace."""
        yield Static(id="prompt", classes="prompt", markup=False)
        with VerticalScroll(classes="page", id="page", can_focus=False):
            yield Static(id="about", classes="body", markup=False)
            yield Static(id="hint", classes="lamp", markup=False)
            yield Menu(id="menu", title_width=22, classes="gap")
            yield PitchMeter(id="meter")

    def ready(self) -> None:
        """The first page."""
        self._show()

    # -- showing

    def _show(self) -> None:
        finder, menu = self.finder, self.query_one(Menu)
        prompt, about = self.query_one("#prompt", Static), self.query_one("#about", Static)
        listening = self._ear is not None and finder is not None and finder.stage in ("up", "down")
        self.query_one(PitchMeter).display = listening
        hint = self.query_one("#hint", Static)
        hint.update(finder.hint if finder else "")
        hint.display = bool(finder and finder.hint)
        if finder is None:
            first = rangefinder.begin(
                self.studio.singer.name, self.studio.singer.voice, self.studio.clock().astimezone().date()
            )
            prompt.update("Which notes are easy for you today?")
            about.update(
                f"A note is played. Sing it, and say whether it was easy. The first that takes effort ends that "
                f"direction, so you are never asked for your limit. It takes about three minutes, best after a little "
                f"easy humming; with m the microphone listens along.\n\n{first.caution}"
            )
            menu.show([
                Row("begin", "Begin", f"for a {first.voice}; Setup has other voices"),
                Row("leave", "Not today", "a typical range is used until then"),
            ])  # fmt: skip
        else:
            prompt.update(finder.prompt)
            about.update(self._about(finder))
            menu.show(self._rows(finder), menu.current.id if menu.current and finder.stage == "transitions" else 0)
        about.display = bool(about.render())
        self._focus(advised=finder is not None and finder.advice is not None)
        self.light(_lamps(finder))
        self.refresh_bindings()

    def _focus(self, *, advised: bool) -> None:
        """Where there is much to read the page moves with the arrows, else the menu."""
        page, menu = self.query_one("#page"), self.query_one(Menu)
        page.can_focus, menu.display = advised, not advised
        (page if advised else menu).focus()

    def _about(self, finder: Finder) -> str:
        if finder.stage == "stopped":
            return rest_text(finder.advice, self.app.theme_variables).plain if finder.advice else ""
        if finder.stage == "done":
            return (
                f"Register transitions near {note(finder.first_transition)} and {note(finder.second_transition)}. "
                f"Measured {rangefinder.dated(finder.on)}; it is offered again after {rangefinder.FRESH_DAYS} days. "
                "Warm-ups and sung drills stay inside it."
            )
        found = f"Easy so far: {note(finder.low)} to {note(finder.high)}." if finder.high else ""
        return found

    def _rows(self, finder: Finder) -> list[Row]:
        if finder.stage in ("up", "down"):
            return [
                Row("easy", "It was easy", "a semitone further"),
                Row("effort", "It took effort", "enough in this direction"),
                Row("pain", "It hurts", "stop for today"),
            ]
        if finder.stage == "transitions":
            return [
                Row("keep", "Go on with these", "or change them first with ← and →"),
                Row("first", "Lower change", note(finder.first_transition)),
                Row("second", "Upper change", note(finder.second_transition)),
            ]
        if finder.stage == "done" and self._kept is None:
            return [Row("save", "Keep it", "with today's date"), Row("leave", "Do not keep it")]
        return [Row("leave", "Back")]

    # -- answering

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """An answer, or a step."""
        if message.id in _ANSWERS:
            self.action_answer(message.id)
        elif message.id == "begin":
            self._begin()
        elif message.id == "keep" and self.finder is not None:
            self._move(rangefinder.transitions(self.finder))
        elif message.id in ("first", "second"):
            self.action_nudge(1)
        elif message.id == "save":
            self._save()
        else:
            self.action_back()

    def _begin(self) -> None:
        self.app.push_screen(gate.GateScreen(self._felt, context=self.NAME))

    def _felt(self, condition: Condition) -> None:
        if condition == "tired":
            self.say("A tired voice shows less than it has. Measure when it is rested.")
        else:
            self._first_note()

    def _first_note(self) -> None:
        singer, today = self.studio.singer, self.studio.clock().astimezone().date()
        self._move(rangefinder.begin(singer.name, singer.voice, today))

    def action_answer(self, comfort: str) -> None:
        """How the note was."""
        if self.finder is not None:
            if comfort == "pain":
                gate.ask_again(self.studio)
            self._move(rangefinder.answer(self.finder, _ANSWERS[comfort]))

    def _move(self, finder: Finder) -> None:
        if self.finder is not None and finder != self.finder:
            self._before.append(self.finder)
        self.finder = finder
        self.say("")
        self._show()
        if finder.stage in ("up", "down"):
            self.action_sound()
        else:
            self.hush()
            self._close_ear()

    def action_nudge(self, by: int) -> None:
        """Move a transition by a semitone, within reach of the published one."""
        row, finder = self.query_one(Menu).current, self.finder
        if row is None or finder is None:
            return
        if row.id not in ("first", "second"):
            self.say("Go down to the lower or the upper change first.")
            return
        usual = rangefinder.begin(finder.name, finder.voice, finder.on)
        name = f"{row.id}_transition"
        now, middle = getattr(finder, name) + by, getattr(usual, name)
        if abs(now - middle) <= _SPREAD:
            self._before.append(finder)
            self.finder = (
                replace(finder, first_transition=now) if row.id == "first" else replace(finder, second_transition=now)
            )
            self._show()

    def _save(self) -> None:
        found = rangefinder.profile(self.finder) if self.finder is not None else None
        if found is None:
            return
        self._kept = self.studio.singer
        self.work(lambda: self.studio.keep_singer(found), lambda _none: self._saved())

    def _saved(self) -> None:
        self._show()
        self.say("Kept. u takes it back.")

    def action_undo(self) -> None:
        """Take the last answer back, or the keeping of the range."""
        if self._kept is not None:
            before, self._kept = self._kept, None
            self.work(lambda: self.studio.keep_singer(before), lambda _none: self._show())
            self.say("Taken back: your range is as it was.")
        elif self._before:
            self.finder = self._before.pop()
            self._show()
            self.action_sound()
        else:
            self.say("Nothing was answered yet.")

    # -- sound

    def action_sound(self) -> None:
        """Play the note that is asked; the microphone does not judge while it sounds."""
        finder = self.finder
        if finder is None or finder.stage not in ("up", "down"):
            return
        if self._ear is not None:
            self._ear.sounding = True
            self.query_one(PitchMeter).begin(finder.asked, (finder.asked,))
        if self.studio.trouble:
            self.say(f"The note is {note(finder.asked)}; take it from an instrument. {self.studio.trouble}")
        self.hear([asked_note(finder.asked)], after=self._your_turn)

    def _your_turn(self) -> None:
        if self._ear is not None:
            self._ear.sounding = False
            self.query_one(PitchMeter).state = "your turn"

    def action_listen(self) -> None:
        """Open the microphone, or close it."""
        if self._ear is not None:
            self._close_ear()
            self._show()
            return
        ear = OpenEar(self.studio, live=self._live, note=self._heard)
        self._ear = ear
        self.work(ear.listen, lambda _none: None, failed=self._no_ear)
        self._show()
        self.action_sound()

    def _no_ear(self) -> None:
        self._ear = None
        self._show()

    def _close_ear(self) -> None:
        if self._ear is not None:
            self._ear.close()
            self._ear = None

    def _live(self, points: Sequence[TrackPoint]) -> None:
        self.call_later(self._trace, points)

    def _trace(self, points: Sequence[TrackPoint]) -> None:
        for meter in self.query(PitchMeter):
            meter.feed(points)

    def _heard(self, midi: float) -> None:
        self.call_later(self._note_heard, midi)

    def _note_heard(self, midi: float) -> None:
        if self.finder is not None and self._ear is not None:
            self.finder = rangefinder.heard(self.finder, midi)
            hint = self.query_one("#hint", Static)
            hint.update(self.finder.hint)
            hint.display = bool(self.finder.hint)

    # -- leaving

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Each page has its own keys."""
        stage = self.finder.stage if self.finder else ""
        asking = stage in ("up", "down")
        rules = {
            "sound": asking, "answer": asking, "listen": asking, "nudge": stage == "transitions",
            "undo": bool(self._before) or self._kept is not None,
        }  # fmt: skip
        return rules.get(action, True)

    def action_back(self) -> None:
        """Leave; what was not kept is forgotten."""
        self._close_ear()
        super().action_back()
        if self._then is not None:
            self._then()

    def on_unmount(self) -> None:
        """Leave in silence, with the microphone closed."""
        self._close_ear()
        super().on_unmount()


def _lamps(finder: Finder | None) -> list[Lamp]:
    stages = ("up", "down", "transitions", "done")
    if finder is None:
        return ["wait"] * len(stages)
    if finder.stage == "stopped":
        return ["out"] * len(stages)
    at = stages.index(finder.stage)
    return ["hit" if i < at or finder.stage == "done" else "now" if i == at else "wait" for i in range(len(stages))]
