"""Which sections bear one letter: those are joined that are most likely the same, for as long as the odds favour it."""

from __future__ import annotations

from collections.abc import Sequence


def join_groups(odds: Sequence[Sequence[float]], size: Sequence[int], join: float) -> list[int]:
    """Group numbers by average linkage, in order of first appearance.

    Args:
        odds: For each member the log odds with every one before it.
        size: The weight of each.
        join: What the average must exceed for two groups to be joined.
    """
    groups = {k: [k] for k in range(len(size))}
    weight = {(b, a): size[b] * size[a] for b in groups for a in range(b)}
    total = {(b, a): odds[b][a] * times for (b, a), times in weight.items()}
    mean = {pair: _to_nine(total[pair] / times) for pair, times in weight.items()}
    while mean:
        b, a = max(mean, key=mean.__getitem__)  # of equals the first, in order of the later group
        if mean[b, a] <= join:
            break
        groups[a] += groups.pop(b)
        del mean[b, a]
        for k in groups:
            if k != a:
                kept, gone = (max(a, k), min(a, k)), (max(b, k), min(b, k))
                total[kept] += total[gone]
                weight[kept] += weight[gone]
                mean[kept] = _to_nine(total[kept] / weight[kept])
                del mean[gone]
    number = {k: name for name, group in enumerate(groups.values()) for k in group}
    return [number[k] for k in range(len(size))]


def _to_nine(value: float) -> float:
    """Rounded to nine decimals, so that what is the same but for the order of a sum stays equal."""
    return round(value * 1e9) / 1e9
