"""Who sings on this machine, what is stored, and forgetting it."""

from __future__ import annotations

import contextlib
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tutor.errors import StoreError, plain
from tutor.music.voice import SingerProfile
from tutor.store.opening import BACKUP, FILE
from tutor.store.records import SongCard

if TYPE_CHECKING:
    from tutor.studio import Studio

MOST_LETTERS = 40
"""Letters in a name."""
LOOK = "look.json"
"""Where the theme is remembered for the first paint, in the data folder."""
_ASIDE = ("larkstair.damaged-*", "larkstair.before-import-*")
"""Stores that were kept aside."""


@dataclass(frozen=True, slots=True)
class Voice:
    """A singer, and how much is kept."""

    profile: SingerProfile
    answers: int
    warmups: int
    """Entries in the diary of warm-ups."""


@dataclass(frozen=True, slots=True)
class Stored:
    """Everything that lies on this machine."""

    folder: Path | None
    """The data folder; None in memory."""
    counts: dict[str, int]
    """What the store holds, by kind."""
    voices: tuple[Voice, ...]
    songs: tuple[SongCard, ...]
    corrections: tuple[str, ...]
    """Files with corrections of bundled songs."""
    files: tuple[tuple[str, int], ...]
    """Other files in the data folder: name and size in bytes."""


def voices(studio: Studio) -> tuple[Voice, ...]:
    """Every singer."""
    store = studio.store
    return tuple(Voice(s, len(store.reviews(s.name)), len(store.diary(s.name))) for s in store.singers())


def choose(studio: Studio, name: str) -> None:
    """Let another singer practise."""
    studio.store.keep_setting("singer", name)


def add(studio: Studio, text: str) -> SingerProfile:
    """Add a singer, with the voice type of the one who sings now, and choose the new one.

    Raises:
        StoreError: there is no name, or somebody has it.
    """
    name = _free(studio, text)
    profile = SingerProfile.default(name, studio.singer.voice)
    studio.keep_singer(profile)
    return profile


def rename(studio: Studio, name: str, text: str) -> None:
    """Give a singer another name; everything kept for the singer follows.

    Raises:
        StoreError: there is no name, or somebody has it.
    """
    chosen = studio.singer.name
    if plain(text).strip() == name:
        return
    new = _free(studio, text, besides=name)
    studio.store.rename_singer(name, new)
    if chosen == name:
        studio.store.keep_setting("singer", new)


def forget_singer(studio: Studio, name: str) -> None:
    """Delete a singer and everything kept for the singer; without any left, a nameless one begins anew."""
    chosen = studio.singer.name
    if studio.rehearsal.session is not None:
        studio.rehearsal.drop()
    studio.store.forget_singer(name)
    left = studio.store.singers()
    if not left:
        studio.store.keep_setting("voice-told", "")
    if chosen == name:
        studio.store.keep_setting("singer", left[0].name if left else "")
    no_backup(studio)


def forget_song(studio: Studio, song_id: str) -> None:
    """Take a song out of the library with all that was read of it, and the corrections of a bundled one.

    The score itself and corrections beside it are the user's own files and stay.
    """
    card = next((c for c in studio.store.songs() if c.id == song_id), None)
    studio.rehearsal.drop()
    studio.library.let_go(song_id)
    studio.store.forget_song(song_id)
    folder = studio.store.folder
    if card is not None and card.bundled and folder is not None:
        for file in _corrections(folder):
            if file.name in (f"{card.path}.rntxt", f"{card.path}.toml"):
                file.unlink(missing_ok=True)
    no_backup(studio)


def forget_everything(studio: Studio) -> None:
    """Delete all that is stored: the store, its backup, stores kept aside, corrections of bundled songs, the look.

    Raises:
        StoreError: a file cannot be deleted.
    """
    studio.rehearsal.drop()
    studio.library.let_go()
    studio.store.forget_everything()
    folder = studio.store.folder
    if folder is None:
        return
    try:
        shutil.rmtree(folder / "corrections", ignore_errors=False)
    except FileNotFoundError:
        pass
    except OSError as error:
        raise _stuck(error) from error
    try:
        (folder / LOOK).unlink(missing_ok=True)
        for pattern in _ASIDE:
            for file in folder.glob(pattern):
                file.unlink(missing_ok=True)
    except OSError as error:
        raise _stuck(error) from error


def stored(studio: Studio) -> Stored:
    """What lies on this machine."""
    store, folder = studio.store, studio.store.folder
    files: list[tuple[str, int]] = []
    corrections: list[str] = []
    if folder is not None:
        corrections = [f.name for f in _corrections(folder)]
        with contextlib.suppress(OSError):
            files = [(f.name, f.stat().st_size) for f in sorted(folder.iterdir()) if f.is_file()]
    return Stored(folder, store.counts(), voices(studio), store.songs(), tuple(corrections), tuple(files))


def words_of(name: str) -> str:
    """What a file of the data folder is, in words."""
    if name == FILE or name.startswith(f"{FILE}-"):
        return "the store"
    if name == BACKUP:
        return "the automatic backup"
    if name == LOOK:
        return "theme and signs"
    return "a store that was kept aside" if name.startswith("larkstair.") else "not of Larkstair's making"


def _corrections(folder: Path) -> list[Path]:
    with contextlib.suppress(OSError):
        return sorted(f for f in (folder / "corrections").iterdir() if f.is_file())
    return []


def _free(studio: Studio, text: str, besides: str = "") -> str:
    name = plain(text).strip()[:MOST_LETTERS]
    if not name:
        raise StoreError("a singer needs a name", remedy="Type one")
    if any(s.name.casefold() == name.casefold() for s in studio.store.singers() if s.name != besides):
        raise StoreError(f"there is a singer named {name} already", remedy="Choose another name")
    return name


def no_backup(studio: Studio) -> None:
    """The automatic backup still holds what was forgotten: it goes, and is made again in its time."""
    if studio.store.folder is not None:
        with contextlib.suppress(OSError):
            (studio.store.folder / BACKUP).unlink(missing_ok=True)
    studio.store.tidy()


def _stuck(error: OSError) -> StoreError:
    return StoreError(
        f"a file cannot be deleted ({error.strerror})", where=Path(str(error.filename or "")).name,
        remedy="Close whatever holds it and try again",
    )  # fmt: skip
