"""A program in a real pseudo-terminal: keys in, the screen out, and its true exit code."""

from __future__ import annotations

import errno
import fcntl
import os
import pty
import select
import struct
import sys
import termios
import time
from collections.abc import Mapping, Sequence

import pyte

KEYS = {
    "enter": "\r", "escape": "\x1b", "space": " ", "up": "\x1b[A", "down": "\x1b[B", "right": "\x1b[C",
    "left": "\x1b[D", "end": "\x1b[F", "ctrl+q": "\x11",
}  # fmt: skip


class Terminal:
    """Runs a command in a pseudo-terminal of a given size.

    Args:
        command: program and arguments.
        environment: added to the present one.
        size: columns and rows.
    """

    def __init__(
        self, command: Sequence[str], environment: Mapping[str, str], size: tuple[int, int] = (80, 24)
    ) -> None:
        columns, rows = size
        self._screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self._screen)
        self._pid, self._descriptor = pty.fork()
        if self._pid == 0:  # pragma: no cover - the child
            fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
            os.environ.update(environment)
            os.execvp(command[0], list(command))
        self._ended = False

    @property
    def text(self) -> str:
        """What stands on the screen."""
        return "\n".join(line.rstrip() for line in self._screen.display)

    def pump(self, seconds: float = 0.05) -> None:
        """Read what the program writes."""
        if self._ended or not select.select([self._descriptor], [], [], seconds)[0]:
            return
        try:
            data = os.read(self._descriptor, 65536)
        except OSError as error:
            if error.errno != errno.EIO:
                raise
            data = b""
        if data:
            # pyte knows neither the kitty keyboard protocol nor synchronized output; both are only asked about.
            self._stream.feed(data)
        else:
            self._ended = True

    def until(self, *words: str, most_s: float = 60.0) -> str:
        """Wait until one of the words stands on the screen; gives that word.

        Raises:
            AssertionError: none came; the message holds the screen.
        """
        limit = time.monotonic() + most_s
        while time.monotonic() < limit and not self._ended:
            for word in words:
                if word in self.text:
                    return word
            self.pump()
        raise AssertionError(f"none of {words} on the screen:\n{self.text}")

    def press(self, *keys: str) -> None:
        """Press keys by name, or single characters."""
        for key in keys:
            os.write(self._descriptor, KEYS.get(key, key).encode())
            self.pump(0.02)

    def code(self, most_s: float = 30.0) -> int:
        """Wait for the end; gives the exit code."""
        limit = time.monotonic() + most_s
        while time.monotonic() < limit:
            self.pump()
            pid, status = os.waitpid(self._pid, os.WNOHANG)
            if pid:
                self._pid = 0
                return os.waitstatus_to_exitcode(status)
        raise AssertionError(f"it does not end:\n{self.text}")

    def close(self) -> None:
        """End the program if it still runs."""
        if self._pid:
            os.kill(self._pid, 9)
            os.waitpid(self._pid, 0)
            self._pid = 0
        os.close(self._descriptor)


def larkstair(home: str, *words: str, size: tuple[int, int] = (80, 24), **environment: str) -> Terminal:
    """The program with its data in a folder of its own, and no device."""
    base = {"LARKSTAIR_HOME": home, "TERM": "xterm-256color", "COLORTERM": "truecolor", "TEXTUAL_ANIMATIONS": "none"}
    return Terminal([sys.executable, "-m", "tutor", "--silent", *words], {**base, **environment}, size)
