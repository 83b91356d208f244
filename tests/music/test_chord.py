"""Chords against the table of semitones above the bass, and the traps of inversion by ear.

The table follows from the definition of each chord; figures after Open Music Theory v1, "Thoroughbass figures".
"""

from __future__ import annotations

import pytest

from tutor.music.chord import SHAPES, Chord, above, close, identify, sounding
from tutor.music.pitch import Pitch, PitchClass

TABLE = {
    "major": ("4 7", "3 8", "5 9"),
    "minor": ("3 7", "4 9", "5 8"),
    "diminished": ("3 6", "3 9", "6 9"),
    "augmented": ("4 8", "4 8", "4 8"),
    "major-seventh": ("4 7 11", "3 7 8", "4 5 9", "1 5 8"),
    "dominant-seventh": ("4 7 10", "3 6 8", "3 5 9", "2 6 9"),
    "minor-seventh": ("3 7 10", "4 7 9", "3 5 8", "2 5 9"),
    "half-diminished-seventh": ("3 6 10", "3 7 9", "4 6 9", "2 5 8"),
    "diminished-seventh": ("3 6 9", "3 6 9", "3 6 9", "3 6 9"),
    "minor-major-seventh": ("3 7 11", "4 8 9", "4 5 8", "1 4 8"),
}


@pytest.mark.parametrize("quality", TABLE)
@pytest.mark.parametrize("root", ["C", "F#", "Bb", "E"])
def test_semitones_above_the_bass(quality: str, root: str) -> None:
    for inversion, text in enumerate(TABLE[quality]):
        chord = Chord(PitchClass.parse(root), quality, inversion)
        gaps = sorted((t.chroma - chord.bass.chroma) % 12 for t in chord.tones if t != chord.bass)
        assert " ".join(map(str, gaps)) == text


@pytest.mark.parametrize(
    ("symbol", "figure"),
    [("C", "5/3"), ("C/E", "6"), ("C/G", "6/4"), ("G7", "7"), ("G7/B", "6/5"), ("G7/D", "4/3"), ("G7/F", "4/2")],
)
def test_figures(symbol: str, figure: str) -> None:
    root, seventh = symbol[0], "7" in symbol
    chord = Chord(PitchClass.parse(root), "dominant-seventh" if seventh else "major")
    bass = PitchClass.parse(symbol.partition("/")[2] or root)
    chord = chord.inverted(chord.tones.index(bass))
    assert chord.figure == figure
    assert chord.symbol == symbol


@pytest.mark.parametrize(
    ("names", "readings"),
    [("C E G#", 3), ("B D F Ab", 4), ("A C E G", 2), ("C E G", 1), ("G B D F", 1), ("B D F A", 2)],
)
def test_how_many_readings_a_sound_has(names: str, readings: int) -> None:
    tones = [PitchClass.parse(n) for n in names.split()]
    assert len(sounding([t.chroma for t in tones], tones[0].chroma)) == readings


@pytest.mark.parametrize("quality", [q for q in SHAPES if q != "power"])
def test_spelling_names_the_chord(quality: str) -> None:
    for inversion in range(len(SHAPES[quality])):
        chord = Chord(PitchClass.parse("Eb"), quality, inversion)
        assert chord in identify(chord.tones, chord.bass)


def test_close_position_climbs_in_thirds_and_one_fourth() -> None:
    for inversion in range(3):
        chord = Chord(PitchClass.parse("D"), "minor", inversion)
        pitches = close(chord, above(chord.bass, Pitch.parse("B2")))
        midis = [p.midi for p in pitches]
        assert midis == sorted(midis)
        assert midis[-1] - midis[0] < 12
    with pytest.raises(ValueError, match="not the bass"):
        close(Chord(PitchClass.parse("D"), "minor"), Pitch.parse("F3"))
