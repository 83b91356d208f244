"""Time to the first paint, against a bare app of the same library, in a pseudo-terminal.

Run it as ``python -m tests.bench.paint [ROUNDS]``. Both programs are started in turn; the clock runs from the start of
the process to the first output that holds a word of the screen. The house measure: at most 1.3 times the bare app.
"""

from __future__ import annotations

import os
import pty
import select
import statistics
import sys
import tempfile
import time
from pathlib import Path

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


def main() -> None:
    """Measure and say it."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 9
    bare, ours = compare(rounds)
    sys.stdout.write(f"bare {bare * 1000:.0f} ms, ours {ours * 1000:.0f} ms, ratio {ours / bare:.2f} (limit {LIMIT})\n")


if __name__ == "__main__":
    main()
