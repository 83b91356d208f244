"""Setup: who sings, what is heard, how it looks. Every change holds at once and can be undone."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar, cast, get_args

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.errors import plain
from tutor.music.pitch import Pitch, pretty
from tutor.music.voice import SingerProfile, VoiceType
from tutor.tui.look import LayoutName, Look
from tutor.tui.screens.microphone import microphone_words
from tutor.tui.screens.outputs import piano_words, through_words
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.piano import LETTERS

if TYPE_CHECKING:
    from tutor.music.phrase import Phrase


def check_phrase() -> Phrase:
    """A rising chord and its close: the sound check."""
    from tutor.music.phrase import Phrase

    return Phrase.parse("C4:.5 E4:.5 G4:.5 C5:.5 C4+E4+G4+C5:2", bpm=92, line="upper")


def voice_row(singer: SingerProfile) -> str:
    """'baritone, A2 to F4'."""
    low, high = (pretty(Pitch.from_midi(m).name) for m in (singer.low_midi, singer.high_midi))
    return f"{singer.voice}, comfortable from {low} to {high}"


def _through(name: str) -> str:
    """Where the sound goes; 'no sound' is the tape's name."""
    return "switched off" if name == "no sound" else f"through {name}"


def letters_words(name: LayoutName) -> str:
    """'QWERTY keyboard: a s d f are C D E F'."""
    letters = LETTERS[name]
    return f"{name.upper()} keyboard: {' '.join(letters.white[:4])} are C D E F"


def pictures_words(look: Look, shown: bool) -> str:
    """Whether staves are pictures."""
    if not look.pictures:
        return "off: staves are drawn in characters"
    return "on" if shown else "on, but this terminal shows none: characters"


def measured_words(singer: SingerProfile) -> str:
    """When the range was measured."""
    day = singer.measured_on
    return f"measured on {day.day} {day:%B %Y}" if day else "typical of the voice type; not measured yet"


class SetupScreen(Stage):
    """Names, voice, sound, look."""

    NAME = "Setup"
    HELP = (
        "Choose a line with the arrow keys and press Enter to change it. The voice type sets the usual range of that "
        "voice; correct the lowest and highest note if yours differ: they should be notes that you sing with ease, "
        "not the last ones you can reach.\n\n"
        "The sound check plays five notes. When nothing is heard, the line below says why; everything that can be "
        "seen rather than heard works all the same.\n\n"
        "Staves are drawn in characters. Where the terminal can show pictures (by the sixel or kitty protocol, and "
        "not inside tmux) they can be engraved instead; that needs two more packages: "
        "pip install 'larkstair[pictures]'.\n\n"
        "Where you play notes on the letters of the keyboard, the home row is the white keys; say here how your "
        "letters lie."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "change", key_display="Enter", tooltip="change what stands in the light"),
        Binding("left", "nudge(-1)", "less, more", key_display="← →", tooltip="a semitone down or up; another voice"),
        Binding("right", "nudge(1)", "", show=False),
        Binding("u", "undo", "undo", tooltip="take the last change back"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._undo: list[Callable[[], None]] = []
        self._singer = ""

    def content(self) -> Iterable[Widget]:
        """A list of settings, and a field for the name."""
        yield Static("How shall it be?", classes="prompt")
        yield Input(id="name", classes="gap hidden", max_length=40)
        yield VerticalScroll(Menu(id="menu", title_width=24), classes="page gap", can_focus=False)
        yield Static(id="hearing", classes="quiet hidden", markup=False)

    def ready(self) -> None:
        """Fill the list."""
        self._show()

    def on_screen_resume(self) -> None:
        """Another singer may have been chosen: what was changed for the one before cannot be taken back here."""
        if self.is_mounted and self.house.has_studio:
            if self._singer and self.studio.singer.name != self._singer:
                self._undo.clear()
            self._show()

    def _show(self) -> None:
        singer, look, outlets = self.studio.singer, self.house.look, self.studio.outlets
        self._singer = singer.name
        keys = outlets.keys.name if outlets.keys else outlets.keys_trouble or "none found"
        low, high = (pretty(Pitch.from_midi(m).name) for m in (singer.low_midi, singer.high_midi))
        menu = self.query_one(Menu)
        rows = [
            Row("", "Who sings", heading=True),
            Row("name", "Name", singer.name),
            Row("voice", "Voice", singer.voice),
            Row("low", "Lowest easy note", low),
            Row("high", "Highest easy note", high),
            Row("singers", "Another singer", "choose, add, rename or forget"),
            Row("range", "Measure your range", measured_words(singer)),
            Row("", "What is heard", heading=True),
            Row("sound", "Sound check", outlets.player_trouble or _through(outlets.player.name)),
            Row("through", "Plays on", through_words(self.studio)),
            Row("piano", "Piano sound", piano_words(self.studio)),
            Row("microphone", "Microphone", microphone_words(self.studio)),
            Row("devices", "Look for devices again", f"music keyboard: {keys}"),
            Row("", "How it looks", heading=True),
            Row("theme", "Light", "night: a dark house" if look.theme == "night" else "day: on paper"),
            Row("staff", "Staff", "large" if look.large else "compact"),
            Row("pictures", "Engraved pictures", pictures_words(look, self.house.engraver is not None)),
            Row("signs", "Signs", "ASCII only" if look.ascii else "♯ ♭ ♮ ● ○ (if any is missing, choose ASCII)"),
            Row("letters", "Letters as piano keys", letters_words(look.letters)),
            Row("", "What is kept", heading=True),
            Row("stored", "What is stored", "where it lies, and how to delete it"),
        ]
        menu.show(rows, menu.current.id if menu.current and menu.current.id else 0)

    def on_menu_pointed(self, message: Menu.Pointed) -> None:
        """The caution about hearing stands below while the sound check is in the light."""
        from tutor.sound.calibrate import HEARING

        hearing = self.query_one("#hearing", Static)
        hearing.update(HEARING)
        hearing.set_class(message.id != "sound", "hidden")

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Change a setting."""
        if message.id == "name":
            field = self.query_one(Input)
            field.value = self.studio.singer.name
            field.remove_class("hidden")
            field.focus()
        elif message.id == "singers":
            from tutor.tui.screens.singers import SingersScreen

            self.app.push_screen(SingersScreen())
        elif message.id == "stored":
            from tutor.tui.screens.stored import StoredScreen

            self.app.push_screen(StoredScreen())
        elif message.id == "range":
            from tutor.tui.screens.range import RangeScreen

            self.app.push_screen(RangeScreen())
        elif message.id == "sound":
            self._check_sound()
        elif message.id in ("through", "piano"):
            from tutor.tui.screens.outputs import OutputsScreen

            self.app.push_screen(OutputsScreen())
        elif message.id == "microphone":
            from tutor.tui.screens.microphone import MicrophoneScreen

            self.app.push_screen(MicrophoneScreen())
        elif message.id == "devices":
            self.say("Looking for loudspeakers and keyboards.")
            self.work(self.studio.open_devices, lambda _none: self._found())
        elif message.id in ("theme", "signs", "staff", "letters", "pictures"):
            self._change_look(message.id)
        else:
            self.action_nudge(1)

    def _change_look(self, what: str) -> None:
        """Another look; taking it back brings the whole look as it was."""
        house, before = self.house, self.house.look
        self._remember(lambda: house.set_look(before))
        change = {
            "theme": house.action_toggle_light, "signs": house.action_toggle_signs, "staff": house.action_toggle_size,
            "letters": house.action_next_letters, "pictures": house.action_toggle_pictures,
        }  # fmt: skip
        change[what]()
        self._show()

    def _found(self) -> None:
        self.say(self.studio.trouble or "That is what there is now.", bad=bool(self.studio.trouble))
        self._show()

    def _check_sound(self) -> None:
        if self.studio.trouble:
            self.say(self.studio.trouble, bad=True)
            return
        self.say("You should hear five notes going up, then a chord.")
        self.hear([check_phrase()])

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Another name."""
        before, name = self.studio.singer.name, plain(message.value)
        if name and name != before:
            from tutor.studio import keeping

            self.work(lambda: keeping.rename(self.studio, before, name), lambda _none: self._renamed(before))
        else:
            self._close_field()

    def _renamed(self, before: str) -> None:
        self._remember(lambda: self.studio.rename_singer(before))
        self._close_field()

    def _close_field(self) -> None:
        self.query_one(Input).add_class("hidden")
        self.query_one(Menu).focus()
        self._show()

    def action_nudge(self, by: int) -> None:
        """A semitone, or another voice."""
        row, singer = self.query_one(Menu).current, self.studio.singer
        if row is None or row.id not in ("voice", "low", "high"):
            return
        self._remember(lambda: self.studio.keep_singer(singer))
        if row.id == "voice":
            voices = get_args(VoiceType)
            self.studio.set_voice(cast(VoiceType, voices[(voices.index(singer.voice) + by) % len(voices)]))
        elif row.id == "low":
            self.studio.keep_singer(replace(singer, low_midi=max(28, min(singer.low_midi + by, singer.high_midi - 7))))
        else:
            self.studio.keep_singer(replace(singer, high_midi=min(96, max(singer.high_midi + by, singer.low_midi + 7))))
        self._show()

    def _remember(self, back: Callable[[], None]) -> None:
        self._undo.append(back)

    def action_undo(self) -> None:
        """Take the last change back."""
        if self._undo:
            self._undo.pop()()
            self.say("Taken back.")
            self._show()
        else:
            self.say("Nothing was changed.")

    def action_back(self) -> None:
        """Out of the field, or out of the screen."""
        if self.query_one(Input).has_focus:
            self._close_field()
        else:
            super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
