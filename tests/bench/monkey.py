"""Random keys by the thousand, on everything the program offers: ``python -m tests.bench.monkey [SEEDS] [STEPS]``.

Each seed is a day of a tester without patience: keys at random, other sizes of the terminal, other screens. A seed
fails with the first fault of the program, or where an answer was not kept.
"""

from __future__ import annotations

import asyncio
import sys
import time
import traceback

import pytest

from tests.tui.conftest import Clock, freeze, make_studio, run
from tests.tui.frozen import furnish
from tests.tui.test_monkey import press_at_random


async def day(seed: int, steps: int) -> None:
    """One seed."""
    clock = Clock()
    studio = make_studio(clock, seed)
    studio.set_voice("soprano")
    studio.rename_singer("Ada")
    furnish(studio.store)
    with pytest.MonkeyPatch.context() as patch:
        if seed % 2:
            freeze(patch)  # every way of answering in turn; even seeds meet the program's own drills
        await press_at_random(run, studio, clock, patch, seed, steps)
    studio.close()


def main() -> None:
    """Run and say it."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    steps = int(sys.argv[2]) if len(sys.argv) > 2 else 2000
    failed = 0
    for seed in range(1, seeds + 1):
        started = time.perf_counter()
        try:
            asyncio.run(day(seed, steps))
            words = "nothing broke, no answer was lost"
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                raise
            failed += 1
            words = "".join(traceback.format_exception(error)[-3:])
        sys.stdout.write(f"seed {seed}, {steps} keys, {time.perf_counter() - started:.0f} s: {words}\n")
        sys.stdout.flush()
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
