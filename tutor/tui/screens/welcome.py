"""The first visit: the voice, a sound check, a start, then the first question."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar, Literal, cast, get_args

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.music.pitch import Pitch, pretty
from tutor.music.voice import SingerProfile, VoiceType
from tutor.practice.drill import Song
from tutor.tui.screens.placement import MINUTES, place
from tutor.tui.screens.setup import check_phrase
from tutor.tui.stage import Stage
from tutor.tui.widgets.frame import Lamp
from tutor.tui.widgets.menu import Menu, Row

Step = Literal["voice", "sound", "start", "song"]
_STEPS: tuple[Step, ...] = ("voice", "sound", "start", "song")


class WelcomeScreen(Stage):
    """Four steps to the first question."""

    NAME = "Welcome"
    HELP = (
        "Four short steps: which voice you are, whether you hear the program, where you stand (about five minutes, or "
        "skip it), and a song to begin with. Voice and sound can be changed later in Setup; the start can be found "
        "again under Practise."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "choose", key_display="Enter", tooltip="choose what stands in the light"),
        Binding("space", "sound", "hear again", key_display="Space", tooltip="play the sound check again"),
        Binding("escape", "back", "back", key_display="Esc", tooltip="a step back"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.step: Step = "voice"

    def content(self) -> Iterable[Widget]:
        """A question and its answers."""
        yield Static(id="prompt", classes="prompt")
        yield Static(id="about", classes="quiet")
        yield VerticalScroll(Menu(id="menu", title_width=24), classes="page gap", can_focus=False)

    def ready(self) -> None:
        """The first step."""
        self._show()

    def _show(self) -> None:
        prompt, about = self.query_one("#prompt", Static), self.query_one("#about", Static)
        if self.step == "voice":
            prompt.update("Which voice are you?")
            about.update("It sets the range in which you are asked to sing. Choose the nearest; Setup can refine it.")
            rows = [Row(v, v.capitalize(), _range(v)) for v in get_args(VoiceType)]
        elif self.step == "sound":
            prompt.update("Do you hear five notes and a chord?")
            from tutor.sound.calibrate import HEARING

            about.update(f"{self.studio.trouble or 'Turn the volume to a quiet, comfortable level.'}\n\n{HEARING}")
            rows = [
                Row("yes", "Yes", "go on"),
                Row("again", "Play it again"),
                Row("no", "No", "go on without sound; the music is then shown on the staff"),
            ]
        elif self.step == "start":
            prompt.update("Shall we find where you stand?")
            about.update("Twenty quick questions, so that practice begins neither too easy nor too hard.")
            rows = [
                Row("find", "Yes", MINUTES),
                Row("skip", "Skip it", "begin with the easiest; the level follows your answers"),
            ]
        else:
            prompt.update("Which song shall we begin with?")
            about.update("These are bundled. Your own scores can be opened at any time under Songs.")
            rows = [Row(c.path, c.title, c.blurb) for c in self.studio.songs()]
            rows.append(Row("range", "Measure your range first", "three minutes, with a rested voice"))
            rows.append(Row("", "No song yet", "fresh music made on the spot"))
        self.query_one(Menu).show(rows)
        done = _STEPS.index(self.step)
        lamps: list[Lamp] = ["hit" if i < done else "now" if i == done else "wait" for i in range(len(_STEPS))]
        self.light(lamps)
        self.refresh_bindings()

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """A step on."""
        if self.step == "voice":
            voice = cast(VoiceType, message.id)
            self.work(lambda: self.studio.set_voice(voice), lambda _profile: self._to_sound())
        elif self.step == "sound":
            if message.id == "again":
                self.action_sound()
                return
            if message.id == "no":
                self.say(self.studio.trouble or "Setup can look for loudspeakers again.")
            self.step = "start"
            self._show()
        elif self.step == "start":
            if message.id == "find":
                place(self, self._to_song)
            else:
                self._to_song()
        elif message.id == "range":
            from tutor.tui.screens.range import RangeScreen

            self.app.push_screen(RangeScreen())
        elif message.id:
            from tutor.tui.screens.opening import OpeningScreen

            self.app.push_screen(OpeningScreen(message.id, then=self._first_questions))
        else:
            self._begin(())

    def _to_sound(self) -> None:
        self.step = "sound"
        self._show()
        self.action_sound()

    def _to_song(self) -> None:
        self.step = "song"
        self._show()

    def _first_questions(self, song: Song) -> None:
        self._begin((song.id,))

    def _begin(self, songs: tuple[str, ...]) -> None:
        from tutor.tui.screens.begin import begin

        begin(self, songs=songs, replace_screen=True)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """The sound check has its key only in its step."""
        return self.step == "sound" if action == "sound" else True

    def action_sound(self) -> None:
        """Play the sound check."""
        if self.studio.trouble:
            self.say(self.studio.trouble, bad=True)
        else:
            self.hear([check_phrase()])

    def action_back(self) -> None:
        """A step back."""
        if self.step == "voice":
            super().action_back()
        else:
            self.step = _STEPS[_STEPS.index(self.step) - 1]
            self._show()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""


def _range(voice: VoiceType) -> str:
    profile = SingerProfile.default("", voice)
    low, high = (pretty(Pitch.from_midi(m).name) for m in (profile.low_midi, profile.high_midi))
    return f"about {low} to {high}"
