"""The songs: open a file, or choose one that is there."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from pathlib import Path
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.errors import plain
from tutor.store.folder import path_of
from tutor.store.records import SongCard
from tutor.studio.shelf import Shelved, open_all, scores_in
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.path_field import PathField
from tutor.warmup.words import count

KINDS = (".musicxml", ".xml", ".mxl", ".mid", ".midi", ".abc", ".krn")
"""Scores that can be read."""
_BEGINS = ("/", "~", ".", "\\", "'", '"')
"""What a path begins with; a path dropped by a file manager may stand in quotes."""


class SongsScreen(Stage):
    """Open a song."""

    NAME = "Songs"
    HELP = (
        "Choose a song from the list, or type the path of a score: MusicXML (.musicxml, .xml, .mxl), MIDI (.mid), ABC "
        "(.abc) or Humdrum (.krn); of a folder, every score in it is read and listed. A path that begins with / ~ or . "
        "can be typed at once, a path can be pasted, and o goes to the field; Tab or the right arrow completes it.\n\n"
        "Opening a score for the first time takes a few seconds; it is kept, so that the next time it opens at once. "
        "Your file is never changed."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "open", key_display="Enter", tooltip="open the song in the light"),
        Binding("o", "path", "open a file", tooltip="type the path of a score"),
        Binding("w", "warm", "warm up", tooltip="a warm-up to this song's high note"),
        Binding("delete", "forget", "take off", key_display="Del",
                tooltip="take the song off the list; the file stays"),
        Binding("u", "undo", "undo", tooltip="put it back"),
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._cards: dict[str, SongCard] = {}
        self._forgotten: SongCard | None = None
        self._reading: threading.Event | None = None

    def content(self) -> Iterable[Widget]:
        """A field for a path, and the list."""
        yield Static("Which song?", classes="prompt")
        yield PathField(KINDS, placeholder="the path of a score: ~/Scores/song.musicxml", id="path", classes="gap")
        yield VerticalScroll(Menu(id="menu", title_width=28, brief=True), classes="page gap", can_focus=False)
        yield Static(id="about", classes="about", markup=False)

    def ready(self) -> None:
        """Fill the list."""
        self.work(self.studio.songs, self._show)

    def _show(self, cards: tuple[SongCard, ...]) -> None:
        self._cards = {c.id: c for c in cards}
        own = [c for c in cards if not c.bundled]
        bundled = [c for c in cards if c.bundled]
        rows = []
        if own:
            rows += [Row("", "Yours", heading=True), *(Row(c.id, c.title, c.composer or c.path) for c in own)]
        if bundled:
            rows += [Row("", "Bundled", heading=True), *(Row(c.id, c.title, c.blurb) for c in bundled)]
        menu = self.query_one(Menu)
        menu.show(rows, menu.current.id if menu.current else 0)
        if not self.query_one(PathField).has_focus:  # it was asked for while the list was read
            menu.focus()

    def on_menu_pointed(self, message: Menu.Pointed) -> None:
        """Say more about the song in the light."""
        card = self._cards.get(message.id)
        self.refresh_bindings()
        if card is not None:
            self.query_one("#about", Static).update(card.blurb if card.bundled else plain(card.path))

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Open the song."""
        self._open(self._cards[message.id].path)

    def on_input_submitted(self) -> None:
        """Open the file that was typed."""
        text = self.query_one(PathField).text
        if not text:
            self.query_one(Menu).focus()
        else:
            self._open(text)

    def on_path_field_fits(self, message: PathField.Fits) -> None:
        """Show how a path may go on; a fault that is told stays until something fits."""
        if message.line or not self.foot.bad:
            super().on_path_field_fits(message)

    def key_comes(self, event: events.Key) -> bool:
        """What begins a path goes into the field by itself, and so does all that is typed in the same breath."""
        if not isinstance(self.focused, Menu):
            return False
        if event.character in _BEGINS:
            self._begin_path("")
        elif event.key == "o":
            self.action_path()
            return True
        return False

    def on_key(self, event: events.Key) -> None:
        """Down leaves the field for the list."""
        if event.key == "down" and self.query_one(PathField).has_focus:
            self.query_one(Menu).focus()
            event.stop()

    def on_paste(self, event: events.Paste) -> None:
        """A path that was dropped or pasted onto the list."""
        if not self.query_one(PathField).has_focus:
            self._begin_path(event.text.splitlines()[0] if event.text else "")
            event.stop()

    def _begin_path(self, text: str) -> None:
        field = self.query_one(PathField)
        field.value = text
        field.cursor_position = len(text)
        self.set_focus(field)  # at once: the next keys belong to it

    def _open(self, source: str) -> None:
        if (folder := path_of(source)).is_dir():
            self._open_folder(folder)
        else:
            self.house.open_song(source)

    def _open_folder(self, folder: Path) -> None:
        """Read every score of a folder; the list grows when all are done, Esc stops."""
        if self._reading is not None:
            return
        stop = self._reading = threading.Event()

        def read() -> list[Shelved]:
            paths, all_found = scores_in(folder), []
            for found in open_all(self.studio.library, paths, stop=stop):
                if not stop.is_set():
                    all_found.append(found)
                    told = f"{len(all_found)} of {len(paths)}: {plain(found.path.name)}. Esc stops."
                    self.app.call_from_thread(self._tell_progress, told)
            return all_found

        self.say("Looking into the folder.")
        self.work(read, self._folder_read, failed=self._folder_left)

    def _tell_progress(self, line: str) -> None:
        if self.is_running and self._reading is not None:
            self.say(line)

    def _folder_read(self, found: list[Shelved]) -> None:
        self._folder_left()
        self.ready()
        troubles = [f.trouble for f in found if f.song is None]
        read = len(found) - len(troubles)
        told = [f"{count(read, 'song')} read and on your list."] if read else []
        if troubles:
            told.append(f"{count(len(troubles), 'file')} could not be read, the first: {troubles[0]}")
        self.say(" ".join(told) or "Stopped; nothing was read.", bad=bool(troubles))

    def _folder_left(self) -> None:
        self._reading = None

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Some keys need something to work on."""
        if action == "undo":
            return self._forgotten is not None
        if action == "forget":
            row = self.query_one(Menu).current
            card = self._cards.get(row.id) if row else None
            return card is not None and card.opened_at is not None
        return True

    def action_path(self) -> None:
        """Type a path."""
        self.set_focus(self.query_one(PathField))  # at once: the next keys belong to it

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""

    def action_back(self) -> None:
        """Stop reading a folder; else from the field to the list, from the list back."""
        if self._reading is not None:
            self._reading.set()
        elif self.query_one(PathField).has_focus and self._cards:
            self.query_one(Menu).focus()
        else:
            super().action_back()

    def action_warm(self) -> None:
        """Plan a warm-up for the song in the light."""
        from tutor.tui.screens.warmup import WarmupScreen

        row = self.query_one(Menu).current
        if row and row.id in self._cards:
            self.app.push_screen(WarmupScreen(source=self._cards[row.id].path))

    def action_forget(self) -> None:
        """Take a song off the list; its file stays."""
        row = self.query_one(Menu).current
        card = self._cards.get(row.id) if row else None
        if card is None or card.opened_at is None:
            return
        self._forgotten = card
        self.studio.store.forget_song(card.id)
        self.say(f"“{card.title}” is off the list; the file stays where it is. u puts it back.")
        self.ready()

    def action_undo(self) -> None:
        """Put it back."""
        if self._forgotten is not None:
            self.studio.store.keep_song(self._forgotten)
            self._forgotten = None
            self.say("It is back.")
            self.ready()

    def on_unmount(self) -> None:
        """Nobody waits for the rest of a folder."""
        if self._reading is not None:
            self._reading.set()

    def on_screen_resume(self) -> None:
        """A song may have been opened."""
        if self._cards:
            self.query_one(Menu).focus()
            self.ready()
