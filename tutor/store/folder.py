"""Where the user's data lies."""

from __future__ import annotations

import os
from pathlib import Path

LONGEST = 200
"""Letters of a file's name that are looked at; most systems take 255 bytes."""


def data_folder() -> Path:
    """The user's data folder: the environment variable LARKSTAIR_HOME, else the system's place for it."""
    chosen = os.environ.get("LARKSTAIR_HOME")
    if chosen:
        return path_of(chosen)
    from platformdirs import user_data_path

    return user_data_path("larkstair", appauthor=False)


def path_of(text: str | Path) -> Path:
    """A path as somebody typed it, '~' taken for the home folder.

    Where nobody here has the name behind '~' it is left as it is; a name that no file can have becomes one that can, so
    that whoever looks is told that there is no such file.
    """
    path = Path(*(part[:LONGEST] for part in Path(str(text).replace("\0", " ")).parts))
    try:
        return path.expanduser()
    except RuntimeError:
        return path
