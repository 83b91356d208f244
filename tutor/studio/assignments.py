"""A teacher's assignment: opened from a file, its songs found, what is done of it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tutor.errors import PackError, TutorError, plain
from tutor.practice import assignment as assignments
from tutor.practice import catalogue
from tutor.practice.assignment import MAX_BYTES, Assignment
from tutor.store.folder import path_of

if TYPE_CHECKING:
    from tutor.practice.session import Session
    from tutor.studio import Studio

KINDS = (".toml", ".json")
"""Endings of assignment files."""


@dataclass(frozen=True, slots=True)
class Given:
    """An assignment as it stands for one singer."""

    assignment: Assignment
    since: datetime
    """When the singer first opened it: what was answered from then on counts."""
    done: tuple[int, ...]
    """Questions answered of each task."""
    songs: tuple[tuple[str, str], ...]
    """Id and title of the songs that were found."""
    missing: tuple[str, ...]
    """Songs that were not found."""

    @property
    def left(self) -> tuple[tuple[str, str], ...]:
        """The (drill, skill) of every question that is left."""
        out: list[tuple[str, str]] = []
        for task, done in zip(self.assignment.tasks, self.done, strict=True):
            out += [(task.drill, task.skills[i % len(task.skills)]) for i in range(done, task.count)]
        return tuple(out)


def read_file(path: Path) -> tuple[Assignment, str]:
    """Read an assignment file: the assignment, and a key for what is in it.

    Raises:
        TutorError: it cannot be read, or is no assignment; one line says why.
    """
    try:
        with path_of(path).open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "no such path"
        raise PackError(
            f"the assignment cannot be opened ({reason})", where=plain(path.name), remedy="Check the path"
        ) from None
    made = assignments.read(data, plain(path.name), catalogue.drills())
    return made, hashlib.sha256(data).hexdigest()[:16]


def open_file(studio: Studio, path: Path) -> Given:
    """Open an assignment for the singer; slow where a song is opened for the first time.

    Raises:
        TutorError: it cannot be read, or is no assignment; one line says why.
    """
    made, key = read_file(path)
    name, setting = studio.singer.name, f"assignment-{key}-{studio.singer.name}"
    since = studio.store.setting(setting)
    if not since:
        since = studio.clock().isoformat()
        studio.store.keep_setting(setting, since)
    songs: list[tuple[str, str]] = []
    missing: list[str] = []
    for wanted in made.songs:
        found = _song(studio, wanted, path_of(path).parent)
        missing += [] if found else [wanted]
        songs += [found] if found else []
    at = datetime.fromisoformat(since)
    return Given(made, at, made.done(studio.store.reviews(name), at), tuple(songs), tuple(missing))


def begin(studio: Studio, given: Given) -> Session:
    """Begin what is left of an assignment, as one session.

    Raises:
        TutorError: nothing is left, or nothing of it can be asked.
    """
    left = given.left
    if not left:
        raise TutorError("everything in this assignment is done")
    try:
        return studio.rehearsal.begin(studio.singer, songs=[i for i, _ in given.songs], count=len(left), skills=left)
    except ValueError as error:
        raise TutorError(str(error), remedy="Open the songs of the assignment first") from error


def _song(studio: Studio, wanted: str, folder: Path) -> tuple[str, str] | None:
    """A song by title, bundled name, or file name: among the songs opened, then beside the assignment."""
    low = wanted.casefold()
    for card in studio.songs():
        if low in (card.title.casefold(), Path(card.path).name.casefold(), Path(card.path).stem.casefold()):
            try:
                song = studio.open_song(card.path)
            except TutorError:
                continue
            return song.id, song.title
    beside = folder / Path(wanted).name
    if not beside.is_file():
        return None
    try:
        song = studio.open_song(beside)
    except TutorError:
        return None
    return song.id, song.title
