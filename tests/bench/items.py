"""Ten thousand items a drill, each checked by an independent route; how many are distinct, and what one costs.

Run from the project's folder::

    python -m tests.bench.items            # all drills, 10,000 items each
    python -m tests.bench.items 500        # a shorter run
    python -m tests.bench.items 10000 form cadences

Songs: the invented one of the tests. Ends with status 1 when an item is wrong or an item's median cost passes 5 ms.
"""

from __future__ import annotations

import json
import random
import sys
import time

from tests.drills.checks import checked, faults
from tests.practice.songs import lanterns
from tutor.practice.catalogue import drills
from tutor.practice.drill import Drill, Material

LIMIT_MS = 5.0


def run(drill: Drill, count: int) -> tuple[int, list[str]]:
    """Check a drill's items: (how many are wrong, lines to print)."""
    material = Material(songs=(lanterns(),))
    lines, wrong = [], 0
    skills = list(drill.skills)
    each = -(-count // len(skills))
    for skill in skills:
        costs: list[float] = []
        distinct: set[int] = set()
        bad: list[str] = []
        for seed in range(each):
            rng = random.Random(f"{drill.name} {skill} {seed}")
            begin = time.perf_counter()
            item = drill.item(skill, material, rng, level=(seed % 21) / 20)
            costs.append((time.perf_counter() - begin) * 1000)
            distinct.add(hash(json.dumps(item.payload, sort_keys=True)))
            if checked(drill, skill):
                bad += faults(drill, item)
            elif not drill.mark(item, drill.right(item)).correct:
                bad.append(f"{drill.name}: {skill}: the right answer earns less than all")
        costs.sort()
        wrong += len(bad)
        route = "independent" if checked(drill, skill) else "contract only"
        lines.append(
            f"{drill.name:14} {skill:18} {each:6} items {len(distinct):6} distinct {len(bad):4} wrong ({route})  "
            f"median {costs[each // 2]:.2f} ms  95 % {costs[int(each * 0.95)]:.2f} ms"
        )
        lines += [f"    {b}" for b in bad[:3]]
        if costs[each // 2] > LIMIT_MS:
            wrong += 1
            lines.append("    too slow")
    return wrong, lines


def main(arguments: list[str]) -> int:
    """Run the bench; the exit status."""
    count = int(arguments[0]) if arguments else 10_000
    wanted = arguments[1:]
    total = 0
    for drill in drills():
        if not wanted or drill.name in wanted:
            wrong, lines = run(drill, count)
            total += wrong
            sys.stdout.write("\n".join(lines) + "\n")
            sys.stdout.flush()
    sys.stdout.write(f"wrong: {total}\n")
    return 1 if total else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
