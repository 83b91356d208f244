"""A staff in words: for screen readers, for the command line, for whoever would rather be told than see."""

from __future__ import annotations

from tutor.music.phrase import Line, Phrase, Tone
from tutor.music.pitch import pretty

_WHO: dict[Line, str] = {"voice": "voice", "upper": "right hand", "lower": "left hand"}
_MARKS = {
    "bass": "bass", "borrowed": "borrowed", "rub": "rub", "changed": "changed", "target": "here", "right": "right",
    "wrong": "not this",
}  # fmt: skip
_LENGTHS = {
    8.0: "double whole note", 6.0: "dotted whole note", 4.0: "whole note", 3.0: "dotted half note", 2.0: "half note",
    1.5: "dotted quarter note", 1.0: "quarter note", 0.75: "dotted eighth note", 0.5: "eighth note",
    0.375: "dotted sixteenth note", 0.25: "sixteenth note", 0.125: "thirty-second note", 4 / 3: "triplet half note",
    2 / 3: "triplet quarter note", 1 / 3: "triplet eighth note", 1 / 6: "triplet sixteenth note",
}  # fmt: skip
_SIGNS = {"##": " double sharp ", "bb": " double flat ", "#": " sharp ", "b": " flat "}
_EPS = 1e-6


def signature(fifths: int) -> str:
    """'no sharps or flats', 'one flat', 'three sharps'."""
    if not fifths:
        return "no sharps or flats"
    number = ["", "one", "two", "three", "four", "five", "six", "seven"][min(7, abs(fifths))]
    kind = "sharp" if fifths > 0 else "flat"
    return f"{number} {kind}{'s' if abs(fifths) > 1 else ''}"


def length(quarters: float) -> str:
    """The name of the note value nearest to a length: 'dotted half note'."""
    return _LENGTHS[min(_LENGTHS, key=lambda v: (abs(v - quarters), v))]


def note(name: str) -> str:
    """A spelled name without signs, so that a screen reader says it: 'Bb4' → 'B flat 4'."""
    rest = name[1:]
    for sign, words in _SIGNS.items():
        if rest.startswith(sign):
            return f"{name[0]}{words}{rest[len(sign) :]}".rstrip()
    return name


def bars(phrase: Phrase) -> list[tuple[str, float, float]]:
    """The bars of a phrase: printed number (empty for fresh material), start and end in quarters."""
    tones = [t for t in phrase.tones if t.line != "click"]
    end = max([max(t.end_quarters, t.onset_quarters + 0.125) for t in tones] + [at + 0.5 for at, _ in phrase.figures],
              default=0.0)  # fmt: skip
    full = phrase.numerator * 4.0 / phrase.denominator
    number = int(phrase.first_bar) if phrase.first_bar.isdigit() else None
    start, stop = 0.0, phrase.pickup_quarters or full
    out = [(phrase.first_bar, start, stop)]
    while stop < end - _EPS:
        start, stop = stop, stop + full
        out.append(("" if number is None else str(number + len(out)), start, stop))
    return out


def describe(phrase: Phrase, *, signs: bool = True) -> str:
    """Say what a staff shows: metre, signature, then bar by bar and beat by beat who has which notes.

    Args:
        phrase: what the staff draws.
        signs: True writes 'B♭4', False 'B flat 4', for what reads aloud and may not know the sign.

    Returns:
        One line for the heading and one for each bar, in plain words.
    """
    lines = [f"{phrase.numerator}/{phrase.denominator}, {signature(phrase.fifths)}."]
    beat = 4.0 / phrase.denominator
    figures = dict(phrase.figures)
    by_time: dict[float, list[Tone]] = {}
    for tone in phrase.tones:
        if tone.line != "click":
            by_time.setdefault(tone.onset_quarters, []).append(tone)
    times = sorted(by_time.keys() | figures.keys())
    several = len({t.line for tones in by_time.values() for t in tones}) > 1
    for i, (number, start, end) in enumerate(bars(phrase)):
        lead = phrase.numerator * beat - (end - start) if i == 0 else 0.0
        moments = []
        for at in (t for t in times if start - _EPS <= t < end - _EPS):
            said = [_line(by_time.get(at, ()), line, several, signs) for line in _WHO]
            if at in figures:
                said.append(f"figure {figures[at]}")
            moments.append(f"beat {1 + (at - start + lead) / beat:g}: " + "; ".join(s for s in said if s))
        lines.append(f"Bar {number or i + 1}. " + (". ".join(moments) if moments else "Rest") + ".")
    return "\n".join(lines)


def _line(sounding: list[Tone] | tuple[()], line: Line, several: bool, signs: bool) -> str:
    """What one line has at one moment; its name is said only where there is another."""
    tones = sorted((t for t in sounding if t.line == line), key=lambda t: t.midi)
    if not tones:
        return ""
    names = []
    for tone in tones:
        mark = f" (marked: {_MARKS.get(tone.mark, tone.mark)})" if tone.mark else ""
        names.append((pretty(tone.pitch.name) if signs else note(tone.pitch.name)) + mark)
    lengths = {length(t.duration_quarters) for t in tones}
    value = lengths.pop() if len(lengths) == 1 else "notes of several lengths"
    words = next((f", on “{t.syllable}”" for t in tones if t.syllable), "")
    who = f"{_WHO[line]} " if several else ""
    return f"{who}{(' ' if signs else ', ').join(names)}, {value}{words}"
