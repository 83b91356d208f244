"""The rules that tell which labels of an analysis the notes contradict."""

from __future__ import annotations

from typing import Any

import pytest

from tests.analysis.invented import table
from tests.bench.corpus import AROUND_BARS, Piece
from tests.bench.readable import contradiction, readable, shares

MUSIC = {
    "C major on C": "C3+E4+G4+C5:4",
    "C major on E": "E3+G4+C5:4",
    "C without its third": "C3+G4+C5:4",
    "C major with a passing D": "C3+E4+G4:3 C3+D4+G4:1",
    "G major over C": "C3+G3+B3+D4:4",
    "D minor": "D3+F4+A4:4",
}


def _label(root: int, quality: str, inversion: int = 0) -> dict[str, Any]:
    return {
        "offset_ql": 0.0, "end_ql": 4.0, "key": "C", "root_pc": root, "quality": quality, "inversion": inversion,
        "alt_root_pc": None,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("music", "label", "why"),
    [
        ("C major on C", _label(0, "maj"), ""),
        ("C major on E", _label(0, "maj", 1), ""),
        ("C major on E", _label(0, "maj"), "bass"),
        ("C major on C", _label(0, "min"), "third"),
        ("C without its third", _label(0, "min"), ""),
        ("C major with a passing D", _label(0, "dom7"), ""),
        ("G major over C", _label(7, "maj"), ""),  # a pedal: the lowest tone is no member, so the figure may stand
        ("D minor", _label(0, "maj"), "sound"),
        ("D minor", _label(2, "other"), "unknown"),
    ],
)
def test_what_speaks_against_a_label(music: str, label: dict[str, Any], why: str) -> None:
    assert contradiction(Piece("invented", table(MUSIC[music]), [label]), label) == why


def test_contradicted_labels_are_counted_and_left_out() -> None:
    good, bad = _label(0, "maj", 1), _label(0, "maj") | {"offset_ql": 4.0, "end_ql": 8.0}
    piece = Piece("invented", table("E3+G4+C5:4 E3+G4+C5:4"), [good, bad])
    assert readable(piece).spans == [good]
    assert shares([piece])["bass"] == 0.5


def test_an_analysis_that_slips_by_a_bar_does_not_belong_to_the_score_there() -> None:
    bars = 4 * AROUND_BARS
    chords = (("C4+E4+G4", 0), ("F#3+A3+D4", 2))
    spans = [
        _label(chords[(bar + (bar >= bars // 2)) % 2][1], "maj") | {"offset_ql": 4.0 * bar, "end_ql": 4.0 * bar + 4}
        for bar in range(bars)
    ]
    piece = Piece("invented", table(" ".join(f"{chords[bar % 2][0]}:4" for bar in range(bars))), spans)
    bar_of = piece.frames.start // 4
    assert piece.together[bar_of < bars // 2 - AROUND_BARS // 2].all()
    assert not piece.together[bar_of > bars // 2 + AROUND_BARS // 2].any()
