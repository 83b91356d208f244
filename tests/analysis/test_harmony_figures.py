"""Every figure the engine writes is read alike by music21, whose RomanText reading is the outside check."""

from __future__ import annotations

import os
import warnings
from pathlib import Path

import pytest

from tutor.analysis.findings import ChordSpan
from tutor.analysis.harmony import read_harmony
from tutor.music.pitch import PitchClass
from tutor.score.read import read_score

_WIDER = {
    "major-sixth", "minor-sixth", "major-ninth", "dominant-ninth", "minor-ninth", "added-ninth", "power",
    "suspended-second", "suspended-fourth",
}  # fmt: skip
"""Here only root and bass are compared: music21 has its own ways of adding tones."""


def _scores() -> list[Path]:
    from music21 import corpus

    found = [Path(str(corpus.getWork(f"bach/bwv{n}"))) for n in ("269", "347", "153.1", "248.12-2")]
    folder = os.environ.get("LARKSTAIR_DATA", "")
    return [*found, *(sorted(Path(folder).glob("songs/*/score.mxl"))[::9] if folder else [])]


def _check(chord: ChordSpan) -> None:
    from music21 import key, roman

    tonic, mode = chord.key.split()
    name = tonic.replace("b", "-")
    numeral = roman.RomanNumeral(chord.figure.replace("%", "ø"), key.Key(name.lower() if mode == "minor" else name))
    meant = {p.pitchClass for p in numeral.pitches}
    where = f"bar {chord.bar}: {chord.figure} in {chord.key}"
    assert numeral.bass().pitchClass == PitchClass.parse(chord.bass).chroma, where
    assert numeral.root().pitchClass == PitchClass.parse(chord.root).chroma, where
    if chord.quality not in _WIDER:
        assert {PitchClass.parse(t).chroma for t in chord.tones} <= meant, where


@pytest.mark.parametrize("path", _scores(), ids=lambda p: p.parent.name + "-" + p.stem)
def test_figures_mean_the_same_to_music21(path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        table = read_score(path.read_bytes(), path.name)
        _, chords = read_harmony(table)
        assert chords
        for chord in chords:
            _check(chord)
