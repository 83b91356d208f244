"""Where the user's data lies."""

from __future__ import annotations

import os
from pathlib import Path


def data_folder() -> Path:
    """The user's data folder: the environment variable LARKSTAIR_HOME, else the system's place for it."""
    chosen = os.environ.get("LARKSTAIR_HOME")
    if chosen:
        return Path(chosen).expanduser()
    from platformdirs import user_data_path

    return user_data_path("larkstair", appauthor=False)
