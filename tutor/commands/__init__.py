"""What each command does; they print, and none of them loads the screen but `open`."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from tutor.errors import StoreError, TutorError

if TYPE_CHECKING:
    from tutor.practice.drill import Song
    from tutor.sound.synth import Sounds
    from tutor.studio import Studio


def studio() -> contextlib.closing[Studio]:
    """A studio for one command; where the store cannot be used the command goes on without one and says so."""
    from tutor.studio import Studio

    try:
        opened = Studio.open(silent_ports=True)
    except StoreError as error:
        print(f"larkstair: {error.line} Going on without it.", file=sys.stderr)
        opened = Studio.open(silent_ports=True, in_memory=True)
    return contextlib.closing(opened)


def song(source: str) -> Song:
    """Open a song for one command.

    Raises:
        ScoreError: it cannot be read.
        SidecarError: the corrections beside it cannot be read: without them the answer would be another one.
    """
    with studio() as opened:
        return corrected(opened, opened.open_song(source))


def corrected(opened: Studio, song: Song) -> Song:
    """The song, if the user's corrections are in it.

    Raises:
        SidecarError: they cannot be read.
    """
    opened.library.corrections(song)
    return song


def sounds() -> Sounds:
    """The timbres chosen in Setup."""
    with studio() as opened:
        opened.open_sounds(find=True)
        if opened.sounds_trouble:
            print(f"larkstair: {opened.sounds_trouble} The built-in piano plays.", file=sys.stderr)
        return opened.sounds


def write(path: Path, data: str | bytes) -> None:
    """Write a file that a command was asked for; never over another.

    Raises:
        TutorError: there is a file of that name, or the folder cannot be written.
    """
    try:
        with path.open("xb") as file:
            file.write(data.encode() if isinstance(data, str) else data)
    except FileExistsError:
        raise TutorError(
            "there is a file of that name already", where=str(path), remedy="Choose another name"
        ) from None
    except OSError as error:
        raise TutorError(
            f"the file cannot be written ({error.strerror})", where=str(path), remedy="Choose another folder"
        ) from None
