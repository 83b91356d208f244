"""Pictures for the printed page: a sung line on a staff, and the climb. Inline SVG, no fonts of music needed."""

from __future__ import annotations

from html import escape
from itertools import pairwise

from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import pretty
from tutor.warmup.run import Ascent
from tutor.warmup.words import note

SPACE = 8.0
"""Distance of two staff lines, user units."""
_TOP = 40.0
_LETTER = 5.6
"""Usual width of a letter of the words, user units."""
_LEFT = 48.0
_TREBLE, _BASS = 38, 26
"""Staff places of the top lines: F5 and A3."""
_SHARP_PLACES, _FLAT_PLACES = (38, 35, 39, 36, 33, 37, 34), (34, 37, 33, 36, 32, 35, 31)
"""Where a treble signature stands; a bass signature stands one staff step lower on its own staff."""
_SHARPS, _FLATS = "FCGDAEB", "BEADGCF"


def staff_svg(phrase: Phrase, title: str) -> str:
    """The sung line of a phrase on one staff.

    Args:
        phrase: its 'voice' tones are drawn, with their text.
        title: what the picture shows, for readers that cannot see it.
    """
    tones = [t for t in phrase.tones if t.line == "voice"]
    treble = sum(t.midi for t in tones) >= 57 * len(tones)
    top = _TREBLE if treble else _BASS
    unit = 30.0 if min((t.duration_quarters for t in tones), default=1.0) >= 0.5 else 60.0
    left = _LEFT + 9.0 * abs(phrase.fifths)
    xs = _places(tones, left + 20, unit)
    width = (xs[-1] if xs else left) + 60
    words = max(_TOP + 4 * SPACE + 30, max((_y(t.pitch.diatonic, top) for t in tones), default=0.0) + 24)
    parts = [_lines(width), _clef(treble), *_signature(phrase.fifths, top)]
    for tone, x in zip(tones, xs, strict=True):
        parts += _note(tone, x, top, phrase.fifths)
        if tone.syllable:
            parts.append(_text(x, words, 11, tone.syllable))
    height = words + 14
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}"><title>{escape(title)}</title>'
        f'<g fill="currentColor" stroke="currentColor" stroke-width="1">{"".join(parts)}</g></svg>'
    )


def _places(tones: list[Tone], left: float, unit: float) -> list[float]:
    """Where each note stands: in proportion to time, and wide enough for the words below."""
    xs = [left] if tones else []
    for before, tone in pairwise(tones):
        time = (tone.onset_quarters - before.onset_quarters) * unit
        words = _LETTER / 2 * (len(before.syllable) + len(tone.syllable)) + 6
        xs.append(xs[-1] + max(time, words if before.syllable and tone.syllable else 0.0))
    return xs


def _y(place: int, top: int) -> float:
    """Height of a staff place (letters counted from C0)."""
    return _TOP + (top - place) * SPACE / 2


def _line(x1: float, y1: float, x2: float, y2: float, width: float = 1.0) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke-width="{width:g}"/>'


def _text(x: float, y: float, size: float, text: str, anchor: str = "middle") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" stroke="none" '
        f'font-family="serif">{escape(text)}</text>'
    )


def _lines(width: float) -> str:
    return "".join(_line(4, _TOP + k * SPACE, width - 4, _TOP + k * SPACE) for k in range(5))


def _clef(treble: bool) -> str:
    """A plain clef: a curl around G4, or around F3 with two dots."""
    if treble:
        y = _TOP + 3 * SPACE
        return (
            f'<path fill="none" stroke-width="1.8" d="M 22 {y} c -4 -5 5 -9 8 -2 c 2 7 -12 10 -14 0 '
            f'c -1 -10 12 -14 10 -26 c -1 -8 -8 -3 -6 6 l 5 34 c 1 6 -7 7 -8 2"/>'
        )
    y = _TOP + SPACE
    return (
        f'<path fill="none" stroke-width="1.8" d="M 14 {y} c 0 -9 16 -9 16 3 c 0 10 -8 15 -17 19"/>'
        f'<circle cx="15" cy="{y}" r="2"/><circle cx="35" cy="{y - 4}" r="1.4"/><circle cx="35" cy="{y + 4}" r="1.4"/>'
    )


def _signature(fifths: int, top: int) -> list[str]:
    """Sharps or flats of the key, each within the staff."""
    places = _SHARP_PLACES[:fifths] if fifths > 0 else _FLAT_PLACES[: max(0, -fifths)]
    sign = "♯" if fifths > 0 else "♭"
    return [
        _text(_LEFT - 2 + 9 * k, _y(place - _TREBLE + top, top) + 4.5, 15, sign)
        for k, place in enumerate(p + (0 if top == _TREBLE else -2) for p in places)
    ]


def _note(tone: Tone, x: float, top: int, fifths: int) -> list[str]:
    place = tone.pitch.diatonic
    y = _y(place, top)
    hollow = tone.duration_quarters >= 2
    parts = [_line(x - 8, _y(p, top), x + 8, _y(p, top)) for p in _ledgers(place, top)]
    fill = ' fill="none" stroke-width="1.6"' if hollow else ""
    parts.append(f'<ellipse cx="{x:.1f}" cy="{y:.1f}" rx="4.8" ry="3.6"{fill}/>')
    if tone.duration_quarters < 4:
        parts += _stem(tone.duration_quarters, x, y, up=place < top - 4)
    if tone.duration_quarters in (0.75, 1.5, 3.0, 6.0):
        parts.append(f'<circle cx="{x + 9:.1f}" cy="{y - 2:.1f}" r="1.4"/>')
    sign = _needed(tone, fifths)
    if sign:
        parts.append(_text(x - 11, y + 4.5, 15, sign))
    return parts


def _ledgers(place: int, top: int) -> list[int]:
    bottom = top - 8
    return [*range(top + 2, place + 1, 2), *range(bottom - 2, place - 1, -2)]


def _stem(quarters: float, x: float, y: float, *, up: bool) -> list[str]:
    sx, tip = (x + 4.6, y - 26) if up else (x - 4.6, y + 26)
    flags = 0 if quarters >= 1 else 1 if quarters >= 0.5 else 2
    step = 6 if up else -6
    found = [_line(sx, y, sx, tip, 1.3)]
    return found + [_line(sx, tip + k * step, sx + 7, tip + k * step + step, 1.8) for k in range(flags)]


def _needed(tone: Tone, fifths: int) -> str:
    """The accidental that the key signature does not give."""
    letters = _SHARPS[:fifths] if fifths > 0 else _FLATS[:-fifths] if fifths < 0 else ""
    given = (1 if fifths > 0 else -1) if tone.pitch.step in letters else 0
    if tone.pitch.alter == given:
        return ""
    signs = {0: "♮", 1: "♯", -1: "♭", 2: "♯♯", -2: "♭♭"}
    return signs.get(tone.pitch.alter, pretty(tone.pitch.name)[1:-1])


def ascent_svg(ascent: Ascent, width: float = 640.0, height: float = 220.0) -> str:
    """The climb: every repetition's top note over time, with the lines that matter named at the right."""
    rows = [m.top for m in ascent.marks]
    low = min([*rows, ascent.transitions[0]], default=60) - 1
    high = max([*rows, ascent.today_top, ascent.song_top], default=72) + 1
    right = width - 150

    def x(at_s: float) -> float:
        return 10 + (right - 20) * at_s / max(ascent.seconds, 1.0)

    def y(midi: float) -> float:
        return height - 20 - (height - 40) * (midi - low) / max(high - low, 1)

    labels = {
        "song's top": (ascent.song_top, "2 0"),
        "today's top": (ascent.today_top, "6 3"),
        "upper change": (ascent.transitions[1], "2 3"),
        "lower change": (ascent.transitions[0], "2 3"),
    }
    parts: list[str] = []
    taken: list[float] = []
    for name, (midi, dash) in sorted(labels.items(), key=lambda kv: kv[1][0]):
        if not low <= midi <= high:
            continue
        at = y(midi)
        parts.append(
            f'<line x1="10" y1="{at:.1f}" x2="{right:.1f}" y2="{at:.1f}" stroke-width="1" stroke-dasharray="{dash}"/>'
        )
        text_y = min([at + 4, *(t - 13 for t in taken)])
        taken.append(text_y)
        parts.append(_text(right + 6, text_y, 12, f"{note(midi)} {name}", "start"))
    parts += [f'<circle cx="{x(m.at_s):.1f}" cy="{y(m.top):.1f}" r="3.2"/>' for m in ascent.marks]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}"><title>The climb: top note of every key over time</title>'
        f'<g fill="currentColor" stroke="currentColor">{"".join(parts)}</g></svg>'
    )
