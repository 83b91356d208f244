"""Boosted trees: many small trees of yes-and-no questions whose answers add up to log-odds."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.slices import Floats


@dataclass(frozen=True, slots=True)
class Trees:
    """Complete trees of one depth d; the questions of a tree stand in the order of a heap, its root first."""

    asked: NDArray[np.int16]
    """Feature that each question looks at, shape (trees, 2**d - 1)."""
    above: Floats
    """A value above this goes on to the right, shape (trees, 2**d - 1)."""
    leaves: Floats
    """Log-odds, shape (trees, 2**d)."""
    start: Floats
    """Log-odds before the first tree, shape (1,)."""

    def odds(self, values: Floats) -> Floats:
        """Log-odds of each row of features, shape (n,)."""
        trees, questions = self.asked.shape
        yes = (values.take(self.asked.ravel(), axis=1) > self.above.ravel()).ravel()
        first = np.arange(len(values))[:, None] * (trees * questions) + np.arange(trees) * questions
        at = np.zeros((len(values), trees), dtype=np.int64)
        for _ in range((questions + 1).bit_length() - 1):
            at = 2 * at + 1 + yes.take(first + at)
        leaf = np.arange(trees) * (questions + 1) + at - questions
        total: Floats = self.leaves.ravel().take(leaf).sum(axis=1) + self.start
        return total

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Everything by name, as `of` takes it."""
        return {f.name: getattr(self, f.name) for f in fields(self)}

    @classmethod
    def of(cls, named: dict[str, NDArray[Any]]) -> Trees:
        """From arrays by name.

        Raises:
            KeyError: one is missing.
        """
        return cls(
            named["asked"].astype(np.int16),
            *(named[name].astype(np.float32) for name in ("above", "leaves", "start")),
        )


_NONE = np.zeros((0, 2), dtype=np.float32)
NO_TREES = Trees(np.zeros((0, 1), dtype=np.int16), _NONE[:, :1], _NONE, np.zeros(1, dtype=np.float32))
"""Trees that say nothing either way."""
