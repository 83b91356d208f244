"""Whether the terminal can show pictures: it is asked, and what it does not answer it cannot do.

Four questions go out at once. Every terminal answers the last one, so that nobody waits for the others:

- kitty's graphics protocol: a query of one pixel (https://sw.kovidgoyal.net/kitty/graphics-protocol/);
- the terminal's name and version (XTVERSION): pictures that go with the text around them (Unicode placeholders) came
  with kitty 0.28, and programs that answer the query above do not all know them;
- the size of a cell in pixels (XTWINOPS 16, xterm control sequences);
- the primary device attributes, in which 4 stands for sixel (DEC VT340, xterm control sequences).

Nothing is asked inside tmux or screen, which pass neither question nor picture on unharmed.
"""

from __future__ import annotations

import contextlib
import os
import re
import select
import struct
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Kind = Literal["sixel", "kitty"]
_KITTY = b"\x1b_Gi=31,s=1,v=1,a=q,t=d,f=24;AAAA\x1b\\"
_CELL = b"\x1b[16t"
_VERSION = b"\x1b[>q"
_ATTRIBUTES = b"\x1b[c"
QUESTION = _KITTY + _VERSION + _CELL + _ATTRIBUTES
MOST_S = 0.5
"""How long an answer is waited for; a terminal at hand needs a few milliseconds."""
MULTIPLEXED = "tmux and screen do not pass pictures on"
UNABLE = "this terminal shows no pictures"


@dataclass(frozen=True, slots=True)
class Ability:
    """What the terminal can do."""

    kind: Kind
    """By which protocol."""
    cell_width: int
    """Pixels."""
    cell_height: int
    """Pixels."""


def understood(answer: bytes, cell: tuple[int, int] = (0, 0)) -> Ability | None:
    """What an answer says.

    Args:
        answer: the bytes that came back.
        cell: width and height of a cell in pixels as the system knows it; zeros where it does not.

    Returns:
        The ability; None where the terminal shows no pictures, or keeps the size of its cells to itself.
    """
    told = re.search(rb"\x1b\[6;(\d{1,4});(\d{1,4})t", answer)
    width, height = (int(told[2]), int(told[1])) if told else cell
    if not (2 <= width <= 200 and 4 <= height <= 400):
        return None
    attributes = re.search(rb"\x1b\[\?([\d;]+)c", answer)
    if attributes and b"4" in attributes[1].split(b";")[1:]:
        return Ability("sixel", width, height)
    if re.search(rb"\x1b_Gi=31;OK\x1b\\", answer) and _placing(answer):
        return Ability("kitty", width, height)
    return None


def _placing(answer: bytes) -> bool:
    """Whether the terminal is one that knows Unicode placeholders."""
    named = re.search(rb"\x1bP>\|(\w+)[ (]?([\d.]*)", answer)
    if named is None:
        return False
    version = tuple(int(n) for n in named[2].split(b".") if n)
    return named[1].lower() == b"ghostty" or (named[1].lower() == b"kitty" and version >= (0, 28))


def multiplexed(environment: Mapping[str, str]) -> bool:
    """Whether tmux or screen stands between."""
    term = environment.get("TERM", "")
    return bool(environment.get("TMUX") or environment.get("STY") or term.startswith(("screen", "tmux")))


def ask(terminal: int | None = None, most_s: float = MOST_S) -> Ability | None:
    """Ask the terminal; only while nothing else reads from it.

    Args:
        terminal: its file descriptor; None opens the one the program runs in.
        most_s: how long to wait, seconds.

    Returns:
        What it can do; None without a terminal, under Windows, and where it shows no pictures.
    """
    if sys.platform == "win32" or multiplexed(os.environ):
        return None
    opened = terminal
    try:
        if opened is None:
            opened = os.open("/dev/tty", os.O_RDWR | os.O_NOCTTY)
        return understood(_exchange(opened, most_s), _cell_of(opened))
    except OSError:
        return None
    finally:
        if terminal is None and opened is not None:
            os.close(opened)


def _exchange(terminal: int, most_s: float) -> bytes:
    """Ask with the line discipline off, so that the answer is neither echoed nor held back."""
    import termios
    import tty

    before = termios.tcgetattr(terminal)
    answer = b""
    try:
        tty.setraw(terminal, termios.TCSANOW)
        os.write(terminal, QUESTION)
        limit = time.monotonic() + most_s
        while (left := limit - time.monotonic()) > 0 and not re.search(rb"\x1b\[\?[\d;]+c", answer):
            if select.select([terminal], [], [], left)[0]:
                answer += os.read(terminal, 4096)
    except termios.error as error:
        raise OSError(str(error)) from error
    finally:
        with contextlib.suppress(termios.error):
            termios.tcsetattr(terminal, termios.TCSAFLUSH, before)
    return answer


def _cell_of(terminal: int) -> tuple[int, int]:
    """Size of a cell in pixels by the system's own account."""
    import fcntl
    import termios

    rows, columns, width, height = struct.unpack("HHHH", fcntl.ioctl(terminal, termios.TIOCGWINSZ, bytes(8)))
    return (width // columns, height // rows) if rows and columns else (0, 0)
