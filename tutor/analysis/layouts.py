"""Layouts of a song: the best one, likely others, and the one that agrees best with all of them.

A layout is the first bar of each section; a labelling is one number a bar, the same where bars bear one letter.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

import numpy as np

from tutor.analysis.columns import Floats, Ints, distinct

OTHERS = 24
"""Likely layouts drawn besides the best one."""
SHARPER = 1.5
"""Power to which the model's probabilities are raised before drawing: from 1 to 2 both corpora of `tests.bench.form`
were read better than by the best layout alone, and here best (cross-validated)."""
_GOLDEN = 0.6180339887498949


def best_layout(score: Floats) -> list[int]:
    """First bar of each section on the best path; ``score`` [s, L - 1] is -inf where a stretch leaves the song."""
    n = len(score)
    best, back = [0.0], [0]
    for end, ending in enumerate(_by_end(score).tolist(), 1):
        total = [before + last for before, last in zip(reversed(best), ending, strict=False)]
        best.append(max(total))
        back.append(end - 1 - total.index(best[end]))
    cuts = [n]
    while cuts[-1] > 0:
        cuts.append(back[cuts[-1]])
    return cuts[:0:-1]


def _by_end(score: Floats) -> Floats:
    """The scores of the stretches by the bar they end before: [e - 1, L - 1], -inf where they would begin too early."""
    n, longest = score.shape
    first = np.arange(n)[:, None] - np.arange(longest)
    ending: Floats = np.where(first >= 0, score[np.maximum(first, 0), np.arange(longest)], -np.inf)
    return ending


def forward_backward(score: Floats) -> tuple[Floats, Floats]:
    """Log sums over all layouts of the bars before each bar line, and after it; each of shape (n + 1,)."""
    n, longest = score.shape
    after = np.full(n + 1 + longest, -np.inf)
    after[n] = 0.0
    for start in range(n - 1, -1, -1):
        after[start] = np.logaddexp.reduce(after[start + 1 : start + 1 + longest] + score[start])
    return sums_before(score), after[: n + 1]


def sums_before(score: Floats) -> Floats:
    """Log sums over all layouts of the bars before each bar line, shape (n + 1,)."""
    n, longest = score.shape
    before = np.full(longest + n + 1, -np.inf)
    before[longest] = 0.0
    for end, last in enumerate(_by_end(score), 1):
        before[end + longest] = np.logaddexp.reduce(before[end + longest - 1 : end - 1 : -1] + last)
    return before[longest:]


def likely_layouts(score: Floats, count: int = OTHERS) -> list[list[int]]:
    """Layouts in proportion to their (sharpened) probability.

    They are drawn from the end of the song backwards; the numbers that choose are no chance but spread evenly, so that
    one song always has the same layouts.
    """
    score = score * SHARPER
    before, ending = sums_before(score), _by_end(score)
    n, longest = score.shape
    known: dict[int, tuple[list[float], float]] = {}
    drawn: list[list[int]] = []
    for k in range(count):
        end, step, cuts = n, 0, []
        while end > 0:
            if end not in known:
                come = before[max(end - longest, 0) : end][::-1]
                share = np.exp(come + ending[end - 1, : len(come)] - before[end])
                known[end] = share.cumsum().tolist(), float(share.sum())
            reached, total = known[end]
            at = ((k + 0.5) / count if step == 0 else (k + 1) * _GOLDEN * (step + 1) ** 0.5) % 1.0
            end -= min(bisect_left(reached, at * total), len(reached) - 1) + 1
            cuts.append(end)
            step += 1
        drawn.append(cuts[::-1])
    return drawn


def agreement(one: Ints, two: Ints) -> float:
    """Pairwise F of two labellings."""
    return float(agreements([one, two])[0, 1])


def agreements(labellings: Sequence[Ints]) -> Floats:
    """Pairwise F of every two labellings: how far they agree on which bars bear one letter; shape (m, m)."""
    marks = [x[:, None] == distinct(x) for x in labellings]
    first = np.cumsum([0, *(m.shape[1] for m in marks[:-1])])
    together = np.concatenate(marks, axis=1).astype(np.float64)
    shared = (together.T @ together) ** 2  # bars that bear one label here and one there
    pairs = (np.add.reduceat(np.add.reduceat(shared, first, axis=0), first, axis=1) - len(together)) / 2
    either = np.add.outer(pairs.diagonal(), pairs.diagonal())
    out: Floats = np.where(either > 0, 2 * pairs / np.maximum(either, 1.0), 1.0)
    return out


def consensus(labellings: Sequence[Ints]) -> int:
    """Index of the labelling that agrees best with all but the first; of equals the first."""
    kinds: dict[bytes, int] = {}
    first: list[int] = []
    of = [kinds.setdefault(x.tobytes(), len(kinds)) for x in labellings]
    for k, kind in enumerate(of):
        if kind == len(first):
            first.append(k)
    if len(first) == 1:
        return 0
    weight = np.bincount(of[1:], minlength=len(first)).astype(np.float64)
    like = agreements([labellings[k] for k in first])
    return first[int(np.argmax(np.round(like @ weight, 9)))]


def same_letter(mine: Ints, other: Ints, first: int, last: int) -> float:
    """For the bars of a section: how far the bars that bear its letter are the same in another labelling.

    Returns:
        Mean over the section's bars of shared bars over all bars (Jaccard) of the two sets.
    """
    return float(same_letters(mine, other[None], [(first, last)])[0, 0])


def same_letters(mine: Ints, others: Ints, sections: Sequence[tuple[int, int]]) -> Floats:
    """`same_letter` for some sections in many labellings.

    Args:
        mine: What each of the n bars bears.
        others: The same in m other labellings, shape (m, n).
        sections: First bar and last plus one.

    Returns:
        Shape (sections, m).
    """
    m = len(others)
    numbers = others - others.min()
    kinds = int(numbers.max()) + 1
    numbers += kinds * np.arange(m)[:, None]

    def count(bars: Ints) -> Ints:
        return np.bincount(bars.ravel(), minlength=m * kinds).reshape(m, kinds)

    every = count(numbers)
    out = np.empty((len(sections), m))
    for row, (first, last) in zip(out, sections, strict=True):
        own = mine == mine[first]
        shared = count(numbers[:, own])
        shares = shared / (np.count_nonzero(own) + every - shared)
        row[:] = np.cumsum(shares * count(numbers[:, first:last]), axis=1)[:, -1] / (last - first)
    return out
