"""Chord qualities and the intervals they are made of, on the line of fifths."""

from __future__ import annotations

from typing import Literal, get_args

from tutor.music.chord import SHAPES
from tutor.music.pitch import PitchClass

Quality = Literal[
    "major", "minor", "diminished", "augmented",
    "dominant-seventh", "major-seventh", "minor-seventh", "half-diminished-seventh", "diminished-seventh",
    "minor-major-seventh", "augmented-seventh", "augmented-major-seventh", "dominant-seventh-flat-five",
    "suspended-second", "suspended-fourth", "major-sixth", "minor-sixth",
    "italian-sixth", "german-sixth", "french-sixth", "power",
    "major-ninth", "dominant-ninth", "minor-ninth", "added-ninth",
]  # fmt: skip
"""Every quality a reading may name."""

_SIXTHS: dict[Quality, tuple[int, ...]] = {
    "italian-sixth": (0, -10, -6),
    "german-sixth": (0, -10, -6, -9),
    "french-sixth": (0, 4, -6, -2),
}
"""Augmented sixths from their theoretical root: the raised fourth degree (Italian, German) or the second (French), so
that the chord in its usual form has the flat sixth degree in the bass."""

QUALITIES: tuple[Quality, ...] = get_args(Quality)
MEMBERS: dict[Quality, tuple[int, ...]] = {
    name: _SIXTHS[name] if name in _SIXTHS else tuple(i.fifths for i in SHAPES[name]) for name in QUALITIES
}
"""Members from the root, in steps on the line of fifths: -3 is a minor third, 1 a perfect fifth."""

TRIADS: tuple[Quality, ...] = ("major", "minor", "diminished", "augmented")
"""The four triads."""


def tones_of(root: PitchClass, quality: Quality) -> tuple[PitchClass, ...]:
    """The spelled members of a chord, root first."""
    return tuple(PitchClass(root.fifths + step) for step in MEMBERS[quality])


def bass_of(root: PitchClass, quality: Quality, inversion: int) -> PitchClass:
    """The member in the bass.

    Args:
        root: Root.
        quality: Quality.
        inversion: Member in the bass: 0 root, 1 third, 2 fifth, 3 seventh (or sixth).

    Raises:
        ValueError: the chord has no such member.
    """
    tones = tones_of(root, quality)
    if not 0 <= inversion < len(tones):
        raise ValueError(f"a {quality} chord has no inversion {inversion}")
    return tones[inversion]
