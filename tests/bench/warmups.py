"""Warm-ups for thousands of voices and songs, each judged, and led ones whatever is pressed.

::

    python -m tests.bench.warmups [CASES]
"""

from __future__ import annotations

import sys
import time
from collections import Counter

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.warmup.judge import LAYERS, Case, Layer, cases, run
from tests.warmup.presses import WISHES, press

USUAL = 2000
"""Cases of each layer."""


def _many(count: int) -> settings:
    return settings(
        max_examples=count, deadline=None, database=None, phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip


def search(layer: Layer, many: int) -> Counter[str]:
    """Plan and judge; the first case that fails is shrunk and raised."""
    found: Counter[str] = Counter()

    @_many(many)
    @given(cases(layer))
    def each(case: Case) -> None:
        found[run(case)] += 1

    each()
    return found


def pressed(many: int) -> Counter[str]:
    """Lead a warm-up whatever is pressed; the first case that fails is shrunk and raised."""
    found: Counter[str] = Counter()

    @_many(many)
    @given(wishes=WISHES, minutes=st.sampled_from([5, 12]), waits=st.booleans())
    def each(wishes: list[tuple[str, float]], minutes: float, waits: bool) -> None:
        found[press(wishes, minutes, waits)] += 1

    each()
    return found


def main() -> None:
    """Search every layer and the led warm-up, and print what came of the cases."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else USUAL
    names: tuple[Layer | None, ...] = (*LAYERS, None)
    for name in names:
        begun = time.perf_counter()
        found = search(name, many) if name else pressed(many)
        told = "; ".join(f"{what} {count}" for what, count in found.most_common())
        sys.stdout.write(f"{name or 'led'}: {told} ({time.perf_counter() - begun:.0f} s)\n")


if __name__ == "__main__":
    main()
