"""What the trace of sung pitch costs, drawn thirty times a second: ``python -m tests.bench.trace [SECONDS]``.

A pretended voice is fed to the practice screen's meter in a real pseudo-terminal of 120 by 32. The house measure:
thirty frames a second for less than half a core, by the processor's clock.
"""

from __future__ import annotations

import contextlib
import os
import pty
import select
import sys
import tempfile
from pathlib import Path

CHILD = """
import math, sys, time
from textual.app import App
from tutor.music.take import TrackPoint
from tutor.tui.look import NIGHT, variables
from tutor.tui.widgets.pitch_meter import PitchMeter
RATE, SECONDS, OUT = 30, {seconds}, {out!r}
class Bench(App):
    CSS = "PitchMeter {{ height: 1fr; }}"
    def get_theme_variable_defaults(self):
        return variables(NIGHT)
    def compose(self):
        self.meter = PitchMeter()
        yield self.meter
    def on_ready(self):
        self.meter.begin(67, (64, 67, 71))
        draw, self.drawn = self.meter.render, 0
        def counted():
            self.drawn += 1
            return draw()
        self.meter.render = counted
        self.started, self.spent, self.at = time.perf_counter(), time.process_time(), 0
        self.set_interval(1 / RATE, self.more)
    def more(self):
        points = []
        for _ in range(4):
            self.at += 1
            t = self.at / (4 * RATE)
            points.append(TrackPoint(t, 392 * 2 ** (0.3 * math.sin(6 * t) / 12 + math.sin(t) / 4), 0.9))
        self.meter.feed(points)
        past = time.perf_counter() - self.started
        if past >= SECONDS:
            with open(OUT, "w") as out:
                out.write(f"{{self.drawn / past}} {{(time.process_time() - self.spent) / past}}")
            self.exit()
Bench().run()
"""


def measure(seconds: float) -> tuple[float, float]:
    """Frames a second, and the share of a core they took."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "figures"
        code = CHILD.format(seconds=seconds, out=str(out))
        pid, descriptor = pty.fork()
        if pid == 0:  # pragma: no cover - the child
            os.environ.update(TERM="xterm-256color", COLORTERM="truecolor", COLUMNS="120", LINES="32")
            os.execv(sys.executable, [sys.executable, "-c", code])
        try:
            while os.waitpid(pid, os.WNOHANG)[0] == 0:
                if select.select([descriptor], [], [], 0.1)[0]:
                    with contextlib.suppress(OSError):  # the child has ended
                        os.read(descriptor, 65536)
        finally:
            os.close(descriptor)
        frames, share = out.read_text().split()
        return float(frames), float(share)


def main() -> None:
    """Measure and say it."""
    frames, share = measure(float(sys.argv[1]) if len(sys.argv) > 1 else 6.0)
    sys.stdout.write(f"{frames:.1f} frames a second, {share:.0%} of a core (limit 50%)\n")


if __name__ == "__main__":
    main()
