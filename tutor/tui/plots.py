"""Plots from plain blocks."""

from __future__ import annotations

from collections.abc import Sequence

from tutor.tui.look import Glyphs


def columns(values: Sequence[float], names: Sequence[str], sign: Glyphs, *, height: int = 4, wide: int = 4) -> str:
    """Upright bars, each with its figure above and its name below.

    Args:
        values: what is shown; 0 draws no bar.
        names: what stands below, one each.
        sign: the signs in use.
        height: rows of the tallest bar.
        wide: columns from one bar to the next.
    """
    most = max(values, default=0) or 1
    halves = [0 if not v else max(1, round(v / most * height * 2)) for v in values]
    rows = []
    for row in range(height, -1, -1):
        cells = []
        for value, tall in zip(values, halves, strict=True):
            if tall >= 2 * row + 2 and row < height:
                cells.append(sign.full * (wide - 1))
            elif tall == 2 * row + 1:
                cells.append(sign.half * (wide - 1))
            elif value and row == (tall + 1) // 2:
                cells.append(f"{value:g}"[: wide - 1].center(wide - 1))
            else:
                cells.append(" " * (wide - 1))
        rows.append(" ".join(cells).rstrip())
    rows.append(" ".join(n[: wide - 1].center(wide - 1) for n in names).rstrip())
    return "\n".join(rows)


def bar(share: float, sign: Glyphs, length: int = 10) -> str:
    """A bar along the line for a share of 0 to 1."""
    full = round(min(1.0, max(0.0, share)) * length)
    return sign.full * full + sign.rule * (length - full)


def table(names: Sequence[str], counts: Sequence[Sequence[int]], sign: Glyphs, *, room: int = 30) -> str:
    """A table of what was answered (columns, by number) for what was right (rows); the diagonal stands in brackets.

    Args:
        names: what can be right and what was answered, the same for both.
        counts: a row for each.
        sign: the signs in use.
        room: columns for the names.
    """
    short = [n if len(n) <= room else n[: room - len(sign.ellipsis)] + sign.ellipsis for n in names]
    wide = max(len(n) for n in short)
    lines = [" " * (wide + 4) + "".join(f"{i:>5} " for i in range(1, len(names) + 1)).rstrip()]
    for i, name in enumerate(short):
        cells = [(f"[{n}]" if j == i else f"{n} " if n else f"{sign.dot} ").rjust(6) for j, n in enumerate(counts[i])]
        lines.append(f"{i + 1:>2}  {name:<{wide}}{''.join(cells)}".rstrip())
    return "\n".join(lines)
