"""Difficulty inside one skill: a weighted up-and-down rule that settles near 85 % right.

C. Kaernbach, "Simple adaptive testing with the weighted up-down method", Perception & Psychophysics 49 (1991):
the steps up and down stand in the ratio that balances at the wanted share p, here (1 - p) harder after a right
answer and p easier after a wrong one. Larger steps at first, smaller ones after some reversals, are usual (H. Levitt,
"Transformed up-down methods in psychoacoustics", JASA 49, 1971; recalled): until the first miss a right answer moves by
a leap, then coarse steps follow until four reversals, then fine ones. The sizes are ours: with them the made-up
learners of tests/bench/learner.py settle between 85 and 94 % right; without the leap they stayed at 91 to 99 %.
The wanted 85 % is a choice of ours: it lies near what classroom studies and learning models call fruitful, and no
study fixes it for musicians.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

TARGET = 0.85
"""Share right at which the level stays where it is."""
LEAP = 0.12
"""How far a full right answer raises the level before the first miss."""
COARSE = 0.25
FINE = 0.10
"""Step sizes on the 0 to 1 scale: a right answer raises the level by step x (1 - TARGET)."""
REVERSALS_TO_FINE = 4
START = 0.2
"""Level of a skill that was never asked, where nothing else is known."""


def start_level(neighbours: Sequence[float]) -> float:
    """Level at which a new skill begins: half-way from `START` to where its drill's other skills stand.

    Args:
        neighbours: levels of the skills of the same drill that were asked a few times.
    """
    return (START + sum(neighbours) / len(neighbours)) / 2 if neighbours else START


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
        if move > 0 and self.reversals == 0 and self.direction >= 0:
            move *= LEAP / (COARSE * (1 - TARGET))
        direction = 1 if move >= 0 else -1
        turned = self.direction != 0 and direction != self.direction
        level = min(1.0, max(0.0, self.level + move))
        return Ladder(round(level, 6), self.reversals + int(turned), direction)
