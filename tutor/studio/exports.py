"""Things written to files: a warm-up to print or to carry on a phone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tutor import errors
from tutor.warmup.model import Given, Plan


def write_plan(given: Given, path: Path) -> None:
    """Write a warm-up; the ending says what it becomes: .html, .md, .wav, .flac, .ogg or .mid.

    Raises:
        TutorError: there is no plan to write, the ending is not known, or the file cannot be written.
    """
    from tutor.warmup.export import plan_html, plan_markdown

    if not isinstance(given, Plan):
        raise errors.TutorError(
            "there is no warm-up to write for this voice today", remedy="Run the command without --out to read why"
        )
    texts: dict[str, Callable[[Plan], str]] = {".html": plan_html, ".md": plan_markdown}
    kind = path.suffix.lower()
    if path.exists():
        raise errors.TutorError("there is a file of that name already", where=str(path), remedy="Choose another name")
    if kind in texts:
        try:
            path.write_text(texts[kind](given), encoding="utf-8")
        except OSError as error:
            raise errors.TutorError(
                f"the file cannot be written ({error.strerror})", where=str(path), remedy="Choose another folder"
            ) from None
        return
    from tutor.sound.export import export
    from tutor.warmup.whole import whole

    export([whole(given)], path)
