"""Lead-sheet symbols, both ways."""

from __future__ import annotations

import pytest

from tutor.music.chordsymbol import parse_symbol, symbol_for
from tutor.music.pitch import PitchClass
from tutor.music.quality import QUALITIES, bass_of


@pytest.mark.parametrize("quality", [q for q in QUALITIES if not q.endswith("n-sixth") and q != "french-sixth"])
@pytest.mark.parametrize("root", ["C", "F#", "Bb", "Eb", "G#", "Cb"])
def test_written_symbols_read_back(root: str, quality: str) -> None:
    place = PitchClass.parse(root)
    for inversion in range(3 if quality != "power" else 2):
        bass = bass_of(place, quality, inversion)  # type: ignore[arg-type]  # parametrized over the qualities
        chord = parse_symbol(symbol_for(place, quality, bass))  # type: ignore[arg-type]  # the same
        assert (chord.root, chord.quality, chord.bass, chord.inversion) == (place, quality, bass, inversion)


@pytest.mark.parametrize(
    ("text", "root", "quality", "bass"),
    [
        ("Gm/Bb", "G", "minor", "Bb"),
        ("F#m7b5", "F#", "half-diminished-seventh", "F#"),
        ("Bbmaj7", "Bb", "major-seventh", "Bb"),
        ("B♭M7", "Bb", "major-seventh", "Bb"),
        ("C6", "C", "major-sixth", "C"),
        ("C6/9", "C", "major-sixth", "C"),
        ("C6/E", "C", "major-sixth", "E"),
        ("Dsus4", "D", "suspended-fourth", "D"),
        ("A7sus4", "A", "suspended-fourth", "A"),
        ("E-7", "E", "minor-seventh", "E"),
        ("Cø", "C", "half-diminished-seventh", "C"),
        ("C°7", "C", "diminished-seventh", "C"),
        ("G+", "G", "augmented", "G"),
        ("G7(b9)", "G", "dominant-ninth", "G"),
        ("G7(#11)", "G", "dominant-seventh", "G"),
        ("Am(maj7)", "A", "minor-major-seventh", "A"),
        ("G13", "G", "dominant-ninth", "G"),
        ("C/Bb", "C", "major", "Bb"),
        ("Eb(add9)", "Eb", "added-ninth", "Eb"),
        ("F(no3)", "F", "power", "F"),
    ],
)
def test_usual_spellings(text: str, root: str, quality: str, bass: str) -> None:
    chord = parse_symbol(text)
    assert (chord.root.name, chord.quality, chord.bass.name) == (root, quality, bass)


def test_a_foreign_bass_has_no_inversion() -> None:
    assert parse_symbol("C/Bb").inversion is None


@pytest.mark.parametrize("text", ["", "H7", "Cfoo", "N.C.", "c", "C//E", "Bbb b"])
def test_what_is_no_symbol_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no chord symbol"):
        parse_symbol(text)


def test_augmented_sixths_are_written_as_the_seventh_that_sounds() -> None:
    fis, ab = PitchClass.parse("F#"), PitchClass.parse("Ab")
    assert symbol_for(fis, "german-sixth", ab) == "Ab7"
    assert symbol_for(fis, "italian-sixth", ab) == "Ab7"
    assert symbol_for(PitchClass.parse("D"), "french-sixth", ab) == "Ab7b5"
    assert symbol_for(fis, "german-sixth", PitchClass(0)) == "Ab7/C"
