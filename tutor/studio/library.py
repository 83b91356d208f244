"""The songs: read once, kept by content, corrected by the user."""

from __future__ import annotations

import hashlib
import json
import tempfile
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from importlib.resources import as_file
from pathlib import Path

from tutor.analysis.findings import Corrections, Reading
from tutor.errors import ScoreError, SidecarError, plain
from tutor.lessons import BundledSong, bundled_songs
from tutor.music.table import READER_VERSION, NoteTable
from tutor.practice.drill import Song
from tutor.store.folder import path_of
from tutor.store.records import SongCard
from tutor.store.store import Store

MOST_BYTES = 64_000_000
"""A larger file is no song; refused before it is read."""
LEFT_OUT = "Your corrections were left out: "
"""Begins the note on corrections that cannot be read."""


class Library:
    """Opens songs and keeps what was read of them.

    Args:
        store: where tables and readings are cached.
        clock: gives aware UTC.
        folder: the data folder, for corrections of bundled songs; None in memory.
    """

    def __init__(self, store: Store, clock: Callable[[], datetime], folder: Path | None = None) -> None:
        self._store = store
        self._folder = folder
        self._clock = clock
        self._open: dict[str, Song] = {}

    def cards(self) -> tuple[SongCard, ...]:
        """The user's songs, last opened first, then the bundled songs that were never opened."""
        bundled = {b.name: b for b in bundled_songs()}
        known = tuple(
            replace(c, blurb=bundled[c.path].blurb) if c.bundled and c.path in bundled else c
            for c in self._store.songs()
        )
        opened = {c.path for c in known if c.bundled}
        fresh = tuple(
            SongCard(f"bundled:{b.name}", b.title, "Larkstair", b.name, True, None, b.blurb)
            for b in bundled.values()
            if b.name not in opened
        )
        return known + fresh

    def open(self, source: str | Path, *, stop: threading.Event | None = None) -> Song:
        """Open a song: a file, or the name of a bundled song. Slow the first time; call from a worker.

        Args:
            source: path of a score, or name of a bundled song.
            stop: set it to give up.

        Raises:
            ScoreError: it cannot be read; one line says why.
        """
        bundled = self._bundled(str(source))
        if bundled is not None:
            with as_file(bundled.file) as path:
                return self._open_file(path, stop, shown=bundled.name, bundled=True)
        path = path_of(source)
        return self._open_file(path, stop, shown=str(path.absolute()), bundled=False)

    def knows(self, path: Path) -> bool:
        """Whether a file of this content was read before, so that it opens at once."""
        try:
            return self._store.table(_digest(path, str(path)), READER_VERSION) is not None
        except ScoreError:
            return False

    def take(self, path: Path, table: NoteTable, reading: Reading | None) -> Song:
        """Open a file that another process has read.

        Args:
            path: the file.
            table: what it holds.
            reading: the engine's reading of it without corrections; None where nothing in it was sung.

        Raises:
            ScoreError: the file is gone, or nothing in it is sung and no correction names a part.
        """
        return self._open_file(path, None, shown=str(path.absolute()), bundled=False, read=(table, reading))

    def get(self, song_id: str) -> Song | None:
        """A song that was read before, at once; None where nothing is cached."""
        if song_id in self._open:
            return self._open[song_id]
        card = next((c for c in self._store.songs() if c.id == song_id), None)
        table = self._table(song_id)
        if card is None or table is None:
            return None
        return self._keep(table, card)

    def correct(self, song: Song, corrections: Corrections) -> Song:
        """Keep the user's corrections beside the song and read it again.

        Raises:
            SidecarError: they cannot be written, do not fit the song, or stand in a damaged file that is left as it is.
        """
        from tutor.score import sidecar

        card = self._card(song.id)
        beside = self._beside(card)
        sidecar.load(beside, song.table)  # what cannot be read is never written over
        sidecar.save(beside, song.table, corrections)
        self._open.pop(song.id, None)
        return self._keep(song.table, card)

    def name_voice(self, source: str | Path, part: str) -> None:
        """Say which part of a score is sung, even where the engine found none and the song cannot be opened yet.

        Args:
            source: path of a score, or name of a bundled song.
            part: id or name of the part.

        Raises:
            ScoreError: the score cannot be read.
            SidecarError: there is no such part, or the correction cannot be kept.
        """
        from tutor.score import sidecar
        from tutor.studio.correcting import part_named

        if self._bundled(str(source)) is not None:
            song = self.open(source)
            named = part_named(song.table, part, song.title)
            self.correct(song, replace(self.corrections(song), voice_part=named))
            return
        path = path_of(source)
        _digest(path, str(path))
        table = _read(path, None)
        mine = sidecar.load(path, table)
        sidecar.save(path, table, replace(mine, voice_part=part_named(table, part, path.name)))

    def corrections(self, song: Song) -> Corrections:
        """What the user has corrected in a song so far.

        Raises:
            SidecarError: the files beside the song cannot be read.
        """
        from tutor.score import sidecar

        return sidecar.load(self._beside(self._card(song.id)), song.table)

    def let_go(self, song_id: str | None = None) -> None:
        """Let go of a song that was opened; of all of them without an id."""
        if song_id is None:
            self._open.clear()
        else:
            self._open.pop(song_id, None)

    def _card(self, song_id: str) -> SongCard:
        return next(c for c in self._store.songs() if c.id == song_id)

    def _beside(self, card: SongCard) -> Path:
        """The song that corrections stand beside; those of a bundled song stand in the data folder."""
        if not card.bundled:
            return Path(card.path)
        folder = (self._folder or Path(tempfile.gettempdir())) / "corrections"
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        return folder / card.path

    def _open_file(
        self,
        path: Path,
        stop: threading.Event | None,
        *,
        shown: str,
        bundled: bool,
        read: tuple[NoteTable, Reading | None] | None = None,
    ) -> Song:
        song_id = _digest(path, shown)
        cached = self._table(song_id)
        fresh, reading = read or (None, None)
        table = cached or fresh or _read(path, stop)
        title = table.title or plain(Path(shown).stem)
        card = SongCard(song_id, title, table.composer, shown, bundled, self._clock())
        try:
            song = self._keep(table, card, reading)
        except ScoreError as error:
            raise ScoreError(error.what, where=plain(Path(shown).name), remedy=error.remedy) from None
        self._store.keep_song(card)
        if cached is None:
            self._store.keep_table(song_id, READER_VERSION, table.dumps())
        if not song.reading.corrected:
            from tutor.analysis import contract

            said = tuple(w for w in song.reading.warnings if not w.startswith(LEFT_OUT))  # it holds for today alone
            kept = replace(song.reading, warnings=said)
            self._store.keep_reading(song_id, _version(), json.dumps(contract.to_json(kept)))
        return song

    def _table(self, song_id: str) -> NoteTable | None:
        """The cached table; None where there is none that can be used."""
        body = self._store.table(song_id, READER_VERSION)
        try:
            return None if body is None else NoteTable.loads(body)
        except ValueError:
            return None

    def _keep(self, table: NoteTable, card: SongCard, fresh: Reading | None = None) -> Song:
        left_out: SidecarError | None = None
        try:
            corrections, notes = self._corrected(table, card)
        except SidecarError as error:
            corrections, notes, left_out = Corrections(), (), error
        try:
            reading = fresh if fresh and not corrections else self._reading(table, card.id, corrections)
        except ScoreError:
            if left_out is not None:  # what is sung may be said there
                raise left_out from None
            raise
        first = (f"{LEFT_OUT}{left_out.line}",) if left_out else ()
        if notes or first:
            reading = replace(reading, warnings=(*first, *reading.warnings, *notes))
        self._open[card.id] = song = Song(card.id, card.title, table, reading)
        return song

    def _corrected(self, table: NoteTable, card: SongCard) -> tuple[Corrections, tuple[str, ...]]:
        """The user's corrections; for a bundled song laid over the composer's own reading, with a note of it."""
        from tutor.score import sidecar

        mine = sidecar.load(self._beside(card), table)
        bundled = self._bundled(card.path) if card.bundled else None
        if bundled is None:
            return mine, ()
        from tutor.studio.composers import NOTE, composers_reading, under

        theirs = composers_reading(bundled, table)
        return under(theirs, mine, table), (NOTE,) if theirs else ()

    def _reading(self, table: NoteTable, song_id: str, corrections: Corrections) -> Reading:
        from tutor.analysis import contract
        from tutor.analysis.reading import read

        body = None if corrections else self._store.reading(song_id, _version())
        if body is not None:
            try:
                return contract.from_json(json.loads(body))
            except (ValueError, RecursionError):
                pass  # kept by a damaged or foreign store: read it again
        return read(table, corrections)

    def _bundled(self, name: str) -> BundledSong | None:
        wanted = name.removeprefix("bundled:")
        return next((b for b in bundled_songs() if wanted == b.name), None)


def _version() -> str:
    from tutor.analysis.contract import ENGINE_VERSION

    return f"{READER_VERSION}.{ENGINE_VERSION}"


def _read(path: Path, stop: threading.Event | None) -> NoteTable:
    from tutor.score.isolate import read_isolated

    return read_isolated(path, stop=stop)


def _digest(path: Path, shown: str) -> str:
    try:
        if path.is_dir():
            raise ScoreError("this is a folder", where=plain(shown), remedy="Give the path of one score")
        if path.stat().st_size > MOST_BYTES:
            raise ScoreError("the file is too large to be a song", where=plain(shown), remedy="Export the song alone")
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except FileNotFoundError:
        raise ScoreError("there is no such file", where=plain(shown), remedy="Check the path") from None
    except (OSError, ValueError) as error:
        raise ScoreError(
            f"the file cannot be read ({getattr(error, 'strerror', None) or error})",
            where=plain(shown),
            remedy="Check its permissions",
        ) from None
