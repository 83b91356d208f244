"""Pictures by kitty's protocol, placed with Unicode placeholders, so that they move and go with the text around them.

https://sw.kovidgoyal.net/kitty/graphics-protocol/#unicode-placeholders
"""

from __future__ import annotations

import base64

PLACEHOLDER = "\U0010eeee"
_CHUNK = 4096
_MARKS = (
    "305 30d 30e 310 312 33d 33e 33f 346 34a 34b 34c 350 351 352 357 35b 363 364 365 366 367 368 369 36a 36b 36c 36d "
    "36e 36f 483 484 485 486 487 592 593 594 595 597 598 599 59c 59d 59e 59f 5a0 5a1 5a8 5a9 5ab 5ac 5af 5c4 610 611 "
    "612 613 614 615 616 617 657 658 659 65a 65b 65d 65e 6d6 6d7 6d8"
)
"""Numbers from zero, as the protocol's table writes them."""
MARKS = tuple(chr(int(code, 16)) for code in _MARKS.split())
MOST_ROWS = len(MARKS)
"""As many rows as there are marks here."""


def transmission(png: bytes, number: int, columns: int, rows: int) -> str:
    """What sends a picture and makes it ready to be placed; the terminal is to answer nothing."""
    data = base64.standard_b64encode(png).decode("ascii")
    parts = [data[i : i + _CHUNK] for i in range(0, len(data), _CHUNK)]
    out = []
    for i, part in enumerate(parts):
        keys = f"a=T,U=1,f=100,t=d,q=2,i={number},c={columns},r={rows}," if i == 0 else ""
        out.append(f"\x1b_G{keys}m={int(i + 1 < len(parts))};{part}\x1b\\")
    return "".join(out)


def placeholders(row: int, columns: int) -> str:
    """The characters that stand for one row of a picture; the text colour names the picture.

    Raises:
        IndexError: there is no mark for the row.
    """
    # Row and column are told once; the cells to the right count on by themselves.
    return PLACEHOLDER + MARKS[row] + MARKS[0] + PLACEHOLDER * (columns - 1)


def removal(number: int) -> str:
    """What frees a picture."""
    return f"\x1b_Ga=d,d=I,q=2,i={number}\x1b\\"
