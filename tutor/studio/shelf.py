"""A folder of songs, read on all cores."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from tutor.errors import ScoreError, TutorError, plain
from tutor.music.table import NoteTable
from tutor.practice.drill import Song
from tutor.studio.library import Library

MOST_FILES = 2_000
"""A folder with more scores is no songbook; refused before anything is read."""


@dataclass(frozen=True, slots=True)
class Shelved:
    """One file of the folder: its song, or why it could not be read."""

    path: Path
    song: Song | None
    trouble: str = ""
    """One line; empty where there is a song."""


def scores_in(folder: Path) -> tuple[Path, ...]:
    """The scores of a folder and the folders in it, by name; hidden ones left out.

    Raises:
        ScoreError: the folder cannot be read, or holds no score or far too many.
    """
    from tutor.score.read import SUFFIXES

    where = plain(folder.name or str(folder))
    found: list[Path] = []
    try:
        for place, inside, names in os.walk(folder, onerror=_refuse):
            inside[:] = sorted(n for n in inside if not n.startswith("."))
            found += [Path(place, n) for n in sorted(names) if n.lower().endswith(SUFFIXES) and not n.startswith(".")]
            if len(found) > MOST_FILES:
                raise ScoreError(f"more than {MOST_FILES} scores", where=where, remedy="Name a folder inside it")
    except OSError as error:
        raise ScoreError(
            error.strerror or "the folder cannot be read", where=where, remedy="Check that you may read it"
        ) from None
    if not found:
        raise ScoreError("no score in this folder", where=where, remedy=f"Scores end in {', '.join(SUFFIXES)}")
    return tuple(found)


def _refuse(error: OSError) -> None:
    raise error


def open_all(
    library: Library, paths: tuple[Path, ...], *, stop: threading.Event | None = None, at_once: int | None = None
) -> Iterator[Shelved]:
    """Open songs, each in a process of its own, and hand them over as they are done.

    Args:
        library: where they are kept.
        paths: score files.
        stop: set it to end the reading; what is done is kept.
        at_once: how many processes; as many as there are cores where None.
    """
    from tutor.score.isolate import read_and_analyse

    ending = stop or threading.Event()
    known = [path for path in paths if library.knows(path)]
    for path in known:
        yield _shelved(path, partial(library.open, path))
    pool = ThreadPoolExecutor(at_once or os.cpu_count() or 1)
    asked = {pool.submit(read_and_analyse, path, stop=ending): path for path in paths if path not in known}
    try:
        for done in as_completed(asked):
            yield _shelved(asked[done], partial(_take, library, asked[done], done))
            if ending.is_set():
                return
    finally:
        ending.set()
        pool.shutdown(cancel_futures=True)


def _take(library: Library, path: Path, read: Future[tuple[NoteTable, dict[str, Any] | None]]) -> Song:
    from tutor.analysis.contract import from_json

    table, reading = read.result()
    return library.take(path, table, None if reading is None else from_json(reading))


def _shelved(path: Path, opened: Callable[[], Song]) -> Shelved:
    try:
        return Shelved(path, opened())
    except TutorError as error:
        return Shelved(path, None, error.line)
