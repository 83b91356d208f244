"""Warm-ups for thousands of voices and songs, each judged: ``python -m tests.bench.warmups [CASES]``."""

from __future__ import annotations

import sys
import time
from collections import Counter

from hypothesis import HealthCheck, Phase, given, settings

from tests.warmup.judge import LAYERS, Case, Layer, cases, run

USUAL = 2000
"""Cases of each layer."""


def search(layer: Layer, many: int) -> Counter[str]:
    """Plan and judge; the first case that fails is shrunk and raised."""
    found: Counter[str] = Counter()

    @settings(
        max_examples=many, deadline=None, database=None, phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(cases(layer))
    def each(case: Case) -> None:
        found[run(case)] += 1

    each()
    return found


def main() -> None:
    """Search every layer and print what came of the cases."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else USUAL
    for layer in LAYERS:
        begun = time.perf_counter()
        found = search(layer, many)
        told = "; ".join(f"{what} {count}" for what, count in found.most_common())
        sys.stdout.write(f"{layer}: {told} ({time.perf_counter() - begun:.0f} s)\n")


if __name__ == "__main__":
    main()
