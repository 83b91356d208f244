"""Time to the first paint and from key to paint, by the clock on the wall, in a pseudo-terminal.

Run it as ``python -m tests.bench.paint [ROUNDS]``. First paint: a bare app of the same library and ours are started in
turn; the clock runs from the start of the process to the first output that holds a word of the screen. The house
measure: at most 1.3 times the bare app. Key to paint: a song of 200 bars is open; the clock runs from each key to the
last byte of what it changed on the screen. The house measure: 50 ms in 95 of 100 keys.
"""

from __future__ import annotations

import fcntl
import os
import pty
import select
import statistics
import struct
import sys
import tempfile
import termios
import time
from pathlib import Path

from tests.score.makers import small_song

BARE = """
from textual.app import App
from textual.widgets import Static
class Bare(App):
    def compose(self):
        yield Static("Larkstair bare")
Bare().run()
"""
OURS = """
import os
os.environ["LARKSTAIR_HOME"] = {folder!r}
from tutor.__main__ import main
main(["--silent"])
"""
LIMIT = 1.3
KEY_LIMIT_S = 0.05
BARS = 200
QUIET_S = 0.04
"""When nothing more comes for so long, a screen is painted."""
WALK = {
    "bar by bar": [b"\x1b[C"] * 60 + [b"\x1b[D"] * 20,
    "phrase by phrase": [b"\x1b[B"] * 15 + [b"\x1b[A"] * 15,
    "findings": [b"n"] * 20,
    "to the ends": [b"\x1b[F", b"\x1b[H"] * 10,
}
"""Keys of each kind of walk through the song."""


def first_paint_s(code: str, word: bytes = b"Larkstair", most_s: float = 20.0) -> float:
    """Seconds until the word stands in the output of a program.

    Args:
        code: a program in Python.
        word: what its first screen holds.
        most_s: when to give up.

    Raises:
        TimeoutError: the word never came.
    """
    started = time.perf_counter()
    pid, descriptor = pty.fork()
    if pid == 0:  # pragma: no cover - the child
        os.environ.update(TERM="xterm-256color", COLORTERM="truecolor", COLUMNS="80", LINES="24")
        os.execv(sys.executable, [sys.executable, "-c", code])
    seen = b""
    try:
        while time.perf_counter() - started < most_s:
            if select.select([descriptor], [], [], 0.05)[0]:
                seen += os.read(descriptor, 65536)
                if word in seen:
                    return time.perf_counter() - started
        raise TimeoutError(seen[-2000:].decode(errors="replace"))
    finally:
        os.kill(pid, 9)
        os.waitpid(pid, 0)
        os.close(descriptor)


def compare(rounds: int) -> tuple[float, float]:
    """Median seconds of the bare app and of ours, started in turn."""
    bare, ours = [], []
    with tempfile.TemporaryDirectory() as folder:
        program = OURS.format(folder=str(Path(folder)))
        first_paint_s(BARE)
        first_paint_s(program)
        for _ in range(rounds):
            bare.append(first_paint_s(BARE))
            ours.append(first_paint_s(program))
    return statistics.median(bare), statistics.median(ours)


class Running:
    """A program in a pseudo-terminal of a given size.

    Args:
        code: a program in Python.
        size: columns and rows.
    """

    def __init__(self, code: str, size: tuple[int, int]) -> None:
        self._pid, self._descriptor = pty.fork()
        if self._pid == 0:  # pragma: no cover - the child
            fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
            os.environ.update(TERM="xterm-256color", COLORTERM="truecolor")
            os.execv(sys.executable, [sys.executable, "-c", code])

    def until(self, word: bytes, most_s: float = 120.0) -> None:
        """Wait for a word, then for silence.

        Raises:
            TimeoutError: the word never came.
        """
        seen, limit = b"", time.perf_counter() + most_s
        while word not in seen:
            if time.perf_counter() > limit:
                raise TimeoutError(seen[-2000:].decode(errors="replace"))
            if select.select([self._descriptor], [], [], 0.05)[0]:
                seen += os.read(self._descriptor, 65536)
        while select.select([self._descriptor], [], [], 1.5)[0]:
            os.read(self._descriptor, 65536)

    def press(self, key: bytes) -> float | None:
        """Press a key; seconds to the last byte of what it changed, None where it changed nothing."""
        started = time.perf_counter()
        os.write(self._descriptor, key)
        last = None
        while select.select([self._descriptor], [], [], QUIET_S if last else 0.3)[0]:
            os.read(self._descriptor, 65536)
            last = time.perf_counter() - started
        return last

    def close(self) -> None:
        """End it."""
        os.kill(self._pid, 9)
        os.waitpid(self._pid, 0)
        os.close(self._descriptor)


def keys(size: tuple[int, int]) -> dict[str, list[float]]:
    """Seconds from key to paint on a song of 200 bars, by kind of walk."""
    out: dict[str, list[float]] = {}
    with tempfile.TemporaryDirectory() as folder:
        song = Path(folder) / "long.musicxml"
        song.write_bytes(small_song(BARS))
        words = ["--silent", "open", str(song)]
        running = Running(OURS.format(folder=folder).replace('["--silent"]', repr(words)), size)
        try:
            running.until(f"{BARS} bars".encode())
            for name, walk in WALK.items():
                out[name] = [taken for key in walk if (taken := running.press(key)) is not None]
        finally:
            running.close()
    return out


def _share(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, int(len(values) * share))]


def main() -> None:
    """Measure and say it."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 9
    for size in ((80, 24), (140, 45), (200, 60)):
        taken = keys(size)
        for name, values in [*taken.items(), ("all keys", [v for found in taken.values() for v in found])]:
            half, most = _share(values, 0.5) * 1000, _share(values, 0.95) * 1000
            sys.stdout.write(
                f"{size[0]}x{size[1]} {name}: {len(values)} keys, p50 {half:.0f} ms, p95 {most:.0f} ms "
                f"(limit {KEY_LIMIT_S * 1000:.0f})\n"
            )
    bare, ours = compare(rounds)
    sys.stdout.write(f"bare {bare * 1000:.0f} ms, ours {ours * 1000:.0f} ms, ratio {ours / bare:.2f} (limit {LIMIT})\n")


if __name__ == "__main__":
    main()
