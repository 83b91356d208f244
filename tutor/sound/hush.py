"""Keeps the chatter of system sound libraries off the screen.

ALSA, JACK and PortAudio print straight to file descriptor 2, which is also where the screen is drawn. `shield` gives
the program its own copy of the terminal and points descriptor 2 elsewhere, once, before anything is drawn.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

_done = False


def shield(log: Path | None = None) -> bool:
    """Send everything that libraries print to descriptor 2 into a file or nowhere; Python's stderr stays as it was.

    Call it once, before the screen starts. Python's own error messages and the screen still reach the terminal.

    Args:
        log: file that collects the chatter (started anew); None throws it away.

    Returns:
        True when the shield stands, False where the system does not allow it.
    """
    global _done
    if _done:
        return True
    try:
        own = os.dup(2)
        sink = os.open(log or os.devnull, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        screen = os.fdopen(
            own, "w", encoding=getattr(sys.stderr, "encoding", None) or "utf-8", errors="replace", buffering=1
        )
        os.dup2(sink, 2)
        os.close(sink)
    except OSError:
        return False
    if sys.stderr is sys.__stderr__:
        sys.stderr = screen
    sys.__stderr__ = screen  # type: ignore[misc]
    _done = True
    return True
