"""A warm-up: which song, how the voice feels, how many minutes; then the plan, with its reasons."""

from __future__ import annotations

from functools import reduce
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Literal, cast, get_args

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import Input, Static

from tutor.music.voice import Condition, VoiceType
from tutor.studio import diary
from tutor.tui.planview import beyond_text, plan_text, rest_text
from tutor.tui.screens.left_open import ask_about_run
from tutor.tui.screens.page_screen import PageScreen
from tutor.tui.screens.sound_file import file_name
from tutor.tui.screens.wishes import Wish, first_wish
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.path_field import PathField
from tutor.tui.widgets.told import Told
from tutor.warmup.words import count, moved

if TYPE_CHECKING:
    from tutor.practice.drill import Song
    from tutor.warmup.model import Given, Plan
    from tutor.warmup.run import Run

Asking = Literal["song", "condition", "minutes", "plan", "refused"]


class WarmupScreen(PageScreen):
    """Plans a warm-up.

    Args:
        song: the song to warm up for; asked for if not given.
        source: path or bundled name of a song that is not open yet.
        resume: True takes up the run that was left.
    """

    NAME = "Warm up"
    HELP = (
        "Say which song you will sing, how the voice feels and how many minutes you have; ← and → change the minutes, "
        "when you record, when you last sang, and whether the plan may go above your easy top. The plan climbs step "
        "by step to the song's high note and comes down again; each step says why it is there. w writes it: a page "
        "to print (.html), text (.md), or the whole led warm-up to hear on a phone (.ogg, .wav, .mid); W writes one "
        "exercise alone.\n\n"
        "This is a practice aid, not a diagnosis. When anything hurts or strains, stop. Hoarseness for more than two "
        "or three weeks, or pain, belongs before a laryngologist or a speech-language pathologist; your voice teacher "
        "knows better than this program."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "go_on", "choose", key_display="Enter", tooltip="choose; begin the warm-up"),
        Binding(
            "left", "wish(-1)", "change", key_display="← →", tooltip="change minutes, recording, last singing, top"
        ),
        Binding("right", "wish(1)", "", show=False),
        Binding("minus", "shift(-1)", "lower key", key_display="-", tooltip="plan for the song a semitone lower"),
        Binding("plus", "shift(1)", "higher key", key_display="+", tooltip="plan for the song a semitone higher"),
        Binding("w", "write", "write", tooltip="write the plan: a page, text, MIDI, or the whole led warm-up as sound"),
        Binding("W", "write_one", "write one", tooltip="write one exercise of the plan as sound or MIDI"),
        Binding("a", "agenda", "agenda", tooltip="the hours before the recording, also as a calendar file"),
        Binding("d", "diary", "diary", tooltip="how much you sang, week by week, and how the voice felt"),
        Binding("escape", "back", "back", key_display="Esc", tooltip="a step back"),
    ]

    def __init__(self, song: Song | None = None, *, source: str = "", resume: bool = False) -> None:
        super().__init__()
        self._song = song
        self._given_song = song is not None or bool(source)
        self._left: tuple[Run, int] | None = None
        self._source = source
        self._resume = resume
        self.asking: Asking = "condition" if song else "song"
        self._condition: Condition = "fresh"
        self._minutes = 10.0
        self._wish: Wish | None = None
        self._transpose = 0
        self.given: Given | None = None

    def ready(self) -> None:
        """Ask what is not known yet, or take up the run that was left."""
        if self._resume:
            self._take_up()
        elif self._source and self._song is None:
            self._open(self._source)
        else:
            self._ask()

    def _take_up(self) -> None:
        def then(left: tuple[Run, int] | None) -> None:
            if left is None:
                self.say("That warm-up cannot be taken up any more. Plan a new one.", bad=True)
                self._ask()
            else:
                self._left = left
                self._take_up_today()

        self.work(lambda: diary.left(self.studio), then)

    def _take_up_today(self) -> None:
        """A run from another day, or one after a mark, first asks how the voice is now."""
        from tutor.tui.screens.gate import asked_today

        assert self._left is not None
        if asked_today(self.studio):
            self._run(*self._left)
        else:
            self._gate()

    def _go_on_with(self, run: Run, number: int) -> None:
        order = get_args(Condition)
        if order.index(self._condition) <= order.index(run.plan.condition):
            self._run(run, number)
            return
        self.work(lambda: diary.put_aside(self.studio), lambda _none: None)
        self._left = None
        words = f"That warm-up was planned for a voice that is {run.plan.condition}"
        if self.asking == "plan":
            self.say(f"{words}. This one is for today.")
            return
        self.asking = "song"
        self._ask()
        self.say(f"{words}. Plan one for today.")

    # -- asking

    def _ask(self) -> None:
        menu, prompt = self.query_one(Menu), self.query_one("#prompt", Static)
        self.query_one("#text").add_class("hidden")
        menu.display = True
        self.head.context = self._song.title if self._song else ""
        if self.asking == "song":
            prompt.update("Which song will you sing?")
            cards = self.studio.songs()
            menu.show([Row(f"song:{c.path}", c.title, c.composer if not c.bundled else c.blurb) for c in cards])
        elif self.asking == "condition":
            self._gate()
            return
        else:
            prompt.update("How many minutes do you have?")
            self._wish = self._wish or first_wish(diary.days_since(self.studio), self._asked_voice())
            menu.show(self._wish.rows(), "min:1")
        menu.focus()
        self.light([])
        self.refresh_bindings()

    def _gate(self) -> None:
        """Ask for signs that belong to a doctor and how the voice feels, before anything is planned."""
        from tutor.tui.screens.gate import GateScreen

        self.query_one("#prompt", Static).update("")
        self.query_one(Menu).display = False
        title = self._song.title if self._song else ""
        self.app.push_screen(GateScreen(self._felt, self._not_felt, context=title))

    def _felt(self, condition: Condition) -> None:
        self._condition = condition
        if self._left is not None:
            self._go_on_with(*self._left)
            return
        self.asking = "minutes"
        self._ask()

    def _not_felt(self) -> None:
        """The singer went back without saying how the voice feels."""
        if self._left is not None or self._given_song:
            super().step_back()
        else:
            self.asking = "song"
            self._ask()

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """One answer."""
        kind, _, value = message.id.partition(":")
        if kind == "song":
            self._open(value)
        elif kind == "min" and self._wish is not None:
            self._minutes = float(self._wish.minutes[int(value)])
            self._plan()
        elif kind == "ask":
            self.action_wish(1)
        elif kind == "key":
            self._transpose = int(value)
            self._plan()
        elif kind == "today":
            self.house.go("today")

    def _open(self, source: str) -> None:
        from tutor.tui.screens.opening import OpeningScreen

        self.app.push_screen(OpeningScreen(source, then=self._opened))

    def _opened(self, song: Song) -> None:
        self._song, self.asking = song, "condition"
        self._ask()

    def _asked_voice(self) -> VoiceType | None:
        return self.studio.singer.voice if self.studio.newcomer else None

    def _plan(self) -> None:
        song, wish = self._song, self._wish or Wish()
        assert song is not None

        def make() -> Given:
            if wish.tells_voice is not None and self.studio.newcomer:
                self.studio.set_voice(wish.tells_voice)
            return self.studio.warmup(
                song, minutes=self._minutes, condition=self._condition, transpose=self._transpose,
                until_recording_min=wish.until_recording_min, days_since_singing=wish.days_since_singing,
                margin_semitones=wish.margin_semitones,
            )  # fmt: skip

        self.work(make, self._planned)

    # -- the plan

    def _planned(self, given: Given) -> None:
        from tutor.warmup.model import BeyondVoice, Plan, RestAdvice
        from tutor.warmup.text import headline

        self.given = given
        text, menu, prompt = self.query_one("#text", Told), self.query_one(Menu), self.query_one("#prompt", Static)
        text.remove_class("hidden")
        menu.display = False
        if isinstance(given, Plan):
            self.asking = "plan"
            prompt.update(headline(given))
            text.tell(lambda theme: plan_text(given, theme))
            self.light(["wait"] * len(given.steps))
            self.query_one("#page").focus()
        elif isinstance(given, RestAdvice):
            self.asking = "refused"
            prompt.update(given.title)
            text.tell(lambda theme: rest_text(given, theme))
            menu.display = True
            menu.show([Row("today:", "Back to today")])
            menu.focus()
        elif isinstance(given, BeyondVoice):
            self.asking = "refused"
            prompt.update(f"{given.title}: beyond this voice as it is written; keys that fit stand below")
            text.tell(lambda theme: beyond_text(given, theme))
            menu.display = True
            rows = [Row(f"key:{k.semitones}", f"{k.key or k.interval}, {k.interval}", k.words) for k in given.keys[:5]]
            menu.show([*rows, Row("today:", "Back to today")])
            menu.focus()
        page = self.query_one("#page", VerticalScroll)
        page.scroll_home(animate=False)
        # the menu brings its first row into sight after the next refresh: what is the matter is read first
        self.call_after_refresh(lambda: self.set_timer(0.05, lambda: page.scroll_home(animate=False)))
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Other keys only where there is a plan, or something to change."""
        if action in ("shift", "agenda", "write", "write_one"):
            return self.asking == "plan" and not self.writing
        return self.asking == "minutes" if action == "wish" else True

    def key_words(self, binding: Binding, named: tuple[str, str]) -> tuple[str, str] | None:
        """Enter begins where there is a plan."""
        return ("Enter", "begin") if binding.action == "go_on" and self.asking == "plan" else named

    def action_agenda(self) -> None:
        """The hours before the recording."""
        from tutor.tui.screens.agenda import AgendaScreen

        if self.given is not None:
            self.app.push_screen(AgendaScreen(cast("Plan", self.given)))

    def action_diary(self) -> None:
        """How much was sung, and how the voice felt."""
        from tutor.tui.screens.diary import DiaryScreen

        self.app.push_screen(DiaryScreen())

    def action_wish(self, by: int) -> None:
        """Change what stands in the light."""
        menu = self.query_one(Menu)
        if menu.current is not None and self._wish is not None:
            self._wish = self._wish.changed(menu.current.id, by)
            menu.show(self._wish.rows(), menu.current.id)

    def action_shift(self, by: int) -> None:
        """Plan for another key."""
        self._transpose += by
        self.say(f"Planned {moved(self._transpose)}." if self._transpose else "Planned as printed.")
        self._plan()

    # -- writing it

    def action_write_one(self) -> None:
        """Write one exercise in all its keys."""
        from tutor.tui.screens.sound_file import SoundFileScreen, part

        parts = []
        for step in cast("Plan", self.given).steps:
            if step.phrases:
                row = reduce(lambda before, phrase: phrase.after(before), step.phrases)
                parts.append(part(step.title, count(len(step.phrases), "key"), f"warm-up {step.title}", [row]))
        self.app.push_screen(SoundFileScreen(parts, self.head.context))

    def action_write(self) -> None:
        """Ask for the file."""
        words = "Enter writes it: .html or .md to read, .ogg, .wav or .mid to hear. Esc gives it up."
        self.offer(f"~/warm-up-{file_name(self.head.context or 'song')}.html", words)

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Write it."""
        from tutor.studio.exports import named, write_plan

        text, given = self.query_one(PathField).text, self.given
        if given is None:  # it is being planned anew
            return

        def make() -> Path:
            path = named(text, ".html")
            write_plan(given, path, sounds=self.studio.sounds)
            return path

        self.say("Writing it.")
        self.work(make, self.written)

    def action_go_on(self) -> None:
        """Begin the warm-up; where another is still open, ask first."""
        if self.asking == "plan" and self.given is not None:
            ask_about_run(self, self._go_on_with, self._begin)

    def _begin(self) -> None:
        from tutor.warmup.run import run_json, start

        run = start(cast("Plan", self.given))
        self.work(lambda: self.studio.begin_run(run_json(run)), lambda number: self._run(run, number))

    def _run(self, run: Run, number: int) -> None:
        from tutor.tui.screens.led import LedScreen

        self.app.pop_screen()
        self.app.push_screen(LedScreen(run, number))

    def step_back(self) -> None:
        """To the question before, or off this screen."""
        steps: dict[Asking, Asking] = {"condition": "song", "minutes": "condition", "plan": "minutes"}
        if self.asking in steps:
            self.asking = steps[self.asking]
            self._ask()
        else:
            super().step_back()
