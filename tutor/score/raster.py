"""Engraved phrases as pixels. The rasteriser is an extra: ``pip install 'larkstair[pictures]'``."""

from __future__ import annotations

import io
from dataclasses import dataclass
from importlib.util import find_spec

import numpy as np
import numpy.typing as npt

from tutor.errors import ScoreError
from tutor.music.phrase import Phrase
from tutor.score.engrave import STYLE, SungClef, engrave

REMEDY = "Run: pip install 'larkstair[pictures]'"
_UNITS = 0.4
"""Pixels to a unit of the engraver, before enlarging."""
_FACES = "Times, 'Liberation Serif', 'Nimbus Roman', FreeSerif, 'DejaVu Serif', serif"
_SHADES = 8
"""Steps between the paper and each ink, for smooth edges."""


@dataclass(frozen=True, slots=True)
class Ink:
    """Colours, as #rrggbb."""

    paper: str
    notes: str
    lines: str
    """The five lines of a staff."""
    marked: str
    """Notes that are pointed out; they have another shape too."""


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """An engraved phrase in a few colours."""

    indices: npt.NDArray[np.uint8]
    """Place in the palette of each pixel, shape (height, width)."""
    palette: tuple[tuple[int, int, int], ...]
    """Red, green and blue, 0 to 255."""
    png: bytes
    """The same as a PNG file."""


def available() -> bool:
    """Whether the extra is installed."""
    return all(find_spec(name) is not None for name in ("resvg_py", "PIL"))


def draw(
    phrase: Phrase, ink: Ink, *, width: int, cell: tuple[int, int], zoom: float = 1.25, clef: SungClef | None = None
) -> Picture:
    """Draw a phrase on as many whole cells as it needs.

    Args:
        phrase: what to draw.
        ink: its colours.
        width: most width, pixels.
        cell: width and height of a terminal's cell, pixels; the picture is filled up to whole cells.
        zoom: how much larger than the engraver's own size.
        clef: clef of the sung line; chosen by its pitches if not given.

    Raises:
        ScoreError: the extra is not installed, or the phrase cannot be drawn.
    """
    if not available():
        raise ScoreError("pictures need an extra that is not installed", remedy=REMEDY)
    import resvg_py
    from PIL import Image

    svg = engrave(phrase, width=int(width / zoom / _UNITS), clef=clef)
    # The marks of a note lie on its parts; a head is a `use`, which takes its colour from there.
    style = (
        f"{STYLE} text {{font-family:{_FACES}}} .staff > path {{stroke:{ink.lines}}} "
        f"[data-mark], [data-mark] * {{color:{ink.marked};fill:{ink.marked}}}"
    )
    coloured = svg.replace("<svg ", f'<svg color="{ink.notes}" fill="{ink.notes}" ', 1)
    try:
        drawn = resvg_py.svg_to_bytes(svg_string=coloured, style_sheet=style, background=ink.paper, zoom=zoom)
    except ValueError as error:
        raise ScoreError("a phrase cannot be turned into a picture", remedy="Please report it with the song") from error
    image = Image.open(io.BytesIO(bytes(drawn))).convert("RGB")
    across, down = (-(-size // step) * step for size, step in zip(image.size, cell, strict=True))
    whole = Image.new("RGB", (across, down), ink.paper)
    whole.paste(image)
    palette = shades(ink)
    wanted = Image.new("P", (1, 1))
    wanted.putpalette([v for colour in palette for v in colour])
    few = whole.quantize(palette=wanted, dither=Image.Dither.NONE)
    kept = io.BytesIO()
    few.save(kept, "PNG")
    return Picture(np.asarray(few, dtype=np.uint8), palette, kept.getvalue())


def shades(ink: Ink) -> tuple[tuple[int, int, int], ...]:
    """The colours of a picture: the paper, and each ink in steps from the paper; red, green and blue, 0 to 255."""
    paper, *inks = (bytes.fromhex(c[1:]) for c in (ink.paper, ink.notes, ink.lines, ink.marked))
    out = [(paper[0], paper[1], paper[2])]
    for colour in inks:
        for step in range(1, _SHADES + 1):
            red, green, blue = (round(a + (b - a) * step / _SHADES) for a, b in zip(paper, colour, strict=True))
            out.append((red, green, blue))
    return tuple(out)
