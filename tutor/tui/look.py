"""The look: a lit stage in a dark house, and the same stage by daylight.

One idea carries every screen. What matters now stands in warm light; the rest recedes into the cool of the wings; and
the edge of the stage, the rule above the keys, carries a row of footlights that show how far you are: one lamp for
each question, step or section. Weight, space and rules do the rest. Colour never carries meaning alone: each lamp has
its own shape, each verdict its own word.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal, get_args

ThemeName = Literal["night", "day"]
LayoutName = Literal["qwerty", "qwertz", "azerty"]


@dataclass(frozen=True, slots=True)
class Palette:
    """Ten colours, as #rrggbb."""

    house: str
    """Background: the dark house, or paper."""
    wing: str
    """Fields, lists and notices."""
    pool: str
    """The patch of light behind what is chosen."""
    body: str
    """Text."""
    quiet: str
    """Text that can wait: captions, keys."""
    lamp: str
    """The footlights: what is chosen, marked or next."""
    cool: str
    """Harmony: chords and figures."""
    hit: str
    """Right; always with a tick and the word."""
    miss: str
    """Wrong, or trouble; always with a cross and the word."""
    line: str
    """Staff lines and edges that carry meaning."""
    rule: str
    """Rules that only part things."""


NIGHT = Palette(
    house="#12141b", wing="#1a1e28", pool="#262b39", body="#efe9dc", quiet="#a3adbf", lamp="#f4ba52", cool="#8bbbe0",
    hit="#94d19a", miss="#f59a8b", line="#6f7a91", rule="#3b4358",
)  # fmt: skip
DAY = Palette(
    house="#f8f4ea", wing="#efe9da", pool="#ffe9bd", body="#1f232c", quiet="#4f5767", lamp="#854600", cool="#1b5580",
    hit="#1f6129", miss="#a0241b", line="#7d7868", rule="#cdc4b0",
)  # fmt: skip
PALETTES: dict[ThemeName, Palette] = {"night": NIGHT, "day": DAY}
NIGHT_16 = Palette(
    house="#000000", wing="#000000", pool="#0000aa", body="#ffffff", quiet="#aaaaaa", lamp="#ffff55", cool="#55ffff",
    hit="#55ff55", miss="#ff55ff", line="#aaaaaa", rule="#555555",
)  # fmt: skip
DAY_16 = Palette(
    house="#ffffff", wing="#ffffff", pool="#ffff55", body="#000000", quiet="#555555", lamp="#aa0000", cool="#0000aa",
    hit="#0000aa", miss="#aa00aa", line="#555555", rule="#aaaaaa",
)  # fmt: skip
FEW: dict[ThemeName, Palette] = {"night": NIGHT_16, "day": DAY_16}
"""For terminals of 16 colours: the values by which these colours are found there. The nearest of the sixteen to our own
would put ochre on white, and a pool of light in which nothing can be read."""


def variables(palette: Palette) -> dict[str, str]:
    """Names for the style sheets, such as `$lamp` and `$text-quiet`."""
    own = {name: value for name, value in asdict(palette).items() if name not in ("body", "quiet", "line")}
    return {
        **own,
        "text-body": palette.body,
        "text-quiet": palette.quiet,
        "staff-line": palette.line,
        "footer-key-foreground": palette.lamp,
        "input-selection-background": f"{palette.lamp} 35%",
        "block-cursor-background": palette.lamp,
        "block-cursor-foreground": palette.house,
        "scrollbar": palette.rule,
        "scrollbar-hover": palette.line,
        "scrollbar-active": palette.lamp,
        "scrollbar-background": palette.house,
        "scrollbar-background-hover": palette.house,
        "scrollbar-background-active": palette.house,
        "scrollbar-corner-color": palette.house,
    }


@dataclass(frozen=True, slots=True)
class Look:
    """What must be known before the first paint."""

    theme: ThemeName = "night"
    ascii: bool = False
    """Nothing beyond ASCII in staves and lamps, for fonts that lack the signs."""
    large: bool = False
    """Staves with two rows to a space."""
    letters: LayoutName = "qwerty"
    """How the letters lie on the keyboard, for those that serve as piano keys."""
    pictures: bool = False
    """Engraved pictures of staves, where the terminal can show pictures."""

    @classmethod
    def load(cls, file: Path | None) -> Look:
        """The look that was chosen last; the default where none can be read."""
        try:
            return cls.read(file.read_text(encoding="utf-8")) if file is not None else cls()
        except (OSError, UnicodeDecodeError):
            return cls()

    @classmethod
    def read(cls, text: str) -> Look:
        """A look from `dumps`; the default where the text is none."""
        try:
            raw = json.loads(text)
            theme: ThemeName = "day" if raw.get("theme") == "day" else "night"
            letters = raw.get("letters")
            return cls(
                theme, bool(raw.get("ascii", False)), bool(raw.get("large", False)),
                letters if letters in get_args(LayoutName) else "qwerty", bool(raw.get("pictures", False)),
            )  # fmt: skip
        except (ValueError, AttributeError, RecursionError):
            return cls()

    def dumps(self) -> str:
        """The look as JSON text."""
        return json.dumps(asdict(self))

    def save(self, file: Path | None) -> None:
        """Keep it beside the user's data; a folder that cannot be written only forgets it."""
        if file is None:
            return
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(self.dumps(), encoding="utf-8")
        except OSError:
            return


@dataclass(frozen=True, slots=True)
class Glyphs:
    """Signs used outside the staff."""

    right: str = "✓"
    wrong: str = "✗"
    part: str = "◐"
    lamp_hit: str = "●"
    lamp_miss: str = "×"
    lamp_part: str = "◐"
    lamp_now: str = "◆"
    lamp_wait: str = "○"
    lamp_out: str = "–"
    pointer: str = "▌"
    note: str = "♪"
    dot: str = "·"
    rule: str = "─"
    up: str = "▲"
    down: str = "▼"
    full: str = "█"
    half: str = "▄"
    light: str = "░"
    arrow: str = "→"
    ellipsis: str = "…"


SIGNS = Glyphs()
PLAIN = Glyphs(
    right="+", wrong="x", part="~", lamp_hit="*", lamp_miss="x", lamp_part="~", lamp_now=">", lamp_wait="o",
    lamp_out="-", pointer="|", note="#", dot="-", rule="-", up="^", down="v", full="#", half="=", light=".",
    arrow="->", ellipsis="...",
)  # fmt: skip


def glyphs(ascii_only: bool) -> Glyphs:
    """The signs for a look."""
    return PLAIN if ascii_only else SIGNS
