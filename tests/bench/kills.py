"""Kill a practice session again and again and count answers that were shown as kept and are gone.

Run it as ``python -m tests.bench.kills [TURNS]``; the house measure is 200 turns and none lost.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from tutor.studio import Studio

_SESSION = """
import sys
from pathlib import Path
from tutor.practice.drill import Answer
from tutor.studio import Studio
studio = Studio.open(Path(sys.argv[1]), silent_ports=True)
if studio.rehearsal.resume(studio.singer) is None:
    studio.rehearsal.begin(studio.singer, count=1000)
print("ready", flush=True)
while studio.rehearsal.current:
    studio.rehearsal.answer(Answer(), 1.0)
    print("kept", flush=True)
"""


@dataclass(frozen=True, slots=True)
class Told:
    """What the kills showed."""

    turns: int
    shown: int
    """Answers shown as kept."""
    lost: int
    """Of these, answers that were gone."""
    notices: tuple[str, ...]
    """What the store had to mend when it was opened."""


def kill_sessions(folder: Path, *, turns: int, seed: int = 1) -> Told:
    """Run a session, kill it at a random moment, open the store, count; again and again on the same store."""
    dice = random.Random(seed)
    shown = lost = 0
    notices: list[str] = []
    for _ in range(turns):
        before = _reviews(folder, notices) if any(folder.iterdir()) else 0
        process = subprocess.Popen([sys.executable, "-c", _SESSION, str(folder)], stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(dice.uniform(0.0, 0.4))
        process.kill()
        told = process.stdout.read().split("\n").count("kept")
        process.stdout.close()
        process.wait()
        shown += told
        lost += max(0, before + told - _reviews(folder, notices))
    return Told(turns, shown, lost, tuple(notices))


def _reviews(folder: Path, notices: list[str]) -> int:
    studio = Studio.open(folder, silent_ports=True)
    if studio.store.notice:
        notices.append(studio.store.notice)
    found = len(studio.store.reviews(studio.singer.name))
    studio.close()
    return found


def main() -> None:
    """Print the count."""
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with tempfile.TemporaryDirectory() as folder:
        told = kill_sessions(Path(folder), turns=turns)
    print(f"{told.turns} kills, {told.shown} answers shown as kept, {told.lost} lost, {len(told.notices)} mended")


if __name__ == "__main__":
    main()
