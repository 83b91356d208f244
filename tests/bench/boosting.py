"""Fits boosted trees: Newton steps on the logistic loss over binned features (Friedman 2001; recalled)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.slices import Floats, Ints
from tutor.analysis.trees import Trees

Doubles = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Grove:
    """How to fit the trees."""

    trees: int = 150
    depth: int = 4
    rate: float = 0.05
    bins: int = 32
    ridge: float = 5.0
    least: float = 15.0
    """Least weight of the rows on either side of a question."""
    share: float = 0.6
    """Share of the features that each tree may ask about."""


def fit_trees(values: Floats, label: Ints, weight: Floats, plan: Grove, seed: int) -> Trees:
    """Fit trees.

    Args:
        values: Features, shape (n, features).
        label: 0 or 1, shape (n,).
        weight: Shape (n,).
        plan: Size and schedule.
        seed: Seed of the choice of features.
    """
    random = np.random.default_rng(seed)
    count = values.shape[1]
    edges = _edges(values, plan.bins)
    binned = np.stack([np.searchsorted(edges[:, f], values[:, f], side="left") for f in range(count)], axis=1)
    mean = float((weight * label).sum() / weight.sum())
    start = np.log(mean / (1 - mean))
    odds = np.full(len(values), start)
    inner = 2**plan.depth - 1
    asked, above = np.zeros((plan.trees, inner), dtype=np.int16), np.full((plan.trees, inner), np.inf, dtype=np.float32)
    leaves = np.zeros((plan.trees, inner + 1), dtype=np.float32)
    for t in range(plan.trees):
        share = 1 / (1 + np.exp(-odds))
        slope, bend = weight * (label - share), weight * share * (1 - share)
        allowed = np.sort(random.choice(count, max(1, int(count * plan.share)), replace=False))
        at = np.zeros(len(values), dtype=np.int64)
        for d in range(plan.depth):
            first, nodes = 2**d - 1, 2**d
            feature, cut = _questions(binned[:, allowed], at - first, nodes, slope, bend, weight, plan)
            feature = allowed[feature]
            asked[t, first : first + nodes] = feature
            closed = cut >= plan.bins - 1
            above[t, first : first + nodes] = np.where(closed, np.inf, edges[np.minimum(cut, plan.bins - 2), feature])
            mine = at - first
            at = 2 * at + 1 + (binned[np.arange(len(at)), feature[mine]] > cut[mine])
        leaf = at - inner
        total = np.bincount(leaf, slope, inner + 1) / (np.bincount(leaf, bend, inner + 1) + plan.ridge)
        leaves[t] = plan.rate * total
        odds += leaves[t][leaf]
    return Trees(asked, above, leaves, np.array([start], dtype=np.float32))


def _edges(values: Floats, bins: int) -> Floats:
    """Where the bins of each feature part, shape (bins - 1, features); a value at an edge belongs below it."""
    places = np.linspace(0, 1, bins + 1)[1:-1]
    return np.quantile(values, places, axis=0, method="lower").astype(np.float32)


def _questions(
    binned: NDArray[np.int64], node: Ints, nodes: int, slope: Doubles, bend: Doubles, weight: Floats, plan: Grove
) -> tuple[Ints, Ints]:
    """The best question of each node: the feature and the last bin that goes left; no bin where none is worth it."""
    features = binned.shape[1]
    index = ((node[:, None] * features + np.arange(features)) * plan.bins + binned).ravel()
    size = nodes * features * plan.bins

    def below(amount: NDArray[np.floating]) -> Doubles:
        counts = np.bincount(index, np.repeat(amount, features), size)
        return counts.reshape(nodes, features, plan.bins).cumsum(axis=2)

    g, h, w = below(slope), below(bend), below(weight)
    score = g * g / (h + plan.ridge)
    right_g, right_h, right_w = g[:, :, -1:] - g, h[:, :, -1:] - h, w[:, :, -1:] - w
    gain = score + right_g * right_g / (right_h + plan.ridge) - score[:, :, -1:]
    gain[(w < plan.least) | (right_w < plan.least)] = -1.0
    flat = gain.reshape(nodes, -1)
    best = flat.argmax(axis=1)
    worth = flat[np.arange(nodes), best] > 1e-9
    return best // plan.bins, np.where(worth, best % plan.bins, plan.bins - 1)
