"""Finds the drills: whatever lies in drills/ and offers a value named `drill`.

The folder is reached by name, so that this room does not import upwards.
"""

from __future__ import annotations

import importlib
import pkgutil
from functools import lru_cache

from tutor.practice.drill import Drill

ORDER = (
    "inversions", "borrowed", "form", "what-changed", "rub-or-rest", "cadences", "intervals", "chord-quality",
    "degrees", "bass-line", "melody-by-ear", "sing-at-sight", "high-note",
)  # fmt: skip
"""The order in which drills are shown; one that is not named here follows, by name."""


@lru_cache(maxsize=1)
def drills() -> tuple[Drill, ...]:
    """Every drill, in the order shown.

    Raises:
        TypeError: a file in drills/ offers no drill; two drills share a name.
    """
    package = importlib.import_module("drills")
    found: list[Drill] = []
    for info in sorted(pkgutil.iter_modules(package.__path__), key=lambda i: i.name):
        if info.name.startswith("_"):
            continue
        drill = getattr(importlib.import_module(f"drills.{info.name}"), "drill", None)
        if not isinstance(drill, Drill):
            raise TypeError(f"drills/{info.name}.py offers no drill")
        if any(d.name == drill.name for d in found):
            raise TypeError(f"two drills are named {drill.name!r}")
        found.append(drill)
    return tuple(sorted(found, key=lambda d: (ORDER.index(d.name) if d.name in ORDER else len(ORDER), d.name)))


def drill_named(name: str) -> Drill | None:
    """The drill with this name, or None."""
    return next((d for d in drills() if d.name == name), None)
