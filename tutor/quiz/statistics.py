"""Figures of classical test theory, kept as running sums: a hundred thousand answer sheets in constant memory.

Formulas: facility p and discrimination as in classical test theory; point-biserial correlation as Pearson's r of a
0/1 item with the total, and corrected by leaving the item out of the total (both as the documentation of the R package
ltm, `descript`, describes them); KR-20 after Kuder and Richardson (1937), with the n-divisor for the variance of the
totals, since p q is a variance with that divisor too (mixing it with n - 1 is a common slip); the interval after Wilson
(1927).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

_Z95 = 1.959963984540054
"""Two-sided 95 % point of the normal distribution."""


@dataclass(frozen=True, slots=True)
class ItemFigures:
    """What one question showed."""

    asked: int
    facility: float
    """Share right, 0 to 1."""
    interval: tuple[float, float]
    """Wilson's 95 % interval of the share."""
    point_biserial: float | None
    """Correlation with the total; None where nothing varies."""
    corrected: float | None
    """Correlation with the total of the other questions; None where nothing varies."""
    chosen: dict[str, int]
    """How often each answer was given; '' for none."""


@dataclass(frozen=True, slots=True)
class QuizFigures:
    """What the whole quiz showed."""

    sheets: int
    mean: float
    """Mean number right."""
    deviation: float
    """Standard deviation of the number right (n-divisor)."""
    kr20: float | None
    """Reliability; None for fewer than two questions or where nobody differs."""
    items: tuple[ItemFigures, ...]


class Tally:
    """Running sums over answer sheets.

    Args:
        key: label of the right answer of each question, in order.
    """

    def __init__(self, key: Sequence[str]) -> None:
        self._key = tuple(key)
        self._sheets = 0
        self._total = 0
        self._squares = 0
        self._right = [0] * len(self._key)
        self._cross = [0] * len(self._key)
        self._chosen: list[Counter[str]] = [Counter() for _ in self._key]

    def add(self, answers: Sequence[str]) -> int:
        """Take one sheet in; '' stands for no answer and counts as wrong. Gives the number right.

        Raises:
            ValueError: the sheet has not one answer for each question.
        """
        if len(answers) != len(self._key):
            raise ValueError(f"{len(answers)} answers for {len(self._key)} questions")
        hits = [a == k for a, k in zip(answers, self._key, strict=True)]
        score = sum(hits)
        self._sheets += 1
        self._total += score
        self._squares += score * score
        for i, (hit, answer) in enumerate(zip(hits, answers, strict=True)):
            self._chosen[i][answer] += 1
            if hit:
                self._right[i] += 1
                self._cross[i] += score
        return score

    def figures(self) -> QuizFigures:
        """The figures so far."""
        n = self._sheets
        mean = self._total / n if n else 0.0
        variance = max(0.0, self._squares / n - mean * mean) if n else 0.0
        return QuizFigures(
            sheets=n,
            mean=mean,
            deviation=math.sqrt(variance),
            kr20=self._kr20(variance),
            items=tuple(self._item(i, mean, variance) for i in range(len(self._key))),
        )

    def _kr20(self, variance: float) -> float | None:
        k, n = len(self._key), self._sheets
        if k < 2 or variance <= 1e-12:
            return None
        spread = sum((r / n) * (1 - r / n) for r in self._right)
        return k / (k - 1) * (1 - spread / variance)

    def _item(self, i: int, mean: float, variance: float) -> ItemFigures:
        n = self._sheets
        p = self._right[i] / n if n else 0.0
        own = p * (1 - p)
        covariance = self._cross[i] / n - p * mean if n else 0.0
        rest = variance + own - 2 * covariance
        return ItemFigures(
            asked=n,
            facility=p,
            interval=wilson(self._right[i], n),
            point_biserial=_correlation(covariance, own, variance),
            corrected=_correlation(covariance - own, own, rest),
            chosen=dict(self._chosen[i]),
        )


def wilson(right: int, asked: int) -> tuple[float, float]:
    """Wilson's 95 % interval of a share; (0, 1) when nothing was asked."""
    if asked == 0:
        return 0.0, 1.0
    p, z2 = right / asked, _Z95 * _Z95
    middle = (p + z2 / (2 * asked)) / (1 + z2 / asked)
    half = _Z95 * math.sqrt(p * (1 - p) / asked + z2 / (4 * asked * asked)) / (1 + z2 / asked)
    return max(0.0, middle - half), min(1.0, middle + half)


def luck(right: int, asked: int, choices: int) -> float:
    """Chance of at least ``right`` of ``asked`` by guessing among ``choices`` answers (binomial)."""
    p = 1 / choices
    return sum(math.comb(asked, k) * p**k * (1 - p) ** (asked - k) for k in range(right, asked + 1))


def _correlation(covariance: float, one: float, other: float) -> float | None:
    if one <= 1e-12 or other <= 1e-12:
        return None
    return covariance / math.sqrt(one * other)
