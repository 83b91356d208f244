"""Damaged and made-up files by the thousand, for every reader: each must end in a reading or in one clear line.

Run as ``python -m tests.bench.hostile --count 100000``; whole scores to damage beside our own may be named. A worker
may take 1 GB of memory and 10 seconds for one file; more of either is a fault.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import multiprocessing
import os
import random
import signal
import sys
import tempfile
import time
import warnings
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import islice
from pathlib import Path

LIMIT_S = 10.0
"""Longest time one file may take."""
MEMORY_BYTES = 1 << 30
"""Most memory a worker may ask for."""
BLOCK = 2_000
"""Inputs between two sets of workers."""
Job = tuple[str, bytes, int]


class TooLongError(BaseException):
    """One file took too long; no reader may catch this."""


def one(job: Job) -> tuple[str, str, float]:
    """Damage a file with a seed and read it: its name, how it ended with the seed, and the seconds it took.

    Without bytes the reader's own whole files are taken, and every third input is built instead of damaged.
    """
    from tests.trust.building import built
    from tests.trust.readers import READERS, Reader, damaged, song

    name, whole, seed = job
    dice = random.Random(seed)
    reader = next((r for r in READERS if r.name == name), None)
    if reader is None:
        reader = Reader(name, lambda: (whole,), song(name), damaged)
    made = built(name, dice) if not whole and dice.random() < 1 / 3 else None
    data = made if made is not None else reader.damage(whole or dice.choice(reader.wholes()), dice)
    with tempfile.TemporaryDirectory() as folder, _quiet(), _timed():
        started = time.monotonic()
        try:
            end = reader.end(data, Path(folder))
        except TooLongError:
            end = f"FAULT more than {LIMIT_S:g} seconds"
        seconds = time.monotonic() - started
    return name, f"{end} (seed {seed})", seconds


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        yield


@contextlib.contextmanager
def _timed() -> Iterator[None]:
    """Stop a reading that takes far too long, where the system has such a clock."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def late(*_: object) -> None:
        raise TooLongError

    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, LIMIT_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def _begin() -> None:
    """Limit a worker's memory, where the system can."""
    warnings.simplefilter("ignore")
    with contextlib.suppress(ImportError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))


def jobs(count: int, seed: int, files: Sequence[Path], only: Sequence[str] = ()) -> Iterator[Job]:
    """So many inputs, the readers mixed by their share."""
    from tests.trust.readers import READERS

    turn = [(r.name, b"") for r in READERS for _ in range(r.share) if not only or r.name in only]
    turn += [(path.name, path.read_bytes()) for path in files]
    random.Random(seed).shuffle(turn)
    for number in range(count):
        name, whole = turn[number % len(turn)]
        yield name, whole, seed + number


def main() -> None:
    """Count the ends and print the slowest."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", action="append", default=[], help="name of a reader, such as song.abc")
    parser.add_argument("files", nargs="*", type=Path)
    wanted = parser.parse_args()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    ends: Counter[tuple[str, str]] = Counter()
    spent: defaultdict[str, float] = defaultdict(float)
    slowest: list[tuple[float, str, str]] = []
    started = time.monotonic()
    work = jobs(wanted.count, wanted.seed, wanted.files, wanted.only)
    done = 0
    with contextlib.suppress(KeyboardInterrupt):  # what is known so far is told
        while block := list(islice(work, BLOCK)):  # fresh workers for every block: libraries keep what they have seen
            # A worker that dies raises BrokenProcessPool here.
            with ProcessPoolExecutor(wanted.workers, multiprocessing.get_context("spawn"), _begin) as pool:
                told = list(pool.map(one, block, chunksize=25))
            done += len(block)
            print(f"{done} in {time.monotonic() - started:.0f} s", file=sys.stderr, flush=True)
            for name, end, seconds in told:
                ends[name, end.rpartition(" (seed ")[0]] += 1
                spent[name] += seconds
                slowest = sorted([*slowest, (seconds, name, end)], reverse=True)[:5]
                if end.startswith("FAULT"):
                    print(f"{name}: {end}", flush=True)
    for (name, end), count in sorted(ends.items()):
        print(f"{name:28} {end[:70]:70} {count:8} {1000 * spent[name] / _of(ends, name):8.1f} ms each")
    for seconds, name, end in slowest:
        print(f"{seconds:6.2f} s  {name} {end}")
    faults = sum(count for (_, end), count in ends.items() if end not in ("read", "told"))
    print(f"{sum(ends.values())} inputs, {faults} faults, {time.monotonic() - started:.0f} s")
    raise SystemExit(1 if faults or any(seconds > LIMIT_S for seconds, _, _ in slowest) else 0)


def _of(ends: Counter[tuple[str, str]], name: str) -> int:
    return sum(count for (n, _), count in ends.items() if n == name)


if __name__ == "__main__":
    main()
