"""Where the music sounds: the loudspeaker or a MIDI instrument, the built-in piano or a SoundFont."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.errors import plain
from tutor.store.folder import path_of
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row

if TYPE_CHECKING:
    from tutor.studio import Studio

BUILT_IN = "built-in"


def through_words(studio: Studio) -> str:
    """'the loudspeaker', or the instrument's name."""
    instrument = studio.outlets.instrument
    return instrument.name if instrument is not None else studio.outlets.instrument_trouble or "the loudspeaker"


def piano_words(studio: Studio) -> str:
    """'built-in piano', or the SoundFont's name."""
    return studio.sounds_trouble or (studio.sounds.piano.name if studio.has_soundfont else "the built-in piano")


class OutputsScreen(Stage):
    """Two lists: where it plays, and with which piano."""

    NAME = "Where it sounds"
    HELP = (
        "Music is heard through the loudspeaker, or a MIDI instrument plays it: a digital piano or a synthesizer "
        "connected to this machine. When the music stops, the instrument is always silenced.\n\n"
        "A SoundFont is a file of recorded instruments (its name ends in .sf2). One that lies in the system's usual "
        "places is taken by itself; you can name another, or keep the built-in piano. Everything that you hear "
        "through the loudspeaker is then played with it."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "choose", key_display="Enter", tooltip="choose what stands in the light"),
    ]

    def content(self) -> Iterable[Widget]:
        """The list, and a field for a file."""
        yield Static("Where shall it sound?", classes="prompt")
        yield Input(id="file", classes="gap hidden", placeholder="where the .sf2 file lies", select_on_focus=False)
        yield VerticalScroll(Menu(id="menu", title_width=34), classes="page gap", can_focus=False)

    def ready(self) -> None:
        """Look what there is, and fill the list."""
        self._instruments: tuple[str, ...] = ()
        self._fonts: tuple[Path, ...] = ()
        self._speakers: tuple[str, ...] = ()
        self._show()
        self.work(self.studio.speakers, self._heard_of)
        self.work(self.studio.outputs, self._found)

    def _found(self, found: tuple[tuple[str, ...], tuple[Path, ...]]) -> None:
        self._instruments, self._fonts = found
        self._show()

    def _heard_of(self, speakers: tuple[str, ...]) -> None:
        self._speakers = speakers
        self._show()

    def _show(self) -> None:
        store = self.studio.store
        output = store.setting("output")
        speakers = [*self._speakers, *(n for n in [output] if n and n not in self._speakers)]
        wanted, font = store.setting("instrument"), store.setting("soundfont")
        named = [n for n in [wanted] if n and n not in self._instruments]
        rows = [
            Row("", "What plays", heading=True),
            Row("speaker", "The loudspeaker", _chosen(not wanted and not output)),
            *(Row(f"out:{n}", plain(n), _chosen(n == output and not wanted) or "a loudspeaker") for n in speakers),
            *(Row(f"midi:{n}", plain(n), _chosen(n == wanted) or "a MIDI instrument") for n in self._instruments),
            *(Row(f"midi:{n}", plain(n), self.studio.outlets.instrument_trouble or "chosen") for n in named),
            Row("", "The piano's sound", heading=True),
            Row("font:", "A SoundFont, if one is found", _chosen(not font)),
            Row(f"font:{BUILT_IN}", "The built-in piano", _chosen(font == BUILT_IN)),
            *(Row(f"font:{p}", plain(p.name), _chosen(str(p) == font) or "a SoundFont") for p in self._fonts),
        ]
        if font not in ("", BUILT_IN, *map(str, self._fonts)):
            rows.append(Row(f"font:{font}", plain(Path(font).name), self.studio.sounds_trouble or "chosen"))
        rows.append(Row("file", "Another file", "type where it lies"))
        menu = self.query_one(Menu)
        menu.show(rows, menu.current.id if menu.current and menu.current.id else 0)

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Choose."""
        kind, _, name = message.id.partition(":")
        if kind == "file":
            field = self.query_one(Input)
            field.remove_class("hidden")
            field.focus()
        elif kind == "font":
            self._take_font(name)
        elif kind in ("speaker", "out") and name != self.studio.store.setting("output"):
            self._take_speaker(name)
        else:
            instrument = name if kind == "midi" else ""
            self.hush()
            self.say("One moment.")
            self.work(lambda: self.studio.choose_instrument(instrument), lambda _none: self._told("instrument"))

    def _take_speaker(self, name: str) -> None:
        self.hush()
        self.say("One moment.")
        self.studio.store.keep_setting("output", name)
        self.studio.store.keep_setting("instrument", "")
        self.work(self.studio.open_devices, lambda _none: self._opened(name))

    def _opened(self, name: str) -> None:
        trouble = self.studio.trouble
        self.say(trouble or f"From now on: {plain(name) or 'the system’s own loudspeaker'}.", bad=bool(trouble))
        self._show()

    def _take_font(self, name: str) -> None:
        self.say("One moment: a SoundFont may be large.")
        self.work(lambda: self.studio.choose_soundfont(name), lambda _none: self._told("soundfont"))

    def _told(self, what: str) -> None:
        trouble = self.studio.outlets.instrument_trouble if what == "instrument" else self.studio.sounds_trouble
        words = through_words(self.studio) if what == "instrument" else piano_words(self.studio)
        self.say(trouble or f"From now on: {words}.", bad=bool(trouble))
        self._show()

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Another SoundFont."""
        path = message.value.strip()
        self._close_field()
        if path:
            self._take_font(str(path_of(path)))

    def _close_field(self) -> None:
        self.query_one(Input).add_class("hidden")
        self.query_one(Menu).focus()

    def action_back(self) -> None:
        """Out of the field, or out of the screen."""
        if self.query_one(Input).has_focus:
            self._close_field()
        else:
            super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""


def _chosen(so: bool) -> str:
    return "chosen" if so else ""
