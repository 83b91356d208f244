"""Contrast of both themes by the formula of WCAG 2.2, SC 1.4.3 and 1.4.11; nothing is told by colour alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields

import pytest
from rich._palettes import STANDARD_PALETTE
from rich.color import Color, ColorSystem

from tutor.tui.look import DAY, FEW, NIGHT, PALETTES, PLAIN, SIGNS, Glyphs, Palette


def luminance(colour: str) -> float:
    """Relative luminance: .2126 R + .7152 G + .0722 B, linear."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    ("colour", "ratio"),
    [
        ("#000000", 21.0), ("#767676", 4.5422), ("#777777", 4.4781), ("#FF0000", 3.9985), ("#0000FF", 8.5925),
        ("#949494", 3.0335), ("#959595", 2.9953),
    ],
)  # fmt: skip
def test_the_formula_gives_the_known_values_on_white(colour: str, ratio: float) -> None:
    assert contrast(colour, "#ffffff") == pytest.approx(ratio, abs=5e-5)


def pairs(palette: Palette) -> Iterator[tuple[str, str, str]]:
    for ground in ("house", "wing", "pool"):
        for ink in ("body", "quiet", "lamp", "cool", "hit", "miss"):
            yield ground, ink, f"{ink} on {ground}"


EVERY = pytest.mark.parametrize(
    "palette", [*PALETTES.values(), *FEW.values()], ids=["night", "day", "night of 16", "day of 16"]
)


@EVERY
def test_text_reaches_4_5_to_1_on_every_ground(palette: Palette) -> None:
    for ground, ink, words in pairs(palette):
        assert contrast(getattr(palette, ink), getattr(palette, ground)) >= 4.5, words


@EVERY
def test_lines_that_carry_meaning_reach_3_to_1(palette: Palette) -> None:
    assert contrast(palette.line, palette.house) >= 3.0
    for ink in ("lamp", "body"):
        assert contrast(palette.house, getattr(palette, ink)) >= 4.5, "dark keys of the piano, reversed"


@pytest.mark.parametrize("palette", [NIGHT, DAY], ids=["night", "day"])
@pytest.mark.parametrize("system", [ColorSystem.STANDARD, ColorSystem.EIGHT_BIT], ids=["16", "256"])
def test_text_stays_apart_from_its_ground_with_few_colours(palette: Palette, system: ColorSystem) -> None:
    ground = Color.parse(palette.house).downgrade(system)
    for ink in ("body", "quiet", "lamp", "cool", "hit", "miss"):
        found = Color.parse(getattr(palette, ink)).downgrade(system)
        assert found.number != ground.number, ink
        if system == ColorSystem.EIGHT_BIT:
            assert contrast(_hex(found), _hex(ground)) >= 4.0, ink


@pytest.mark.parametrize("palette", FEW.values(), ids=FEW)
def test_the_palettes_of_16_colours_come_out_as_they_are(palette: Palette) -> None:
    for name in (f.name for f in fields(palette)):
        found = Color.parse(getattr(palette, name)).downgrade(ColorSystem.STANDARD)
        assert found.number is not None
        assert STANDARD_PALETTE[found.number].hex == getattr(palette, name), name


def _hex(colour: Color) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour.get_truecolor())


@pytest.mark.parametrize("signs", [SIGNS, PLAIN], ids=["full", "ascii"])
def test_every_lamp_has_its_own_shape(signs: Glyphs) -> None:
    lamps = [signs.lamp_hit, signs.lamp_miss, signs.lamp_part, signs.lamp_now, signs.lamp_wait, signs.lamp_out]
    assert len(set(lamps)) == len(lamps)
    assert len({signs.right, signs.wrong, signs.part}) == 3


def test_the_plain_signs_are_ascii() -> None:
    assert all(getattr(PLAIN, f.name).isascii() for f in fields(PLAIN))
