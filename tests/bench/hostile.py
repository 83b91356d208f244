"""Damaged files by the thousand: each must end in a table or in one clear line, in time.

Run as ``python -m tests.bench.hostile --count 100000 --workers 2``; more whole files to damage may be named.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import multiprocessing
import random
import time
import warnings
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from tests.score import makers
from tests.score.damage import digits_changed, mutated
from tutor.errors import ScoreError, SidecarError
from tutor.score.read import read_score
from tutor.score.romantext import parse_romantext

LIMIT_S = 10.0
"""Longest time one file may take."""
_TEXT = b"Title: x\n\nm1 C: I b3 V6\nm2 b1 vi b2.5 V7/V b4 G: V\nm3-4 = m1-2\nm5 NC\n"


def wholes(paths: Sequence[Path]) -> dict[str, bytes]:
    """The files to damage, by name."""
    song = makers.small_song()
    return {
        "song.musicxml": song,
        "song.mxl": makers.packed({"score.xml": song}),
        "song.mid": makers.midi([(60, 1), (64, 0.5), (67, 1.5)], tracks=2),
        "song.abc": makers.ABC,
        "song.krn": makers.KERN,
        "song.rntxt": _TEXT,
        **{path.name: path.read_bytes() for path in paths},
    }


def one(job: tuple[str, bytes, int]) -> tuple[str, str, float]:
    """Damage a file with a seed and read it: its name, how it ended, and the seconds it took."""
    name, whole, seed = job
    rng = random.Random(seed)
    data = digits_changed(whole, rng) if rng.random() < 0.4 else mutated(whole, rng)
    started = time.monotonic()
    end = "read"
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        try:
            if name.endswith(".rntxt"):
                parse_romantext(data.decode("utf-8", "replace"), name)
            else:
                read_score(data, name)
        except (ScoreError, SidecarError) as error:
            end = "told" if "\n" not in error.line else "more than a line"
        except Exception as error:  # the very thing looked for
            end = f"FAULT {type(error).__name__}, seed {seed}"
    return name, end, time.monotonic() - started


def main() -> None:
    """Count the ends and print the slowest."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("files", nargs="*", type=Path)
    wanted = parser.parse_args()
    warnings.simplefilter("ignore")
    files = wholes(wanted.files)
    names = list(files)
    jobs = ((names[n % len(names)], files[names[n % len(names)]], wanted.seed + n) for n in range(wanted.count))
    ends: Counter[tuple[str, str]] = Counter()
    slowest: list[tuple[float, str, str]] = []
    with multiprocessing.get_context("spawn").Pool(wanted.workers, maxtasksperchild=2000) as pool:
        for name, end, seconds in pool.imap_unordered(one, jobs, chunksize=20):
            ends[(name, end)] += 1
            slowest = sorted([*slowest, (seconds, name, end)], reverse=True)[:5]
    for (name, end), count in sorted(ends.items()):
        print(f"{name:20} {end:40} {count:8}")
    for seconds, name, end in slowest:
        print(f"{seconds:6.2f} s  {name} {end}")
    faults = sum(count for (_, end), count in ends.items() if end not in ("read", "told"))
    raise SystemExit(1 if faults or slowest[0][0] > LIMIT_S else 0)


if __name__ == "__main__":
    main()
