"""Roman numerals against music21's reading, and written so that they read back."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from typing import Any

import pytest
from music21 import converter, corpus, key, roman

from tutor.analysis import findings
from tutor.music.pitch import PitchClass
from tutor.music.quality import MEMBERS, QUALITIES, Quality, bass_of, tones_of
from tutor.music.roman import figure_for, parse_roman, printed, tidy

_LINES = """
I i ii iii IV iv V v vi viio I6 i6 I64 i64 ii6 iio6 iii6 IV6 iv6 IV64 V6 V64 vi6 viio6 viio64 V7 V65 V43 V42 V2 ii7 ii65
ii43 ii42 iiø7 iiø65 iiø43 iiø42 viio7 viio65 viio43 viio42 viiø7 viiø65 IV7 IV65 vi7 vi65 iii7 I7 I42 iv7 bII bII6
N N6 N53 N64 bVI bVI6 bIII bVII bVII6 bvi II III+ III+6 V+ V+7 I+ IV+ #ivo #ivo7 #io7 It6 Ger65 Fr43 It Ger Fr It64
Ger43 Ger42 Ger7 Fr42 Fr7 Fr65 Cad64 vo vio ivo IIo bVIo7 V54 V9 I9 ii9 Vd7 IVd7 Id43 ii7[b5] V7[b5] I[no3]
V/V V7/V V65/V V43/V V42/V V7/IV V42/IV V7/ii V65/vi V43/ii V/vi V/iii viio7/V viio6/V viio7/ii viio43/ii viio7/vi
viiø7/V viio65/iv V7/III V42/III V6/III ii65/V iv6/ii iiø65/vi It6/iv Ger65/V Fr43/V V/V/III viio6/vii V7/bVI V7/bII
IV6/V V9/V V6/5 V6/5/V vii/o7 ii/o6/5 V4/3/ii VI VI6 VI7 VII VII6 VII7 III III6 III7 i42 iv65 v6 v7 vi64 #viio #vi
"""
_COMMON = [figure for line in _LINES.splitlines() for figure in line.split()]
"""Figures as analysts write them; what they mean is common practice."""
_KEYS = ["C", "G", "D", "A", "E", "B", "F#", "F", "B-", "E-", "A-", "D-", "c", "g", "d", "a", "e", "b", "f#", "f", "b-"]
_THEIRS = roman.Minor67Default.CAUTIONARY


def _key(name: str) -> tuple[PitchClass, str]:
    return PitchClass.parse(name[0].upper() + name[1:]), "minor" if name[0].islower() else "major"


def _theirs(figure: str, name: str) -> Any:
    return roman.RomanNumeral(figure, key.Key(name), sixthMinor=_THEIRS, seventhMinor=_THEIRS)


def _names(pitches: Any) -> set[str]:
    return {p.name.replace("-", "b") for p in pitches}


@pytest.mark.parametrize("name", _KEYS)
def test_figures_mean_what_music21_reads(name: str) -> None:
    tonic, mode = _key(name)
    wrong = []
    for figure in _COMMON:
        ours, other = parse_roman(figure, tonic, mode), _theirs(figure, name)
        same = {str(t) for t in ours.tones} == _names(other.pitches)
        same &= str(ours.root) == other.root().name.replace("-", "b")
        same &= str(ours.bass) == other.bass().name.replace("-", "b") and ours.inversion == other.inversion()
        ninth = figure.startswith(("V9", "I9", "ii9"))  # ours is always the major ninth: see the next test
        if not same and not ninth:
            wrong.append((figure, [str(t) for t in ours.tones], _names(other.pitches)))
    assert not wrong


def test_a_ninth_is_the_quality_of_its_name() -> None:
    c = PitchClass(0)
    assert parse_roman("V9", c, "minor").quality == "dominant-ninth"
    assert parse_roman("I9", c, "major").quality == "major-ninth"
    assert parse_roman("ii9", c, "major").quality == "minor-ninth"


@pytest.mark.parametrize(
    ("figure", "mode", "root", "quality"),
    [
        ("VI", "minor", "Ab", "major"),
        ("VII", "minor", "Bb", "major"),
        ("vi", "minor", "A", "minor"),
        ("vii", "minor", "B", "minor"),
        ("viio7", "minor", "B", "diminished-seventh"),
        ("vi%7", "minor", "A", "half-diminished-seventh"),
        ("#vi", "minor", "A", "minor"),
        ("#VI", "minor", "A", "major"),
        ("bVI", "minor", "Ab", "major"),
        ("bvi", "minor", "Ab", "minor"),
        ("bVII", "minor", "Bb", "major"),
        ("bVI", "major", "Ab", "major"),
        ("vi", "major", "A", "minor"),
        ("#viio", "minor", "B", "diminished"),
    ],
)
def test_sixth_and_seventh_degrees(figure: str, mode: str, root: str, quality: str) -> None:
    chord = parse_roman(figure, PitchClass(0), mode)
    assert (chord.root.name, chord.quality) == (root, quality)


@pytest.mark.parametrize(
    ("figure", "quality", "inversion"),
    [
        ("V[sus4]", "suspended-fourth", 0),
        ("Vsus4", "suspended-fourth", 0),
        ("V74", "suspended-fourth", 0),
        ("Vsus2", "suspended-second", 0),
        ("I[add6]", "major-sixth", 0),
        ("i6[add6]", "minor-sixth", 1),
        ("I[add9]", "added-ninth", 0),
        ("I[add4]", "major", 0),
        ("V7[no5]", "dominant-seventh", 0),
        ("I[no3]", "power", 0),
        ("i7[#7]", "minor-major-seventh", 0),
        ("IV65[b7]", "dominant-seventh", 1),
        ("III+7", "augmented-seventh", 0),
        ("I+7", "augmented-major-seventh", 0),
        ("ii%", "half-diminished-seventh", 0),
        ("V11", "dominant-ninth", 0),
        ("V13", "dominant-ninth", 0),
    ],
)
def test_added_and_altered_tones(figure: str, quality: str, inversion: int) -> None:
    chord = parse_roman(figure, PitchClass.parse("G"), "major")
    assert (chord.quality, chord.inversion) == (quality, inversion)


@pytest.mark.parametrize("text", ["", "H", "IIX", "VIII?", "V7/", "/V", "bb", "7", "Vi", "X/V"])
def test_what_is_no_numeral_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no Roman numeral"):
        parse_roman(text, PitchClass(0), "major")


@pytest.mark.parametrize(
    ("figure", "shown"),
    [("ii%65", "iiø65"), ("bVII%7/bVI", "♭VIIø7/♭VI"), ("#ivo7", "♯ivo7"), ("V65/V", "V65/V"), ("bbVII", "♭♭VII")],
)
def test_a_figure_is_shown_with_the_signs_of_print_and_read_back(figure: str, shown: str) -> None:
    assert printed(figure) == shown
    assert tidy(shown) == figure


def test_tidy_gives_one_spelling() -> None:
    assert [tidy(t) for t in ("V6/5/V", "vii/o7", "♭VI", "viiø4/3", "ii/o6/5", "-VI", "vii°7")] == [
        "V65/V", "vii%7", "bVI", "vii%43", "ii%65", "bVI", "viio7",
    ]  # fmt: skip


def _every_chord() -> Iterator[tuple[PitchClass, Quality, int]]:
    for place in range(-8, 10):
        for quality in QUALITIES:
            added = quality in ("major-sixth", "minor-sixth", "added-ninth")
            for inversion in range(min(3 if added else 4, len(MEMBERS[quality]))):
                yield PitchClass(place), quality, inversion


@pytest.mark.parametrize("mode", ["major", "minor"])
@pytest.mark.parametrize("tonic", ["C", "F#", "Eb"])
def test_written_figures_read_back(tonic: str, mode: str) -> None:
    home = PitchClass.parse(tonic)
    for place, quality, inversion in _every_chord():
        root = PitchClass(home.fifths + place.fifths)
        figure = figure_for(root, quality, inversion, home, mode)
        chord = parse_roman(figure, home, mode)
        assert (chord.root, chord.quality, chord.inversion) == (root, quality, inversion), figure
        assert chord.tones == tones_of(root, quality)
        assert chord.bass == bass_of(root, quality, inversion)


@pytest.mark.parametrize(
    ("root", "quality", "inversion", "key_name", "figure"),
    [
        ("D", "minor", 1, "C", "ii6"),
        ("D", "dominant-seventh", 1, "C", "V65/V"),
        ("D", "major", 0, "C", "V/V"),
        ("C", "dominant-seventh", 3, "C", "V42/IV"),
        ("Ab", "major", 0, "C", "bVI"),
        ("F", "minor", 0, "C", "iv"),
        ("B", "diminished-seventh", 0, "C", "viio7"),
        ("F#", "diminished-seventh", 0, "C", "viio7/V"),
        ("C#", "diminished-seventh", 1, "C", "viio65/ii"),
        ("F#", "half-diminished-seventh", 0, "C", "vii%7/V"),
        ("Db", "major", 1, "C", "bII6"),
        ("F#", "german-sixth", 1, "C", "Ger65"),
        ("D", "french-sixth", 2, "c", "Fr43"),
        ("C", "major", 2, "C", "I64"),
        ("Bb", "major", 0, "c", "VII"),
        ("Bb", "dominant-seventh", 0, "c", "V7/III"),
        ("Ab", "major", 0, "c", "VI"),
        ("A", "half-diminished-seventh", 0, "c", "vi%7"),
        ("F", "dominant-seventh", 0, "c", "IV7"),
        ("C", "dominant-seventh", 0, "c", "V7/iv"),
        ("C", "major", 0, "c", "I"),
        ("F", "dominant-seventh", 0, "C", "IV7[b7]"),
    ],
)
def test_the_numeral_a_musician_would_write(
    root: str, quality: Any, inversion: int, key_name: str, figure: str
) -> None:
    tonic, mode = _key(key_name)
    assert figure_for(PitchClass.parse(root), quality, inversion, tonic, mode) == figure


def test_applied_to_a_key_that_is_given() -> None:
    c = PitchClass(0)
    assert figure_for(PitchClass.parse("D"), "minor", 1, c, "major", applied_to="IV") == "vi6/IV"
    assert figure_for(PitchClass.parse("D"), "dominant-seventh", 0, c, "major", applied_to="") == "II7"


def test_qualities_are_those_of_the_findings() -> None:
    assert findings.Quality == Quality


def test_human_analyses_in_the_corpus_agree() -> None:
    """Every figure of a few analyses that music21 carries: tones, root and inversion as music21 hears them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        paths = [p for p in corpus.getComposer("bach") if str(p).endswith(".rntxt")][:6]
        figures = {
            (n.figure, n.key.tonicPitchNameWithCase, n)
            for p in paths
            for n in converter.parse(p, forceSource=True, format="romanText")
            .recurse()
            .getElementsByClass("RomanNumeral")
        }
    checked = 0
    for figure, name, other in figures:
        if re.search(r"[\[(]|9", figure):
            continue
        ours = parse_roman(figure, *_key(name))
        assert {str(t) for t in ours.tones} == _names(other.pitches), (figure, name)
        assert ours.inversion == other.inversion(), (figure, name)
        checked += 1
    assert checked > 60
