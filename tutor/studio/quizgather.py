"""Answers gathered from wherever they came: files, folders, codes pasted from a message; figures written to files."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from tutor.errors import PackError
from tutor.quiz import gather as gathering
from tutor.quiz.gather import Gathered
from tutor.quiz.pack import Pack
from tutor.quiz.sheet import Sheet
from tutor.store.folder import path_of
from tutor.studio.quizzes import stem_of

_OTHERS = (".html", ".zip", ".quiz.json", ".csv", ".figures.json")
"""Files that lie beside answers and are none."""
_TELL_EVERY = 2_000
"""Sheets between two words of progress."""
MOST_FILES = 200_000
"""Files of a folder that are read."""


def files_in(source: str) -> list[Path]:
    """The answer files that a path names: itself, or what lies in the folder.

    Raises:
        PackError: there is no such file or folder, or it holds none.
    """
    path = path_of(source)
    if path.is_file():
        return [path]
    if not path.is_dir():
        raise PackError("there is no such file or folder, and it is no answer code", where=path.name)
    try:
        found = sorted(p for p in path.iterdir() if p.is_file() and not p.name.lower().endswith(_OTHERS))
    except OSError as error:
        raise PackError(f"the folder cannot be read ({error.strerror})", where=path.name) from None
    if not found:
        raise PackError("the folder holds no answer file", where=path.name)
    return [p for p in found[:MOST_FILES] if not p.name.startswith(".")]


def is_code(text: str) -> bool:
    """True for something that reads as an answer code."""
    try:
        gathering.read_code(text)
    except (PackError, ValueError):
        return False
    return True


def gather(
    pack: Pack, sources: Sequence[str], *, step: Callable[[int], None] = lambda read: None,
    stop: threading.Event | None = None, lenient: bool = False,
) -> Gathered:  # fmt: skip
    """Gather every sheet; call it from a worker.

    Args:
        pack: the quiz.
        sources: paths of files and folders, or codes.
        step: told now and then how many sheets were read.
        stop: set by another thread to give up.
        lenient: True counts a path that leads nowhere among what is refused.

    Raises:
        PackError: a path leads nowhere, or it was given up.
    """
    codes = [s for s in sources if is_code(s)]
    taken = set(codes)
    paths: list[Path] = []
    lost: list[tuple[str, PackError]] = []
    for source in (s for s in sources if s not in taken):
        try:
            paths += files_in(source)
        except PackError as error:
            if not lenient:
                raise
            lost.append((Path(source).name, PackError(error.what, remedy=error.remedy)))

    def sheets() -> Iterator[tuple[str, Sheet | PackError]]:
        for text in codes:
            yield "a code", gathering.read_code(text)
        yield from lost
        for number, sheet in enumerate(gathering.read_sheets(paths), start=1):
            if number % _TELL_EVERY == 0:
                step(number)
            if stop is not None and stop.is_set():
                raise PackError("given up: nothing was gathered")
            yield sheet

    return gathering.gather_sheets(pack, sheets())


def write_figures(found: Gathered, folder: Path) -> list[Path]:
    """Write the figures as CSV and JSON, never over a file that is there; gives the paths.

    Raises:
        PackError: the folder cannot be written or holds such files.
    """
    stem = stem_of(found.pack.title)
    made = {
        f"{stem}.figures.csv": gathering.to_csv(found),
        f"{stem}.figures.json": json.dumps(gathering.to_json(found), ensure_ascii=False, indent=1) + "\n",
    }
    there = next((n for n in made if (folder / n).exists()), None)
    if there:
        raise PackError("there is a file of that name already", where=there, remedy="Name another folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in made.items():
            with (folder / name).open("x", encoding="utf-8") as file:
                file.write(text)
    except OSError as error:
        raise PackError(
            f"the folder cannot be written ({error.strerror})", where=folder.name, remedy="Name another folder"
        ) from None
    return [folder / n for n in made]
