"""The app: opens the studio behind the first paint, carries the look, and goes from screen to screen."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, get_args

from textual import events
from textual.app import SuspendNotSupported, SystemCommand
from textual.binding import Binding, BindingType
from textual.message import Message
from textual.screen import Screen
from textual.theme import Theme

from tutor.errors import TutorError
from tutor.tui.in_turn import InTurnApp
from tutor.tui.look import FEW, PALETTES, LayoutName, Look, Palette, ThemeName, variables
from tutor.tui.plain import PlainSigns
from tutor.tui.screens.today import TodayScreen
from tutor.tui.stage import Stage

if TYPE_CHECKING:
    from tutor.sound.ports import KeyEvent
    from tutor.studio import Studio
    from tutor.tui.pictures.engraver import Engraver


def theme_of(name: str, palette: Palette) -> Theme:
    """A palette as a theme."""
    return Theme(
        name=f"larkstair-{name}", primary=palette.lamp, secondary=palette.cool, accent=palette.lamp,
        foreground=palette.body, background=palette.house, surface=palette.wing, panel=palette.pool,
        success=palette.hit, warning=palette.lamp, error=palette.miss, dark=name == "night",
        variables=variables(palette),
    )  # fmt: skip


class KeyHeard(Message):
    """A key of the music keyboard was pressed or released."""

    def __init__(self, event: KeyEvent) -> None:
        super().__init__()
        self.event = event


class LarkstairApp(InTurnApp[None]):
    """The program in the terminal.

    Args:
        studio: the studio, or what opens it; an opener runs behind the first paint.
        song: a song to open at once: a path, or the name of a bundled song.
        look_file: where theme and signs are remembered for the first paint, beside the store's own memory.
        assignment: a teacher's assignment to open at once.
    """

    TITLE = "Larkstair"
    CSS_PATH = "tutor.tcss"
    ENABLE_COMMAND_PALETTE = True
    COMMAND_PALETTE_BINDING = "ctrl+p"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+q", "quit", "Leave", show=False, priority=True, tooltip="leave Larkstair"),
    ]

    def __init__(
        self, studio: Studio | Callable[[], Studio], *, song: str | None = None, look_file: Path | None = None,
        assignment: Path | None = None,
    ) -> None:  # fmt: skip
        # Collecting garbage while the first screen is built costs a tenth of the time to the first paint.
        gc.disable()
        super().__init__()
        self.look_file = look_file
        kept = "" if callable(studio) else studio.store.setting("look")
        self.look = Look.read(kept) if kept else Look.load(look_file)
        self._paint_with(PALETTES)
        self.theme = f"larkstair-{self.look.theme}"
        self._plain = PlainSigns(enabled=self.look.ascii)
        self._filters.append(self._plain)
        self._opener = studio if callable(studio) else None
        self._studio: Studio | None = None if callable(studio) else studio
        self._song = song
        self._assignment = assignment
        self.strict = False
        """True raises faults of the program instead of telling them in one line (tests)."""
        self.failure: TutorError | None = None
        """Why the program had to end; None when all is well."""
        self._engraver: Engraver | None = None

    def run(self, *args: Any, **more: Any) -> Any:
        """Run; a terminal that is to show pictures is asked before anything else reads its answers."""
        if self.console.color_system == "standard" and not more.get("headless"):
            self._paint_with(FEW)
        if self.look.pictures:
            self.look_for_pictures()
        result: Any = super().run(*args, **more)
        if self.engraver is not None and sys.__stderr__ is not None:
            sys.__stderr__.write(self.engraver.farewell())
            sys.__stderr__.flush()
        return result

    def _paint_with(self, palettes: Mapping[ThemeName, Palette]) -> None:
        for name, palette in palettes.items():
            self.register_theme(theme_of(name, palette))

    def look_for_pictures(self) -> str:
        """Ask the terminal whether it shows pictures; only while the screen is not up.

        Returns:
            Why staves stay in characters, in words; empty when they become pictures.
        """
        from tutor.score import raster
        from tutor.tui.pictures import detect

        self._engraver = None
        if not raster.available():
            return f"pictures need two more packages. {raster.REMEDY}"
        if detect.multiplexed(os.environ):
            return detect.MULTIPLEXED
        # In a browser there is no terminal to be asked but the one in which the server was started.
        ability = detect.ask() if not os.environ.get("TEXTUAL_DRIVER") else None
        if ability is None or (ability.kind == "kitty" and self.console.color_system != "truecolor"):
            return detect.UNABLE
        from tutor.tui.pictures.engraver import Engraver

        self._engraver = Engraver(ability)
        return ""

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Our own colour names, for every theme."""
        return variables(PALETTES["night"])

    def get_default_screen(self) -> Screen[None]:
        """The first screen, without a detour over a blank one."""
        return TodayScreen()

    @property
    def engraver(self) -> Engraver | None:
        """Makes pictures of staves; None where they are not wanted, or the terminal shows none."""
        return self._engraver if self.look.pictures else None

    @property
    def has_studio(self) -> bool:
        """True once the studio is open."""
        return self._studio is not None

    @property
    def studio(self) -> Studio:
        """The studio.

        Raises:
            RuntimeError: it is not open yet.
        """
        if self._studio is None:
            raise RuntimeError("the studio is not open yet")
        return self._studio

    def on_ready(self) -> None:
        """After the first paint: open the studio, then the devices."""
        self.call_after_refresh(self._painted)

    def _painted(self) -> None:
        gc.enable()
        if self._studio is None:
            self.run_worker(self._open_studio, thread=True, group="studio", exit_on_error=False)
        else:
            self._opened()

    def _open_studio(self) -> None:
        assert self._opener is not None
        try:
            self._studio = self._opener()
        except TutorError as error:
            self.failure = error
            self.call_from_thread(self.exit, None, 2)
            return
        self.call_from_thread(self._opened)

    def _opened(self) -> None:
        for screen in self.screen_stack:
            if isinstance(screen, Stage) and screen.is_mounted and self._opener is not None:
                screen.ready()
        notice = self.studio.store.notice
        if notice and isinstance(self.screen, Stage):
            self.screen.say(notice)
        self.run_worker(self._open_devices, thread=True, group="devices", exit_on_error=False)
        if self._song:
            song, self._song = self._song, None
            self.open_song(song)
        elif self._assignment is not None:
            from tutor.tui.screens.assignment import AssignmentScreen

            path, self._assignment = self._assignment, None
            self.push_screen(AssignmentScreen(path))

    def _open_devices(self) -> None:
        self.studio.open_devices()
        keys = self.studio.outlets.keys
        if keys is not None:
            keys.listen(self._key)
        self.call_from_thread(self._devices_open)

    def _key(self, event: KeyEvent) -> None:
        self.post_message(KeyHeard(event))

    def _devices_open(self) -> None:
        if self.studio.trouble and isinstance(self.screen, Stage) and not self.screen.foot.notice:
            self.screen.say(self.studio.trouble, bad=True)

    def key_comes(self, event: events.Key) -> bool:
        """Let the screen see a key before it goes to what has the focus: it may move the focus first."""
        screen = self.screen
        return isinstance(screen, Stage) and screen.key_comes(event)

    def on_key_heard(self, message: KeyHeard) -> None:
        """Hand a key of the music keyboard to the screen that listens."""
        heard = getattr(self.screen, "key_heard", None)
        if heard is not None:
            heard(message.event)

    # -- going places

    def open_song(self, source: str) -> None:
        """Open a song and show it."""
        from tutor.tui.screens.opening import OpeningScreen

        self.push_screen(OpeningScreen(source))

    def go(self, name: str) -> None:
        """Go to a screen by name, on top of the first one."""
        from tutor.tui.screens import names

        screen = names.make(name)
        while len(self.screen_stack) > 1:
            self.pop_screen()
        if screen is not None:
            self.push_screen(screen)

    def action_go(self, name: str) -> None:
        """The same, for keys and commands."""
        self.go(name)

    def set_look(self, look: Look) -> None:
        """Change theme and signs, and remember them."""
        self.look = look
        self._plain.enabled = look.ascii
        look.save(self.look_file)
        if self._studio is not None:
            self._studio.store.keep_setting("look", look.dumps())
        self.theme = f"larkstair-{look.theme}"
        for screen in self.screen_stack:
            screen.refresh(layout=True, recompose=False)
            for widget in screen.query("*"):
                widget.refresh(layout=True)

    def action_toggle_light(self) -> None:
        """Night or day."""
        self.set_look(replace(self.look, theme="day" if self.look.theme == "night" else "night"))

    def action_toggle_signs(self) -> None:
        """Plain ASCII signs, or the full set."""
        self.set_look(replace(self.look, ascii=not self.look.ascii))

    def action_toggle_size(self) -> None:
        """Large staves, or compact ones."""
        self.set_look(replace(self.look, large=not self.look.large))

    def action_toggle_pictures(self) -> None:
        """Engraved pictures of staves where the terminal shows pictures, or characters."""
        trouble = ""
        if not self.look.pictures:
            try:
                with self.suspend():
                    trouble = self.look_for_pictures()
            except SuspendNotSupported:
                trouble = "this terminal cannot be asked for pictures"
        self.set_look(replace(self.look, pictures=not self.look.pictures and not trouble))
        if trouble and isinstance(self.screen, Stage):
            self.screen.say(f"Staves stay in characters: {trouble}.", bad=True)

    def action_next_letters(self) -> None:
        """Another order of the letters on the keyboard."""
        names = get_args(LayoutName)
        self.set_look(replace(self.look, letters=names[(names.index(self.look.letters) + 1) % len(names)]))

    def action_command_palette(self) -> None:
        """Open the command palette."""
        from tutor.tui.palette import Palette

        if self.screen.id != "--command-palette":
            self.push_screen(Palette(id="--command-palette"))

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """What the command palette offers: every screen by name, the look, help and leaving."""
        from tutor.tui.screens import names

        if self.has_studio:
            for name, (title, about) in names.TITLES.items():
                yield SystemCommand(title, about, lambda name=name: self.go(name))
        if isinstance(screen, Stage):
            yield SystemCommand("Help", "What this screen is for, and its keys", screen.action_help)
        yield SystemCommand("Day or night", "Change between the two themes", self.action_toggle_light)
        yield SystemCommand("Staff size", "Large or compact staves", self.action_toggle_size)
        yield SystemCommand("Plain signs", "ASCII only, for fonts that lack ♯ ♭ ♮ ●", self.action_toggle_signs)
        yield SystemCommand("Leave", "End Larkstair; everything is kept", self.action_quit)
