"""Difficulty inside one skill: a weighted up-and-down rule that settles near 85 % right.

C. Kaernbach, "Simple adaptive testing with the weighted up-down method", Perception & Psychophysics 49 (1991):
the steps up and down stand in the ratio that balances at the wanted share p, here (1 - p) harder after a right
answer and p easier after a wrong one. Two step sizes, coarse until four reversals, are usual in practice.
The wanted 85 % is a choice of ours: it lies near what classroom studies and learning models call fruitful, and no
study fixes it for musicians.
"""

from __future__ import annotations

from dataclasses import dataclass

TARGET = 0.85
"""Share right at which the level stays where it is."""
COARSE = 0.25
FINE = 0.10
"""Step sizes on the 0 to 1 scale: a right answer raises the level by step x (1 - TARGET)."""
REVERSALS_TO_FINE = 4
START = 0.2
"""Level of a skill that was never asked."""


@dataclass(frozen=True, slots=True)
class Ladder:
    """Where one singer stands in one skill."""

    level: float = START
    """0 (easiest) to 1 (hardest)."""
    reversals: int = 0
    """How often the direction has turned."""
    direction: int = 0
    """1 after a right answer, -1 after a wrong one, 0 before any."""

    def after(self, credit: float) -> Ladder:
        """The ladder after an answer that earned ``credit`` (0 to 1).

        Partial credit moves in proportion, so the level rests where the mean credit is `TARGET`.
        """
        step = COARSE if self.reversals < REVERSALS_TO_FINE else FINE
        move = step * ((1 - TARGET) * credit - TARGET * (1 - credit))
        direction = 1 if move >= 0 else -1
        turned = self.direction != 0 and direction != self.direction
        level = min(1.0, max(0.0, self.level + move))
        return Ladder(round(level, 6), self.reversals + int(turned), direction)
