"""Sixel: pictures as characters, six rows of pixels to a line (DEC STD 070, VT330/VT340 programmer reference)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Indices = npt.NDArray[np.uint8]
Colour = tuple[int, int, int]
_ROWS = 6
_OFFSET = 63


def sixel(indices: Indices, palette: Sequence[Colour], *, ground: int = -1) -> str:
    """A picture as a sixel sequence.

    Args:
        indices: a colour's place in the palette for each pixel, shape (height, width).
        palette: red, green and blue, 0 to 255 each.
        ground: a place in the palette that is not painted, so that the terminal's own ground shows; -1 paints all.
            Sixel tells colours in hundredths, and a ground that is nearly the screen's would stand out as a patch.

    Returns:
        The sequence, opening and closing included.
    """
    height, width = indices.shape
    used = [int(c) for c in np.unique(indices) if c != ground]
    out = [f'\x1bP9;1;0q"1;1;{width};{height}']
    out += [f"#{c};2;" + ";".join(str(round(v * 100 / 255)) for v in palette[c]) for c in used]
    for top in range(0, height, _ROWS):
        band = indices[top : top + _ROWS]
        weights = (1 << np.arange(band.shape[0]))[:, None]
        lines = []
        for colour in np.unique(band[band != ground]):
            bits = ((band == colour) * weights).sum(axis=0)
            lines.append(f"#{int(colour)}{_packed(bits)}")
        out.append("$".join(lines) + ("-" if top + _ROWS < height else ""))
    return "".join(out) + "\x1b\\"


def _packed(bits: npt.NDArray[np.int64]) -> str:
    """Columns of six pixels as characters, runs of the same told once."""
    edges = np.flatnonzero(np.diff(bits)) + 1
    starts = np.concatenate(([0], edges))
    lengths = np.diff(np.concatenate((starts, [len(bits)])))
    out = []
    for start, length in zip(starts, lengths, strict=True):
        char = chr(_OFFSET + int(bits[start]))
        out.append(f"!{length}{char}" if length > 3 else char * int(length))
    return "".join(out)
