"""Commands on the program itself: open it, check the devices, move what is stored."""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tutor import commands
from tutor.errors import TutorError
from tutor.store.folder import path_of

if TYPE_CHECKING:
    from tutor.studio import Studio


def open_program(options: argparse.Namespace) -> None:
    """Open the screen.

    Raises:
        TutorError: there is no terminal, or the store cannot be opened.
    """
    # In a browser (textual-serve) the screen's library talks to the page by itself, through the program's own pipes.
    served = bool(os.environ.get("TEXTUAL_DRIVER"))
    if not served and not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise TutorError("the program needs a terminal", remedy="Run it in one, or try: larkstair read SONG")
    from tutor.sound.hush import shield
    from tutor.store.folder import data_folder
    from tutor.tui.app import LarkstairApp

    def opener() -> Studio:
        from tutor.studio import Studio

        return Studio.open(silent_ports=options.silent)

    shield()  # sound libraries print to the terminal that the screen is drawn on
    given = getattr(options, "assignment", None)
    app = LarkstairApp(
        opener, song=options.song, look_file=data_folder() / "look.json", assignment=Path(given) if given else None
    )
    try:
        app.run()
    finally:
        if app.has_studio:
            app.studio.close()
    if app.failure:
        raise app.failure


def open_assignment(options: argparse.Namespace) -> None:
    """Open the screen on a teacher's assignment; a file that is none is told before the screen opens.

    Raises:
        TutorError: it cannot be read, or there is no terminal.
    """
    from tutor.studio.assignments import read_file

    read_file(Path(options.assignment))
    open_program(options)


def check_setup(options: argparse.Namespace) -> None:
    """Print a diagnosis of sound, microphone, MIDI, terminal and store."""
    from tutor.sound.diagnose import diagnose
    from tutor.sound.hush import shield

    shield()
    with commands.studio() as studio:
        output, source = studio.store.setting("output"), studio.store.setting("input")
        folder = studio.store.folder
    signs = {"works": "works  ", "missing": "missing", "note": "note   "}
    for line in diagnose(output or None, source or None):
        print(f"{signs[line.verdict]}  {line.what}: {line.text}" + _remedy(line.remedy))
    colours = {"truecolor": "16 million colours", "24bit": "16 million colours"}.get(
        os.environ.get("COLORTERM", ""), "256 colours" if "256" in os.environ.get("TERM", "") else "few colours"
    )
    size = os.get_terminal_size() if sys.stdout.isatty() else None
    shown = f"{size.columns} by {size.lines}, " if size else ""
    print(f"works    Terminal: {shown}{'no colour, as NO_COLOR asks' if os.environ.get('NO_COLOR') else colours}.")
    print(f"works    Store: {folder or 'in memory only'}.")


def _remedy(text: str) -> str:
    return f" {text.rstrip('.')}." if text else ""


def export_all(options: argparse.Namespace) -> None:
    """Write all that is stored into one file."""
    from tutor.studio import Studio

    target = path_of(options.file)
    with contextlib.closing(Studio.open(silent_ports=True)) as studio:
        studio.store.export(target)
    print(f"Everything is in {target}. On the other machine: larkstair import {target.name}")


def import_all(options: argparse.Namespace) -> None:
    """Replace all that is stored by an exported file; what was there is kept aside."""
    from tutor.store.folder import data_folder
    from tutor.store.moving import bring_in

    kept = bring_in(data_folder(), path_of(options.file), datetime.now(UTC))
    print("Everything was brought in." + (f" What was here before is kept as {kept.name}." if kept else ""))
