"""A staff in words, for screen readers and for the command line."""

from __future__ import annotations

from tutor.music.phrase import Line, Phrase
from tutor.music.pitch import pretty
from tutor.tui.widgets.staff_layout import lay_out, written
from tutor.tui.widgets.staff_signs import WORDS

_WHO: dict[Line, str] = {"voice": "voice", "upper": "right hand", "lower": "left hand"}


def signature(fifths: int) -> str:
    """'no sharps or flats', 'one flat', 'three sharps'."""
    if not fifths:
        return "no sharps or flats"
    number = ["", "one", "two", "three", "four", "five", "six", "seven"][min(7, abs(fifths))]
    kind = "sharp" if fifths > 0 else "flat"
    return f"{number} {kind}{'s' if abs(fifths) > 1 else ''}"


def describe(phrase: Phrase) -> str:
    """Say what a staff shows: metre, signature, then bar by bar and beat by beat who has which notes.

    Args:
        phrase: what the staff draws.

    Returns:
        One line for the heading and one for each bar, in plain words.
    """
    lines = [f"{phrase.numerator}/{phrase.denominator}, {signature(phrase.fifths)}."]
    beat = 4.0 / phrase.denominator
    figures = dict(phrase.figures)
    layout = lay_out(phrase)
    for i, bar in enumerate(layout.bars):
        full = phrase.numerator * beat
        lead = full - (bar.end - bar.start) if i == 0 else 0.0
        moments = []
        times = sorted({t.onset_quarters for t in phrase.tones if t.line != "click"} | set(figures))
        for at in (t for t in times if bar.start - 1e-6 <= t < bar.end - 1e-6):
            said = [_line(phrase, line, at) for line in _WHO]
            text = "; ".join(s for s in said if s)
            if at in figures:
                text = f"{text}; figure {figures[at]}" if text else f"figure {figures[at]}"
            moments.append(f"beat {1 + (at - bar.start + lead) / beat:g}: {text}")
        name = f"Bar {bar.number}" if bar.number else f"Bar {i + 1}"
        lines.append(f"{name}. " + (". ".join(moments) if moments else "Rest") + ".")
    return "\n".join(lines)


def _line(phrase: Phrase, line: Line, at: float) -> str:
    tones = [t for t in phrase.tones if t.line == line and abs(t.onset_quarters - at) < 1e-6]
    if not tones:
        return ""
    tones.sort(key=lambda t: t.midi)
    names = []
    for tone in tones:
        mark = f" (marked: {WORDS.get(tone.mark, tone.mark)})" if tone.mark else ""
        names.append(pretty(tone.pitch.name) + mark)
    lengths = {written(t.duration_quarters).name for t in tones}
    length = lengths.pop() if len(lengths) == 1 else "notes of several lengths"
    words = next((f", on “{t.syllable}”" for t in tones if t.syllable), "")
    return f"{_WHO[line]} {' '.join(names)}, {length}{words}"
