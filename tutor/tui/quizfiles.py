"""Writing a quiz into a folder, and gathering what came back; for workers."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from tutor.errors import PackError

if TYPE_CHECKING:
    from tutor.quiz.gather import Gathered
    from tutor.quiz.pack import Pack


def stem_of(title: str) -> str:
    """A file name from a title."""
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:40] or "quiz"


def write_all(pack: Pack, folder: Path) -> list[Path]:
    """Write the quiz, its page and its sheet; never over a file that is there.

    Raises:
        PackError: the folder cannot be written, or holds such files already.
    """
    from tutor.quiz.pack import dumps
    from tutor.studio import quizzes

    stem = stem_of(pack.title)
    names = (f"{stem}.quiz.json", f"{stem}.html", f"{stem}.sheet.html")
    there = [n for n in names if (folder / n).exists()]
    if there:
        raise PackError(
            "there is a file of that name already", where=str(folder / there[0]), remedy="Name another folder"
        )
    made = (dumps(pack), quizzes.quiz_page(pack), quizzes.quiz_sheet(pack))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in zip(names, made, strict=True):
            with (folder / name).open("x", encoding="utf-8") as file:
                file.write(text)
    except OSError as error:
        raise PackError(
            f"the folder cannot be written ({error.strerror})", where=str(folder), remedy="Name another folder"
        ) from None
    return [folder / n for n in names]


def gather_folder(folder: Path) -> Gathered:
    """Gather every answer file that lies in a folder beside its quiz.

    Raises:
        PackError: there is no quiz in the folder, or more than one.
    """
    from tutor.quiz.gather import gather
    from tutor.studio import quizzes

    quizzes_here = sorted(folder.glob("*.quiz.json")) if folder.is_dir() else []
    if len(quizzes_here) != 1:
        what = (
            "there is no such folder"
            if not folder.is_dir()
            else "the folder must hold one quiz (a file ending in .quiz.json)"
        )
        raise PackError(what, where=str(folder), remedy="Put the quiz and the answers into one folder")
    answers = sorted(
        p for p in folder.iterdir() if p.is_file() and not p.name.endswith((".quiz.json", ".html", ".zip"))
    )
    return gather(quizzes.load_quiz(quizzes_here[0]), answers)
