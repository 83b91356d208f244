"""Spacing along the line: how many columns a moment, a bar and the opening of a staff need."""

from __future__ import annotations

from collections.abc import Sequence

from tutor.tui.widgets.staff_layout import Bar, Head, Layout, Slot, Stack


def fit(bar: Bar, layout: Layout, width: int, wide: int) -> list[list[Slot]]:
    """A bar's moments, broken into runs where the bar is wider than the page."""
    room = width - 1 - head_width(layout, first=True)
    runs: list[list[Slot]] = [[]]
    for slot in bar.slots:
        if runs[-1] and bar_width([*runs[-1], slot], wide) > room:
            runs.append([])
        runs[-1].append(slot)
    return runs


def head_width(layout: Layout, *, first: bool) -> int:
    """Columns of clef, signature and, on the first system, metre."""
    return 6 + abs(layout.fifths) + (3 if first else 1)


def bar_width(slots: Sequence[Slot], wide: int) -> int:
    """Columns of a run of moments and the bar line behind it."""
    return sum(sum(slot_size(s, wide)) for s in slots) + 2


def slot_size(slot: Slot, wide: int = 2) -> tuple[int, int]:
    """Columns a moment needs left of its head column and from there on.

    Args:
        slot: the moment.
        wide: columns of a head.
    """
    left, right = 1, wide + 1
    for stacks in slot.stacks.values():
        heads = [h for s in stacks for h in s.heads]
        signs = max((len(h.accidental) for h in heads), default=0)
        columns = _sign_columns(heads) - 1 if signs else 0
        left = max(left, before(stacks, wide) + signs + 2 * columns, 1 + any(h.tied for h in heads))
        for stack in stacks:
            out = (wide + 1) * (1 + stack.shift + any(h.side > 0 for h in stack.heads))
            right = max(right, out + any(h.value.dots or h.mark for h in stack.heads))
    # Words start one column left of the head and need a blank after them.
    right = max(right, len(slot.syllable), len(slot.figure))
    return left, right


def before(stacks: Sequence[Stack], wide: int) -> int:
    """Columns left of the head column taken by stems, displaced heads and the edges of marked heads."""
    need = 0
    for stack in stacks:
        side = wide + 1 if any(h.side < 0 for h in stack.heads) else 0
        marked = any(h.mark and h.mark != "wrong" for h in stack.heads)
        stem = 1 if stack.value.stem and not stack.up else 0
        need = max(need, max(stem, side, int(marked)) - stack.shift * (wide + 1))
    return need


def _sign_columns(heads: Sequence[Head]) -> int:
    return max((c for c, _ in sign_places(heads)), default=0) + 1


def sign_places(heads: Sequence[Head]) -> list[tuple[int, Head]]:
    """A column for each accidental, 0 nearest to the heads, so that none stands on another."""
    rows: list[set[int]] = []
    out = []
    for head in sorted((h for h in heads if h.accidental), key=lambda h: -h.place):
        row = -((head.place + 1) // 2)
        column = next((i for i, taken in enumerate(rows) if row not in taken), len(rows))
        if column == len(rows):
            rows.append(set())
        rows[column].add(row)
        out.append((column, head))
    return out
