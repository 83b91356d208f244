"""Roman numerals in RomanText form, to spelled chords and back.

Conventions (D. Tymoczko, M. Gotham, M. Cuthbert, C. Ariza, "The RomanText format", ISMIR 2019, recalled, and
music21's reading of it, against which the tests check):

- capitals are major, small letters minor, ``o`` diminished, ``%`` (or ``ø``, ``/o``) half-diminished, ``+`` augmented;
- degrees are those of the key's own scale; in minor VI and VII are the natural degrees, vi and vii (minor or
  diminished) the raised ones, and a sharp or flat before them only makes that explicit;
- a seventh is the key's own, except that a chord on a small numeral has a minor seventh;
- the cadential six-four, ``Cad64``, is the tonic in second inversion: ``I64`` or ``i64``;
- augmented sixths are counted from the raised fourth degree (It, Ger) or the second (Fr);
- what stands after a slash is the key in which the numeral is read: ``V65/V``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import lru_cache

from tutor.music.pitch import PitchClass
from tutor.music.quality import MEMBERS, Quality, tones_of

_MAJOR_SCALE = (0, 2, 4, -1, 1, 3, 5)
_MINOR_SCALE = (0, 2, -3, -1, 1, -4, -2)
"""Degrees 1 to 7 on the line of fifths, from the tonic."""
_NUMERALS = ("I", "II", "III", "IV", "V", "VI", "VII")
_HEAD = re.compile(
    r"(?P<accidental>[#b]*)(?P<numeral>VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i)(?P<sign>[o%+]?)"
    r"(?P<rest>(?:maj|M|d|sus|[#b]*\d)*)"
)
_SPECIAL = re.compile(r"(?P<name>Cad|It|Ger|Fr|N)(?P<rest>.*)")
_BRACKET = re.compile(r"[\[(]([^\])]*)[\])]")
_SPECIAL_DEFAULT = {"It": "6", "Ger": "65", "Fr": "43", "N": "6", "Cad": "64"}
_SPECIAL_QUALITY: dict[str, Quality] = {"It": "italian-sixth", "Ger": "german-sixth", "Fr": "french-sixth"}
_TRIAD_FIGURES = {"": 0, "5": 0, "53": 0, "3": 0, "6": 1, "63": 1, "64": 2}
_SEVENTH_FIGURES = {
    "7": 0, "75": 0, "73": 0, "753": 0, "65": 1, "653": 1, "43": 2, "643": 2, "42": 3, "642": 3, "2": 3,
}  # fmt: skip
_NINTHS = ("9", "97", "95", "93", "975", "9753", "11", "13")
_SUS_FOURTH = ("4", "54", "74", "754", "41", "94")
_SUS_SECOND = ("52",)
_BY_MEMBERS = {frozenset(steps): quality for quality, steps in reversed(MEMBERS.items())}
"""Quality of a set of intervals; `dominant-seventh-flat-five` comes before `french-sixth` in the table."""


@dataclass(frozen=True, slots=True)
class RomanChord:
    """A Roman numeral read in its key."""

    figure: str
    """As given, in one spelling: 'V65/V'."""
    root: PitchClass
    quality: Quality
    bass: PitchClass
    inversion: int
    """Member in the bass: 0 root, 1 third, 2 fifth, 3 seventh."""
    tones: tuple[PitchClass, ...]
    """Members, root first."""


def tidy(figure: str) -> str:
    """One spelling of a figure: 'V6/5/V' → 'V65/V', 'vii/o7' → 'vii%7', '♭VI' → 'bVI'."""
    text = figure.strip().replace("♭", "b").replace("♯", "#").replace("°", "o").replace("º", "o")
    text = text.replace("ø", "%").replace("Ø", "%").replace("−", "-")
    text = re.sub(r"(?<=[ivIV])/o(?=\d|$|\[|/)", "%", text)
    text = re.sub(r"(?<=\d)/(?=\d)", "", text)
    return re.sub(r"(?<![A-Za-z\d])-+(?=[ivIV])", lambda m: "b" * len(m[0]), text)


def printed(figure: str) -> str:
    """A figure with the signs of print: 'bVII%7' → '♭VIIø7'; `tidy` turns it back."""
    return re.sub(r"b(?=b*[IViv])", "♭", figure).replace("#", "♯").replace("%", "ø")


@lru_cache(maxsize=8192)
def parse_roman(figure: str, tonic: PitchClass, mode: str) -> RomanChord:
    """Read a Roman numeral.

    Args:
        figure: RomanText figure: 'ii65', 'V7/IV', 'bVI', 'Ger65', 'Cad64', 'V7[b9]'.
        tonic: Tonic of the key.
        mode: 'major' or 'minor'.

    Raises:
        ValueError: the text is no figure that can be read; the message names it.
    """
    text = tidy(figure)
    head, *keys = text.split("/")
    for secondary in reversed(keys):
        chord = _parse_head(secondary, tonic, mode, figure)
        tonic = chord.root
        small = chord.quality in ("minor", "diminished", "minor-seventh", "half-diminished-seventh")
        mode = "minor" if small or chord.quality == "diminished-seventh" else "major"
    return replace(_parse_head(head, tonic, mode, figure), figure=text)


def _parse_head(text: str, tonic: PitchClass, mode: str, whole: str) -> RomanChord:
    brackets = [b.strip().lower() for b in _BRACKET.findall(text)]
    bare = _BRACKET.sub("", text).replace(" ", "")
    special = _SPECIAL.fullmatch(bare)
    if special:
        return _special(special["name"], special["rest"], tonic, mode, whole)
    match = _HEAD.fullmatch(bare)
    if not match:
        raise ValueError(f"no Roman numeral: {whole!r}")
    root = _root(match["accidental"], match["numeral"], tonic, mode, match["sign"])
    steps, inversion = _build(match, root, tonic, mode, brackets)
    quality = _BY_MEMBERS.get(frozenset(steps)) or _nearest(steps)
    return _chord(text, root, quality, min(inversion, len(MEMBERS[quality]) - 1))


def _chord(text: str, root: PitchClass, quality: Quality, inversion: int) -> RomanChord:
    tones = tones_of(root, quality)
    return RomanChord(text, root, quality, tones[inversion], inversion, tones)


def _special(name: str, rest: str, tonic: PitchClass, mode: str, whole: str) -> RomanChord:
    figures = re.sub(r"\D", "", rest) or _SPECIAL_DEFAULT[name]
    if name == "N":
        return _chord(whole, PitchClass(tonic.fifths - 5), "major", _TRIAD_FIGURES.get(figures, 0))
    if name == "Cad":
        quality: Quality = "minor" if mode == "minor" else "major"
        return _chord(whole, tonic, quality, 2)
    sixth = _SPECIAL_QUALITY[name]
    root = PitchClass(tonic.fifths + (2 if name == "Fr" else 6))
    if name == "It":
        return _chord(whole, root, sixth, _TRIAD_FIGURES.get(figures, 1))
    usual = _SEVENTH_FIGURES[_SPECIAL_DEFAULT[name]]
    return _chord(whole, root, sixth, usual if figures == "6" else _SEVENTH_FIGURES.get(figures, usual))


def _root(accidental: str, numeral: str, tonic: PitchClass, mode: str, sign: str) -> PitchClass:
    degree = _NUMERALS.index(numeral.upper())
    shift = accidental.count("#") - accidental.count("b")
    if mode != "minor":
        return PitchClass(tonic.fifths + _MAJOR_SCALE[degree] + 7 * shift)
    place = _MINOR_SCALE[degree]
    if degree >= 5:
        raised = numeral.islower() and sign != "+"
        if shift > 0:
            place, shift = place + 7, shift - 1
        elif shift < 0:
            shift += 1
        elif raised:
            place += 7
    return PitchClass(tonic.fifths + place + 7 * shift)


def _build(
    match: re.Match[str], root: PitchClass, tonic: PitchClass, mode: str, brackets: list[str]
) -> tuple[list[int], int]:
    """Intervals above the root and the inversion."""
    small, sign = match["numeral"].islower(), match["sign"]
    rest = match["rest"]
    digits = re.sub(r"\D", "", rest)
    fifth = {"o": -6, "%": -6, "+": 8}.get(sign, 1)
    third = -3 if sign in ("o", "%") or (small and sign != "+") else 4
    steps = [0, third, fifth]
    suspended = "sus2" in rest or "sus2" in brackets or digits in _SUS_SECOND
    if suspended or "sus" in rest or "sus4" in brackets or "sus" in brackets or digits in _SUS_FOURTH:
        steps[1] = 2 if suspended else -1
        return steps, _TRIAD_FIGURES.get(digits, 0)
    has_seventh = digits in _SEVENTH_FIGURES or digits in _NINTHS or (sign == "%" and digits == "")
    if has_seventh:
        steps.append(_seventh(rest, small, sign, root, tonic, mode))
    if digits in _NINTHS:
        steps.append(2)
    inversion = _SEVENTH_FIGURES.get(digits, 0) if has_seventh else _TRIAD_FIGURES.get(digits, 0)
    return _altered(steps, brackets), inversion


def _seventh(rest: str, small: bool, sign: str, root: PitchClass, tonic: PitchClass, mode: str) -> int:
    """The seventh above the root, on the line of fifths: -2 minor, 5 major, -9 diminished."""
    if sign == "o":
        return -9
    if re.search(r"maj|M", rest) or "#7" in rest:
        return 5
    if small or sign == "%" or "d" in rest or "b7" in rest:
        return -2
    scale = _MINOR_SCALE if mode == "minor" else _MAJOR_SCALE
    letters = {PitchClass(tonic.fifths + place).step: tonic.fifths + place for place in scale}
    step = PitchClass(root.fifths - 2).step
    return 5 if letters[step] - root.fifths == 5 else -2


def _altered(steps: list[int], brackets: list[str]) -> list[int]:
    """Apply '[b5]', '[#7]', '[no3]', '[add6]' and the like; other additions are left out."""
    by_member = {"3": 1, "5": 2, "7": 3}
    dropped: set[int] = set()
    for text in (piece.strip() for bracket in brackets for piece in bracket.split(",")):
        sign = re.fullmatch(r"([#b]+)([357])", text)
        if sign and by_member[sign[2]] < len(steps):
            steps[by_member[sign[2]]] += 7 * (sign[1].count("#") - sign[1].count("b"))
        elif text == "no3":
            dropped.add(1)
        elif text == "add6" and len(steps) == 3:
            steps.append(3)
        elif text in ("add9", "add2") and len(steps) in (3, 4):
            steps.append(2)
    if dropped and len(steps) == 3:
        return [step for place, step in enumerate(steps) if place not in dropped]
    return steps


def _nearest(steps: list[int]) -> Quality:
    """The quality of a chord without the tones that make it unusual."""
    for size in (4, 3):
        quality = _BY_MEMBERS.get(frozenset(steps[:size]))
        if quality:
            return quality
    return "minor" if -3 in steps else "major"


_FIGURES = {3: ("", "6", "64", "", ""), 4: ("7", "65", "43", "42", "")}
_SIGNS: dict[Quality, str] = {
    "diminished": "o",
    "diminished-seventh": "o",
    "half-diminished-seventh": "%",
    "augmented": "+",
    "augmented-seventh": "+",
    "augmented-major-seventh": "+",
}
_SMALL: frozenset[Quality] = frozenset(
    {
        "minor",
        "diminished",
        "minor-seventh",
        "half-diminished-seventh",
        "diminished-seventh",
        "minor-major-seventh",
        "minor-sixth",
        "minor-ninth",
    }
)
_TAILS: dict[Quality, str] = {
    "dominant-seventh-flat-five": "[b5]",
    "major-sixth": "[add6]",
    "minor-sixth": "[add6]",
    "added-ninth": "[add9]",
    "suspended-second": "[sus2]",
    "suspended-fourth": "[sus4]",
    "power": "[no3]",
}
_NINTHS_IN_FULL: tuple[Quality, ...] = ("major-ninth", "dominant-ninth", "minor-ninth")
_APPLIED_MAJOR = (("V", 1), ("IV", -1), ("ii", 2), ("vi", 3), ("iii", 4))
_APPLIED_MINOR = (("V", 1), ("iv", -1), ("III", -3), ("VI", -4), ("VII", -2))
"""Keys that are commonly tonicized, with their tonics on the line of fifths from the main tonic."""


def figure_for(
    root: PitchClass, quality: Quality, inversion: int, tonic: PitchClass, mode: str, *, applied_to: str | None = None
) -> str:
    """Write a chord as a Roman numeral; `parse_roman` reads it back to the same chord.

    A chord of the key or of its parallel is written directly. Other dominants and leading-tone chords are written as
    applied to the degree they lead to, where that is a degree of the key; what is left takes accidentals.

    Args:
        root: Root.
        quality: Quality.
        inversion: Member in the bass: 0 root, 1 third, 2 fifth, 3 seventh.
        tonic: Tonic of the key.
        mode: 'major' or 'minor'.
        applied_to: Numeral of the key in which to read it ('V'); '' for none; None to choose.
    """
    if applied_to is None:
        applied_to = _natural_target(root, quality, tonic, mode)
    if applied_to:
        key = parse_roman(applied_to, tonic, mode)
        small = key.quality in _SMALL
        return f"{_direct(root, quality, inversion, key.root, 'minor' if small else 'major')}/{applied_to}"
    return _direct(root, quality, inversion, tonic, mode)


def _natural_target(root: PitchClass, quality: Quality, tonic: PitchClass, mode: str) -> str:
    """The degree that a chord foreign to the key leads to as its dominant or leading-tone chord; '' for none."""
    place = root.fifths - tonic.fifths
    targets = _APPLIED_MINOR if mode == "minor" else _APPLIED_MAJOR
    if quality in _SPECIAL_QUALITY.values():
        home = 2 if quality == "french-sixth" else 6
        if place == home:
            return ""
        named = next((name for name, at in targets if place - home == at), "")
        return named or _numeral(PitchClass(root.fifths - home), "major", tonic, mode)
    if quality == "dominant-seventh" and mode == "minor" and place == -2:
        return "III"
    if _at_home(place, quality, mode):
        return ""
    if quality in ("major", "dominant-seventh", "dominant-ninth", "augmented", "augmented-seventh"):
        return next((name for name, at in targets if place - 1 == at), "")
    if quality in ("diminished", "diminished-seventh", "half-diminished-seventh"):
        return next((name for name, at in targets if place - 5 == at), "")
    return ""


def _at_home(place: int, quality: Quality, mode: str) -> bool:
    """Whether all members belong to the key or, as a whole, to the parallel key."""
    members = {place + step for step in MEMBERS[quality]}
    major = set(range(-1, 6))
    minor = {*range(-4, 3), 5}
    melodic = {*range(-3, 4), 5}
    scales = (minor, melodic, major) if mode == "minor" else (major, minor)
    if mode == "minor" and quality == "dominant-seventh" and place == 0:
        return False
    return any(members <= scale for scale in scales) and (place, quality) != (-2, "dominant-seventh")


def _direct(root: PitchClass, quality: Quality, inversion: int, tonic: PitchClass, mode: str) -> str:
    """A numeral in the key itself."""
    for name, sixth in _SPECIAL_QUALITY.items():
        if quality == sixth and root.fifths - tonic.fifths == (2 if name == "Fr" else 6):
            return name + (("53", "6", "64") if name == "It" else _FIGURES[4])[inversion]
    numeral = _numeral(root, quality, tonic, mode)
    steps = MEMBERS[quality]
    if quality in _TAILS and quality != "dominant-seventh-flat-five":
        return f"{numeral}{_FIGURES[3][min(inversion, 2)]}{_TAILS[quality]}"
    if len(steps) == 3:
        return numeral + _FIGURES[3][inversion]
    ninth = quality in _NINTHS_IN_FULL
    text = numeral + ("9" if ninth and inversion == 0 else _FIGURES[4][min(inversion, 3)])
    expected = _seventh("", quality in _SMALL, _SIGNS.get(quality, ""), root, tonic, mode)
    seventh = "" if steps[3] == expected else "[#7]" if steps[3] > expected else "[b7]"
    return text + seventh + _TAILS.get(quality, "") + ("[add9]" if ninth and inversion else "")


def _numeral(root: PitchClass, quality: Quality, tonic: PitchClass, mode: str) -> str:
    """Accidental, numeral and sign: 'bVI', '#ivo', 'vii%'."""
    place = root.fifths - tonic.fifths
    degree = "CDEFGAB".index(PitchClass(place).step)
    small, sign = quality in _SMALL, _SIGNS.get(quality, "")
    if mode != "minor":
        shift = (place - _MAJOR_SCALE[degree]) // 7
    else:
        shift = (place - _MINOR_SCALE[degree]) // 7
        if degree >= 5:
            raised = small and sign != "+"
            shift = {(0, True): -1, (1, True): 0}.get((shift, raised), shift if shift >= 0 else shift - 1)
    numeral = _NUMERALS[degree]
    return ("#" * shift if shift > 0 else "b" * -shift) + (numeral.lower() if small else numeral) + sign
