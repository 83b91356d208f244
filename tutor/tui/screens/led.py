"""The warm-up being led: what to sing, how high it goes, and the keys that stop, lower or skip it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import ClassVar, cast

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.music.pitch import Pitch, pretty
from tutor.music.take import Take, TrackPoint
from tutor.music.voice import Feeling, SingerProfile
from tutor.practice.drill import Excerpt
from tutor.studio import diary
from tutor.tui.ear import OpenEar
from tutor.tui.screens import led_words as words
from tutor.tui.screens.gate import ask_again
from tutor.tui.stage import Stage
from tutor.tui.widgets.bigtype import BigType
from tutor.tui.widgets.climb import Climb
from tutor.tui.widgets.frame import Lamp
from tutor.tui.widgets.keybed import Keybed
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.pitch_meter import PitchMeter
from tutor.tui.widgets.score import Score
from tutor.warmup import run as runs
from tutor.warmup.listening import was_sung
from tutor.warmup.run import Run
from tutor.warmup.words import span

_TICK_S = 0.1
_TALL = 34
"""Rows from which the trace of the sung pitch has room."""
_WIDE = 100
"""Columns from which every key stands at the foot."""
_BELOW = 4
"""Semitones below a turn's highest note at which the trace is centred."""
_FEELINGS: tuple[Feeling, ...] = ("easy", "all right", "effortful", "strained")
_SHORT = "A practice aid, not a diagnosis. When it hurts or strains, stop; your teacher or a clinician knows better."


class LedScreen(Stage):
    """Leads a warm-up.

    Args:
        run: where it stands.
        number: its number in the store.
    """

    NAME = "Warm up"
    HELP = (
        "Sing along: the piano gives the chord, then it is your turn, and each time it goes a semitone on. In large "
        "letters stand what you sing and the highest note of this turn; the keyboard marks its notes. The stair shows "
        "how high each turn goes: lit is the turn you sing now; “change” marks where your voice changes register, "
        "“song” the song's high note, “today” the highest note for today.\n\n"
        "Space pauses. r begins this turn again, s goes to the next step, l sings everything a tone lower. With h "
        "the microphone listens after the piano has played and goes on once it heard the turn; it marks nothing and "
        "keeps nothing. Without h it goes by time. When it "
        "strains, press t: the note is remembered, and nothing that high comes again. When it hurts, stop for today "
        "and, if it stays, see a laryngologist or a speech-language pathologist."
    )
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "pause", "pause", key_display="Space", tooltip="begin; pause; go on"),
        Binding("t", "strains", "strains", tooltip="stop the climb, remember the note and stay below it"),
        Binding("l", "lower", "lower", tooltip="everything a tone lower"),
        Binding("r", "again", "again", tooltip="this turn again"),
        Binding("s", "skip", "skip", tooltip="the next step"),
        Binding("n", "next", "next turn", tooltip="the next turn at once, or end a rest"),
        Binding("h", "hands", "listen", tooltip="go on when the microphone heard the turn, or by time again"),
        Binding("c", "cool", "cool down", tooltip="end softly: go to the cool-down"),
        *(Binding(str(n), f"felt({n})", "", show=False) for n in range(1, 5)),
        Binding("escape", "back", "back", key_display="Esc", tooltip="leave; the warm-up waits here"),
    ]

    def __init__(self, run: Run, number: int) -> None:
        super().__init__()
        self.led = run
        self._number = number
        self._sounding: tuple[object, ...] | None = None
        self._at: datetime | None = None
        self._feeling_asked = False
        self._told = False
        self._unstrained: tuple[Run, SingerProfile] | None = None
        self._ear: OpenEar | None = None

    def content(self) -> Iterable[Widget]:
        """Step, instruction, music, stair."""
        yield Static(id="title", classes="prompt", markup=False)
        with VerticalScroll(classes="page", id="page", can_focus=False):
            yield Static(id="instruction", classes="body", markup=False)
            yield Static(id="because", classes="quiet", markup=False)
            yield Static(id="clock", classes="lamp", markup=False)
            yield BigType(id="big")
            yield Score(id="score")
            yield Keybed(id="keys")
            yield PitchMeter(id="meter")
            yield Climb(id="climb")
            yield Menu(id="menu", title_width=19, classes="hidden gap")

    def ready(self) -> None:
        """Show the first step; Space begins."""
        self.head.context = self.led.plan.title
        self._show()
        self.set_interval(_TICK_S, self._tick)
        first = self.led.state == "ready"
        waiting = "Space begins." if first else "Space goes on."
        self.say(f"{_SHORT} {waiting}" if self.size.width > 130 else waiting)
        self._say_clock(_SHORT if first else "")

    # -- time

    def _tick(self) -> None:
        now = self.studio.clock()
        before, self._at = self._at, now
        if before is None or self.led.state not in ("going", "resting"):
            return
        self._move(runs.tick(self.led, max(0.0, (now - before).total_seconds())))

    def _move(self, run: Run) -> None:
        """Take a new state: sound, screen and store follow."""
        before, self.led = self.led, run
        place = (run.state, run.step, run.repetition, run.lowered)
        if place != (before.state, before.step, before.repetition, before.lowered):
            self._keep()
            self._show()
        self._sound(restart=run.at_s < before.at_s)
        if run.over:
            self._ask_feeling()
        elif run.state in ("going", "resting"):
            self._clock()

    def _sound(self, *, restart: bool) -> None:
        """Let the piano play what is now, once."""
        run = self.led
        wanted = (run.step, run.repetition, run.lowered) if run.state == "going" and run.phrase else None
        if wanted == self._sounding and not (restart and wanted):
            return
        self._sounding = wanted
        if wanted is None:
            self.hush()
            self.query_one(Score).follow(None)
            return
        phrase = run.phrase
        assert phrase is not None
        if self._ear is not None:
            self._ear.sounding = True
        start = run.at_s * phrase.bpm / 60
        self.hear([phrase], follow=self._follow, start_quarters=start if start > 0.25 else 0.0)

    def _follow(self, index: int, at: float | None) -> None:
        self.query_one(Score).follow(at if index >= 0 else None)
        self.query_one(Keybed).now = words.sounding(self.led.phrase, at) if index >= 0 else 0
        if self._ear is not None:
            before, self._ear.sounding = self._ear.sounding, index >= 0
            if before != self._ear.sounding:
                self._arrange()

    def _keep(self, *, finished: bool = False) -> None:
        body, number = runs.run_json(self.led), self._number
        self.work(lambda: self.studio.keep_run(number, body, finished=finished), lambda _none: None)

    # -- showing

    def _show(self) -> None:
        run = self.led
        self.query_one("#title", Static).update(words.title_words(run))
        self.query_one("#instruction", Static).update(words.instruction_words(run))
        self.query_one("#because", Static).update("" if run.state == "strained" or run.down else run.current.because)
        phrase = None if run.state in ("strained", "recording") else run.phrase
        self.query_one(Score).show(Excerpt("", phrase.only("voice")) if phrase else None, clef=words.step_clef(run))
        if phrase is not None:
            self.query_one(PitchMeter).begin(run.top - _BELOW, (run.top,))
            keys, sung = self.query_one(Keybed), [t.midi for t in phrase.tones if t.line == "voice"]
            keys.compass = (min(run.plan.bottom, *sung), max(run.plan.today_top, *sung))
            keys.notes, keys.now = frozenset(sung), 0
        climb = self.query_one(Climb)
        climb.ascent, climb.fifths = runs.ascent(run), phrase.fifths if phrase else 0
        self._arrange()
        steps = range(len(run.plan.steps))
        lamps: list[Lamp] = ["hit" if i < run.step else "now" if i == run.step else "wait" for i in steps]
        self.light(lamps)
        self.refresh_bindings()

    def _arrange(self) -> None:
        """What has room: in a low terminal the words of the first turn give way to large letters."""
        run, rows = self.led, self.app.size.height
        phrase = None if run.state in ("strained", "recording") else run.phrase
        tall, sings = rows >= _TALL, self._ear is not None and not self._ear.sounding and phrase is not None
        known = run.state == "going" and run.repetition > 0 and bool(run.current.keys) and not run.down
        big = self.query_one(BigType)
        big.most = 2 if rows >= 40 else 1
        big.text = "" if run.state in ("ready", "strained", "recording") else words.big_words(run)
        big.display = bool(big.text) and (tall or known or phrase is None)
        for name in ("instruction", "because"):
            self.query_one(f"#{name}").display = tall or not known
        self.query_one(PitchMeter).display = sings and not self._feeling_asked
        keys = tall or (known and not sings and run.current.phase != "approach")
        self.query_one(Keybed).display = phrase is not None and keys
        self.query_one(Climb).display = not self._feeling_asked and (tall or not sings)

    def _clock(self) -> None:
        run = self.led
        told = ""
        if run.state == "resting" or not run.current.phrases:
            told = f"{'Rest' if run.state == 'resting' else 'Take your time'}: {span(run.left_s)} left"
        elif run.waits and run.left_s <= 0:
            told = "Your turn: it goes on once it has heard you."
        self._say_clock(told)
        if not run.current.phrases or run.state == "resting":
            self.query_one(BigType).text = words.big_words(run)

    def _say_clock(self, told: str) -> None:
        clock = self.query_one("#clock", Static)
        clock.update(told)
        clock.display = bool(told)

    # -- the end

    def _ask_feeling(self) -> None:
        if self._feeling_asked:
            return
        self._feeling_asked = True
        if self._ear is not None:
            self._ear.close()
        self._keep(finished=True)
        self.query_one("#title", Static).update("That is the warm-up. How did it feel?")
        for name in ("instruction", "because", "clock"):
            self.query_one(f"#{name}", Static).update("")
        self.query_one(Score).show(None)
        for widget in (BigType, Keybed, PitchMeter, Climb):
            self.query_one(widget).display = False
        menu = self.query_one(Menu)
        menu.remove_class("hidden")
        menu.show([Row(f, f.capitalize(), key=str(i)) for i, f in enumerate(_FEELINGS, 1)])
        menu.focus()
        self.light(["hit"] * len(self.led.plan.steps))
        self.say("")
        self.refresh_bindings()

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Go on after a strain, or keep how it felt."""
        if not self._feeling_asked:
            self._after_strain(message.id)
            return
        self._felt(cast("Feeling", message.id))

    def _felt(self, after: Feeling | None) -> None:
        """Put the warm-up into the diary and go home."""
        self._told = True
        self.work(lambda: diary.keep(self.studio, self.led, after), lambda _none: self.house.go("today"))

    def action_felt(self, number: int) -> None:
        """How it felt, by number."""
        if self._feeling_asked and not self._told:
            self._felt(_FEELINGS[number - 1])

    # -- keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Nothing is led any more at the end; after a strain the menu asks."""
        if action in ("help", "back", "felt"):
            return True
        if self._feeling_asked or self.led.state == "strained":
            return False
        if self.led.state == "recording":
            return action in ("pause", "cool", "skip")
        return action == "pause" or self.led.state != "ready"

    def key_words(self, binding: Binding, named: tuple[str, str]) -> tuple[str, str] | None:
        """Words for the moment; in a narrow terminal the keys that others stand for are left to the help page."""
        return words.foot_words(
            self.led, binding.action, named, listens=self._ear is not None, narrow=self.size.width < _WIDE
        )

    def action_hands(self) -> None:
        """Let the microphone say when a turn was sung, or go by time again."""
        if self._ear is not None:
            self._by_time()
            self.say("It goes by time again.")
            return
        ear = OpenEar(self.studio, live=self._live, phrase=self._listened)
        self._ear = ear
        ear.sounding = self._sounding is not None and self.led.left_s > 0
        self.led = replace(self.led, waits=True)
        self.work(ear.listen, lambda _none: None, failed=self._by_time)
        self.say("Hands-free: first the piano, then you; it goes on once it hears you.")
        self._show()

    def _by_time(self) -> None:
        if self._ear is not None:
            self._ear.close()
        self._ear = None
        self.led = replace(self.led, waits=False)
        self._show()

    def _live(self, points: Sequence[TrackPoint]) -> None:
        self.call_later(self._trace, points)

    def _trace(self, points: Sequence[TrackPoint]) -> None:
        for meter in self.query(PitchMeter):
            meter.feed(points)

    def _listened(self, take: Take) -> None:
        """From the microphone's thread: was it this turn?"""
        run = self.led
        if run.state == "going" and run.phrase is not None and was_sung(run.phrase, take):
            self.call_later(self._sung, (run.step, run.repetition, run.lowered))

    def _sung(self, place: tuple[int, int, int]) -> None:
        run = self.led
        if self._ear is not None and place == (run.step, run.repetition, run.lowered):
            self._ear.forget()
            self.led = runs.heard(run)

    def on_unmount(self) -> None:
        """Leave in silence, with the microphone closed."""
        if self._ear is not None:
            self._ear.close()
        super().on_unmount()

    def action_pause(self) -> None:
        """Begin, pause, or go on."""
        run = self.led
        if run.state == "ready":
            self._say_clock("")
            self._move(runs.begin(run))
            self.say("")
        else:
            self._move(runs.pause(run))
            self.say("Paused. Space goes on." if self.led.state == "paused" else "")

    def action_again(self) -> None:
        """This turn again."""
        self._sounding = None
        self._move(runs.repeat(self.led))

    def action_next(self) -> None:
        """The next turn at once."""
        self._move(runs.next_(self.led))

    def action_skip(self) -> None:
        """The next step."""
        self._move(runs.skip(self.led))

    def action_lower(self) -> None:
        """A tone lower."""
        before = self.led.lowered
        self._move(runs.lower(self.led))
        if self.led.lowered == before:
            self.say("It cannot go lower: the bottom of your range is reached.")

    def action_cool(self) -> None:
        """End softly."""
        self._move(runs.come_down(self.led))

    def action_strains(self) -> None:
        """Stop the climb, remember the note, and ask how to go on."""
        before, self._unstrained = self.led, (self.led, self.studio.singer)
        self._move(runs.strains(before))
        if top := next(iter(self.led.strained[len(before.strained) :]), 0):
            self.work(lambda: self.studio.remember_strain(top), lambda _none: None)
            name = pretty(Pitch.from_midi(top).name)
            self.say(f"{name} is remembered. If it hurts, stop for today.")
        menu = self.query_one(Menu)
        menu.remove_class("hidden")
        menu.show(words.AFTER_STRAIN)
        menu.focus()
        self.call_after_refresh(menu.scroll_visible, animate=False)

    def _after_strain(self, choice: str) -> None:
        self.query_one(Menu).add_class("hidden")
        self.set_focus(None)
        if choice == "slip" and self._unstrained is not None:
            (before, singer), self._unstrained = self._unstrained, None
            self.work(lambda: self.studio.keep_singer(singer), lambda _none: self.say("Forgotten. Space goes on."))
            self._move(runs.pause(before) if before.state != "paused" else before)
            return
        if choice == "stop":
            ask_again(self.studio)
        moves = {"down": runs.go_on, "cool": runs.come_down, "stop": runs.stop}
        self._move(moves[choice](self.led))

    def action_back(self) -> None:
        """Leave; the warm-up waits."""
        if self._feeling_asked:
            if not self._told:
                self._felt(None)
            return
        if self.led.state in ("going", "resting"):
            self._move(runs.pause(self.led))
        super().action_back()
