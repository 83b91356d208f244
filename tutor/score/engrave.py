"""Phrases engraved: notes in time become a picture of a staff, as SVG.

music21 settles bars, ties, beams and accidentals; verovio draws. Both load on first use.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from importlib.resources import files
from typing import Any, Literal

from tutor.errors import ScoreError
from tutor.music.phrase import Phrase, Tone

_GRID = 96
"""Parts of a quarter to which onsets are rounded: thirds, quarters and sixths fall on it."""
_SPLIT_MIDI = 60
"""Fresh material without hands is split here: middle C and above goes to the upper staff."""
MARK = "#000001"
"""Colour that carries a mark through the libraries; never shown."""
STYLE = (
    "path{stroke:currentColor} ellipse,rect,polygon{fill:currentColor} text{fill:currentColor;font-family:Times,serif}"
)
"""What a page must say of the drawing's parts; marked notes have the attribute data-mark."""
_LAYOUT = {
    "pageHeight": 60000, "adjustPageHeight": True, "adjustPageWidth": True, "scale": 40, "footer": "none",
    "header": "none", "breaks": "auto",
    "svgViewBox": True, "svgRemoveXlink": True, "xmlIdSeed": 1, "lyricSize": 3.6, "lyricWordSpace": 3.0,
    "spacingLinear": 0.34, "pageMarginTop": 30, "pageMarginBottom": 30, "pageMarginLeft": 30, "pageMarginRight": 30,
}  # fmt: skip
"""Options of the drawing library."""
_STAVES = ("voice", "upper", "lower")
SungClef = Literal["treble", "bass"]
"""Clef of a sung line."""


def engrave(phrase: Phrase, *, width: int = 970, clef: SungClef | None = None) -> str:
    """Draw a phrase as SVG; marked notes carry the class `mark`.

    Args:
        phrase: what to draw; clicks are left out.
        width: most width of the page, in the drawing library's units (0.4 of a CSS pixel); music that needs less
            gets a narrower page, so that short phrases keep the size of their notes. The default fills a phone held
            upright (388 pixels) at the size of printed music.
        clef: clef of the sung line; chosen by its pitches if not given.

    Returns:
        One `svg` element without script, style sheet or font reference.

    Raises:
        ScoreError: verovio is not installed, or cannot draw the phrase.
    """
    try:
        import verovio
    except ImportError as error:
        raise ScoreError("staves cannot be drawn without verovio", remedy="Run: pip install verovio") from error
    verovio.enableLog(verovio.LOG_OFF)
    # The library keeps the folder of its signs for each thread, and sets it only in the one that imported it.
    verovio.setDefaultResourcePath(str(files("verovio") / "data"))
    toolkit = verovio.toolkit()
    toolkit.setOptions({**_LAYOUT, "pageWidth": width})
    if not toolkit.loadData(musicxml(phrase, clef)):
        raise ScoreError("a phrase cannot be drawn", remedy="Please report it with the song")
    return _clean(toolkit.renderToSVG(1))


def musicxml(phrase: Phrase, clef: SungClef | None = None) -> str:
    """A phrase as MusicXML, a part for each line that it has; lyrics and figures included."""
    from music21 import metadata, stream
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    score = stream.Score()
    score.insert(0, metadata.Metadata())
    lines = _lines(phrase)
    end = _rounded(max((t.end_quarters for tones in lines.values() for t in tones), default=4.0))
    for number, (line, tones) in enumerate(lines.items()):
        last = number == len(lines) - 1
        score.insert(0, _part(phrase, line, tones, end, figures=last, wanted=clef if line == "voice" else None))
    _braced(score, lines)
    return str(GeneralObjectExporter(score).parse(), "utf-8")


def _lines(phrase: Phrase) -> dict[str, list[Tone]]:
    """Tones by staff, top first; hands are told apart by register where a chord has none."""
    found: dict[str, list[Tone]] = defaultdict(list)
    for tone in phrase.tones:
        if tone.line != "click":
            found[tone.line].append(tone)
    chordal = _overlaps(found.get("voice", ()))
    if set(found) == {"voice"} and chordal and min(t.midi for t in found["voice"]) < _SPLIT_MIDI - 5:
        tones = found.pop("voice")
        found["upper"] = [t for t in tones if t.midi >= _SPLIT_MIDI]
        found["lower"] = [t for t in tones if t.midi < _SPLIT_MIDI]
    return {line: found[line] for line in _STAVES if found.get(line)} or {"voice": []}


def _overlaps(tones: Iterable[Tone]) -> bool:
    onsets = [t.onset_quarters for t in tones]
    return len(set(onsets)) < len(onsets)


def _part(phrase: Phrase, line: str, tones: list[Tone], end: float, *, figures: bool, wanted: SungClef | None) -> Any:
    from music21 import clef, key, meter, stream

    part = stream.Part(id=line)
    part.partName = ""
    middle = sorted(t.midi for t in tones)[len(tones) // 2] if tones else 60
    deep = line == "lower" or middle < 55 if wanted is None else wanted == "bass"
    part.insert(0, clef.BassClef() if deep else clef.TrebleClef())
    part.insert(0, key.KeySignature(phrase.fifths))
    part.insert(0, meter.TimeSignature(f"{phrase.numerator}/{phrase.denominator}"))
    bar = phrase.numerator * 4 / phrase.denominator
    shift = bar - phrase.pickup_quarters if 0 < phrase.pickup_quarters < bar else 0.0
    told = dict(phrase.figures) if figures else {}
    for onset, length, group in _columns(tones, end):
        part.insert(_rounded(onset), _event(group, length, told))
    made = _measured(part, shift)
    if phrase.first_bar.isdigit():
        for number, measure in enumerate(made.getElementsByClass("Measure"), start=int(phrase.first_bar)):
            measure.number = number
    return made


def _columns(tones: list[Tone], end: float) -> Iterable[tuple[float, float, list[Tone]]]:
    """The line as a row of chords and rests, one voice: a note that is still held when the next starts is cut there."""
    onsets = sorted({_rounded(t.onset_quarters) for t in tones})
    at = 0.0
    for place, onset in enumerate(onsets):
        group = [t for t in tones if _rounded(t.onset_quarters) == onset]
        following = onsets[place + 1] if place + 1 < len(onsets) else end
        length = min(_rounded(max(t.duration_quarters for t in group)), following - onset)
        if onset > at:
            yield at, onset - at, []
        if length > 0:
            yield onset, length, group
            at = onset + length
    if at < end:
        yield at, end - at, []


def _event(group: list[Tone], length: float, told: dict[float, str]) -> Any:
    from music21 import chord, note

    if not group:
        return note.Rest(quarterLength=length)
    names = sorted({(t.midi, t.pitch.name.replace("b", "-")) for t in group})
    event: Any = note.Note(names[0][1]) if len(names) == 1 else chord.Chord([name for _, name in names])
    event.quarterLength = length
    words = next((t.syllable for t in group if t.syllable), "")
    if words:
        event.lyric = words
    figure = told.get(group[0].onset_quarters)
    if figure:
        event.addLyric(figure)
    for member in event.notes if len(names) > 1 else (event,):
        if any(t.mark and t.midi == member.pitch.midi for t in group):
            member.style.color = MARK
            member.notehead = "diamond"
    return event


def _measured(part: Any, shift: float) -> Any:
    """Bars, ties and beams; a pick-up shorter than its bar is kept short."""
    if shift:
        part.shiftElements(shift, startOffset=0.0, classFilterList=("Note", "Chord", "Rest"))
    made = part.makeNotation(inPlace=False)
    first = made.getElementsByClass("Measure").first()
    if shift and first is not None:
        for rest in [r for r in first.notesAndRests if r.isRest and r.offset < shift]:
            first.remove(rest)
        first.padAsAnacrusis(useInitialRests=False)
        for event in list(first.notesAndRests):
            event.offset = max(0.0, event.offset - shift)
        first.paddingLeft = shift
        first.number = 0
    return made


def _braced(score: Any, lines: dict[str, list[Tone]]) -> None:
    from music21 import layout

    hands = [p for p in score.parts if p.id in ("upper", "lower")]
    if len(hands) == 2:
        score.insert(0, layout.StaffGroup(hands, symbol="brace", barTogether=True))


def _rounded(quarters: float) -> float:
    return round(quarters * _GRID) / _GRID


def _clean(svg: str) -> str:
    """Take out what a page under a strict policy must not have; the page's own style sheet draws the rest."""
    svg = re.sub(r"<\?xml[^>]*\?>|<!DOCTYPE[^>]*>|<desc[^>]*>.*?</desc>|<style[^>]*>.*?</style>", "", svg, flags=re.S)
    svg = re.sub(r'(<g[^>]*class="[^"]*placeholder[^"]*"[^>]*>)\s*<ellipse[^>]*/>', r"\1", svg)
    svg = re.sub(r'\s(?:style|font-family|xml:space|overflow|xmlns:xlink|color)="[^"]*"', "", svg)
    return svg.replace(f'fill="{MARK}"', 'data-mark="1"').strip()
