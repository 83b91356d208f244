"""How long the next question takes, and how large a stored session grows.

Run from the project's folder: ``python -m tests.bench.session``. Ends with status 1 when the next question takes
50 ms or more at the median.
"""

from __future__ import annotations

import json
import random
import sys
import time
from datetime import UTC, datetime, timedelta

from tests.practice.songs import lanterns
from tutor.practice.catalogue import drills
from tutor.practice.drill import Material
from tutor.practice.session import start

LIMIT_MS = 50.0


def main() -> int:
    """Answer sixty questions of every kind; the exit status."""
    now = datetime(2026, 1, 1, tzinfo=UTC)
    skills = [(d.name, s) for d in drills() for s in d.skills]
    session = start(
        drills(), [], Material(songs=(lanterns(),)), rng=random.Random(2), now=now, count=60, skills=skills, singer="x"
    ).prepare()
    next_ms, store_ms, prepare_ms, size = [], [], [], 0
    while (asked := session.current) is not None:
        right = asked.drill.right(asked.item)
        begin = time.perf_counter()
        session, _, _ = session.answer(right, 5, session.now + timedelta(seconds=5))
        _ = session.current
        next_ms.append((time.perf_counter() - begin) * 1000)
        begin = time.perf_counter()
        size = len(json.dumps(session.to_json()))
        store_ms.append((time.perf_counter() - begin) * 1000)
        begin = time.perf_counter()
        session = session.prepare()
        prepare_ms.append((time.perf_counter() - begin) * 1000)
    for name, values in (("next question", next_ms), ("to JSON", store_ms), ("preparing ahead", prepare_ms)):
        values.sort()
        middle, late = values[len(values) // 2], values[int(len(values) * 0.95)]
        sys.stdout.write(f"{name:16} median {middle:.2f} ms  95 % {late:.2f} ms\n")
    sys.stdout.write(f"stored session after sixty answers: {size // 1024} kB\n")
    return 1 if next_ms[len(next_ms) // 2] >= LIMIT_MS else 0


if __name__ == "__main__":
    sys.exit(main())
