"""The chords the model tells apart, and how they are named.

A chord class is a quality with an inversion; with a root it is a chord. Augmented sixths have one class each, counted
from their bass, the lowered sixth degree; `named` gives them the root and inversion of the contract (theoretical
root: the raised fourth degree for the Italian and German, the second for the French).
"""

from __future__ import annotations

import numpy as np

from tutor.analysis.findings import Quality
from tutor.analysis.slices import Floats, Ints

QUALITIES: tuple[tuple[Quality, int], ...] = (
    ("major", 3),
    ("minor", 3),
    ("diminished", 3),
    ("augmented", 3),
    ("dominant-seventh", 4),
    ("major-seventh", 4),
    ("minor-seventh", 4),
    ("half-diminished-seventh", 4),
    ("diminished-seventh", 4),
    ("augmented-seventh", 4),
    ("italian-sixth", 1),
    ("german-sixth", 1),
    ("french-sixth", 1),
)
"""Each quality with the number of its inversions."""
CLASSES: tuple[tuple[Quality, int], ...] = tuple((q, i) for q, n in QUALITIES for i in range(n))
"""Chord classes in the order of the model's outputs."""
SIZE = len(CLASSES)
AUGMENTED_SIXTHS = ("italian-sixth", "german-sixth", "french-sixth")
_GROUPS = {
    "major": 0, "major-seventh": 0, "minor": 1, "minor-seventh": 1, "dominant-seventh": 2, "augmented-seventh": 2,
    "augmented": 2, "diminished": 3, "half-diminished-seventh": 3, "diminished-seventh": 3, "italian-sixth": 4,
    "german-sixth": 4, "french-sixth": 4,
}  # fmt: skip
GROUPS = 5
"""Kinds of chord that succession is counted by: major, minor, dominant, diminished, augmented sixth."""
GROUP_OF: Ints = np.array([_GROUPS[q] for q, _ in CLASSES], dtype=np.int64)
"""Kind of each class."""
_STEPS = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "diminished": (0, 3, 6), "augmented": (0, 4, 8),
    "dominant-seventh": (0, 4, 7, 10), "major-seventh": (0, 4, 7, 11), "minor-seventh": (0, 3, 7, 10),
    "half-diminished-seventh": (0, 3, 6, 10), "diminished-seventh": (0, 3, 6, 9), "augmented-seventh": (0, 4, 8, 10),
    "italian-sixth": (0, 4, 10), "german-sixth": (0, 4, 7, 10), "french-sixth": (0, 4, 6, 10),
}  # fmt: skip
MEMBERS: Floats = np.array([[float(s in _STEPS[q]) for s in range(12)] for q, _ in CLASSES], dtype=np.float32)
"""Whether each semitone above the root belongs to a class, shape (SIZE, 12)."""
BASS: Ints = np.array([_STEPS[q][i] for q, i in CLASSES], dtype=np.int64)
"""Semitones of the bass above the root, shape (SIZE,)."""
INDEX = {c: i for i, c in enumerate(CLASSES)}
"""Number of each class."""


def named(root: int, index: int) -> tuple[int, Quality, int]:
    """Root on the line of fifths, quality and inversion by the contract, of a class counted from ``root``."""
    quality, inversion = CLASSES[index]
    if quality == "french-sixth":
        return root + 6, quality, 2
    if quality in AUGMENTED_SIXTHS:
        return root + 10, quality, 1
    return root, quality, inversion
