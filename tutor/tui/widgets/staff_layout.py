"""From a Phrase to bars, slots and stems: everything about a staff that needs no drawing.

A *slot* is one moment with something to draw; a *stack* is the notes of one line that share a stem; a *block* is a
staff with its clef, or the great staff: both staves joined by the ledger line of middle C, on which every pitch has
one place. The rules of stems, seconds and accidentals are common practice of engraving.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

from tutor.music.phrase import Line, Phrase, Tone
from tutor.music.pitch import Pitch, PitchClass

Clef = Literal["treble", "bass", "great"]

TOP = {"treble": 38, "great": 38, "bass": 26}
"""Staff place (`Pitch.diatonic`) of the highest line: F5, or A3 in the bass clef."""
LINES: dict[Clef, tuple[int, ...]] = {
    "treble": (38, 36, 34, 32, 30),
    "bass": (26, 24, 22, 20, 18),
    "great": (38, 36, 34, 32, 30, 26, 24, 22, 20, 18),
}
_EPS = 1e-4


@dataclass(frozen=True, slots=True)
class Value:
    """How a length is written."""

    hollow: bool
    """Half notes and longer."""
    stem: bool
    """All but whole notes."""
    flags: int
    """1 for an eighth, 2 for a sixteenth, …"""
    dots: int = 0
    triplet: bool = False
    """Three in the time of two."""
    name: str = "quarter note"
    """For the description in words."""


VALUES: dict[float, Value] = {
    8.0: Value(True, False, 0, 0, name="double whole note"),
    6.0: Value(True, False, 0, 1, name="dotted whole note"),
    4.0: Value(True, False, 0, 0, name="whole note"),
    3.0: Value(True, True, 0, 1, name="dotted half note"),
    2.0: Value(True, True, 0, 0, name="half note"),
    1.5: Value(False, True, 0, 1, name="dotted quarter note"),
    1.0: Value(False, True, 0, 0, name="quarter note"),
    0.75: Value(False, True, 1, 1, name="dotted eighth note"),
    0.5: Value(False, True, 1, 0, name="eighth note"),
    0.375: Value(False, True, 2, 1, name="dotted sixteenth note"),
    0.25: Value(False, True, 2, 0, name="sixteenth note"),
    0.125: Value(False, True, 3, 0, name="thirty-second note"),
    4 / 3: Value(True, True, 0, 0, True, "triplet half note"),
    2 / 3: Value(False, True, 0, 0, True, "triplet quarter note"),
    1 / 3: Value(False, True, 1, 0, True, "triplet eighth note"),
    1 / 6: Value(False, True, 2, 0, True, "triplet sixteenth note"),
}


def written(quarters: float) -> Value:
    """The note value nearest to a length."""
    return VALUES[min(VALUES, key=lambda v: (abs(v - quarters), v))]


@dataclass(frozen=True, slots=True)
class Head:
    """One note head."""

    place: int
    """Staff place, `Pitch.diatonic`."""
    accidental: str
    """Sign drawn before it: '', '#', 'b', 'n', '##', 'bb'."""
    mark: str
    """Why it is pointed out; empty for most."""
    value: Value
    tied: bool = False
    """Continues the same note from before."""
    side: int = 0
    """-1 or 1 where a second pushes it to the other side of the stem."""


@dataclass(slots=True)
class Stack:
    """Notes of one line at one moment on one stem."""

    line: Line
    heads: list[Head]
    """Lowest first."""
    value: Value
    up: bool = True
    """Direction of the stem."""
    shift: int = 0
    """Head widths to the right, to keep clear of another line's heads."""
    beam: int = -1
    """Number of the beam group it belongs to, or -1."""


@dataclass(slots=True)
class Slot:
    """One moment."""

    at: float
    """Quarters from the beginning of the phrase."""
    stacks: dict[int, list[Stack]] = field(default_factory=dict)
    """By block."""
    rests: dict[int, Value] = field(default_factory=dict)
    """By block, where the whole block is silent."""
    syllable: str = ""
    figure: str = ""

    @property
    def marks(self) -> list[str]:
        """Reasons of the notes pointed out here, without repeats."""
        found = [h.mark for stacks in self.stacks.values() for s in stacks for h in s.heads if h.mark]
        return list(dict.fromkeys(found))


@dataclass(slots=True)
class Bar:
    """One bar."""

    number: str
    """Printed number; empty for fresh material."""
    start: float
    end: float
    slots: list[Slot] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Layout:
    """A phrase ready to be drawn."""

    blocks: tuple[Clef, ...]
    bars: tuple[Bar, ...]
    fifths: int
    numerator: int
    denominator: int


def lay_out(phrase: Phrase, *, voice_apart: bool = False, clef: Clef | None = None) -> Layout:
    """Arrange a phrase in bars and slots.

    Args:
        phrase: what to draw; clicks are left out.
        voice_apart: True gives the sung line its own staff above the piano's.
        clef: clef of a sung line that stands alone; chosen by its pitches if not given.
    """
    tones = [t for t in phrase.tones if t.line != "click"]
    blocks, home = _blocks(tones, voice_apart, clef)
    bars = _bars(
        phrase,
        max(
            [max(t.end_quarters, t.onset_quarters + 0.125) for t in tones] + [at + 0.5 for at, _ in phrase.figures],
            default=0.0,
        ),
    )
    slots: dict[float, Slot] = {}
    _place_notes(tones, bars, home, phrase.fifths, slots)
    _place_rests(slots, bars, len(blocks))
    for at, text in phrase.figures:
        slots.setdefault(round(at, 4), Slot(round(at, 4))).figure = text
    lines = {t.line for t in tones}
    for slot in slots.values():
        for block, stacks in slot.stacks.items():
            _direct(stacks, blocks[block], sung=home.get("voice") == block and "voice" in lines)
            _seconds(stacks)
            _clear(stacks)
    for at in sorted(slots):
        bar = next((b for b in reversed(bars) if b.start <= at + _EPS), bars[0])
        bar.slots.append(slots[at])
    _beam(bars, phrase)
    return Layout(blocks, tuple(bars), phrase.fifths, phrase.numerator, phrase.denominator)


def _blocks(tones: list[Tone], voice_apart: bool, clef: Clef | None) -> tuple[tuple[Clef, ...], dict[Line, int]]:
    lines = {t.line for t in tones}
    if lines <= {"voice"}:
        return (clef or clef_of([t.pitch for t in tones]),), {"voice": 0}
    if lines == {"upper"} and min(t.midi for t in tones) >= 57:
        return ("treble",), {"upper": 0}
    if lines == {"lower"} and max(t.midi for t in tones) <= 64:
        return ("bass",), {"lower": 0}
    if "voice" in lines and voice_apart:
        clef = clef_of([t.pitch for t in tones if t.line == "voice"])
        return (clef, "great"), {"voice": 0, "upper": 1, "lower": 1}
    return ("great",), {"voice": 0, "upper": 0, "lower": 0}


def sung_clef(phrase: Phrase, clef: Clef | None = None) -> Literal["treble", "bass"] | None:
    """The clef of the sung line where it has a staff of its own; None without one.

    Args:
        phrase: what is drawn.
        clef: clef of a line that stands alone; chosen by its pitches if not given.
    """
    lines = {t.line for t in phrase.tones if t.line != "click"}
    if "voice" not in lines:
        return None
    if clef is not None and lines == {"voice"}:
        return "bass" if clef == "bass" else "treble"
    return clef_of([t.pitch for t in phrase.tones if t.line == "voice"])


def clef_of(pitches: Sequence[Pitch]) -> Literal["treble", "bass"]:
    """The clef in which most of the pitches lie within the staff."""
    places = sorted(p.diatonic for p in pitches)
    return "bass" if places and places[len(places) // 2] < 27 else "treble"


def _bars(phrase: Phrase, end: float) -> list[Bar]:
    length = phrase.numerator * 4.0 / phrase.denominator
    start = 0.0
    bars: list[Bar] = []
    number = int(phrase.first_bar) if phrase.first_bar.isdigit() else None
    stop = phrase.pickup_quarters or length
    while True:
        named = phrase.first_bar if not bars else ("" if number is None else str(number + len(bars)))
        bars.append(Bar(named, start, stop))
        if stop >= end - _EPS:
            return bars
        start, stop = stop, stop + length


def _pieces(onset: float, duration: float, bars: list[Bar]) -> Iterator[tuple[float, float]]:
    """Cut a sounding note at bar lines and into lengths that can be written."""
    at, end = onset, onset + max(duration, 0.125)
    for bar in bars:
        if bar.end <= at + _EPS:
            continue
        while at < min(bar.end, end) - _EPS:
            length = min(bar.end, end) - at
            if all(abs(length - v) > 0.02 for v in VALUES):
                # 2.5 quarters are a half tied to an eighth; anything stranger is rounded to one value.
                part = next((v for v in VALUES if v < length and any(abs(length - v - w) < 0.02 for w in VALUES)), None)
                length = part if part is not None and length > 1 else length
            yield round(at, 4), length
            at += length
        if at >= end - _EPS:
            return


def _place_notes(
    tones: list[Tone], bars: list[Bar], home: dict[Line, int], fifths: int, slots: dict[float, Slot]
) -> None:
    state: dict[tuple[int, str, int], int] = {}
    grouped: dict[tuple[float, int, Line], list[Head]] = defaultdict(list)
    lengths: dict[tuple[float, int, Line], float] = {}
    bar_of = -1.0
    cut = [
        (at, length, tone, at > tone.onset_quarters + _EPS)
        for tone in tones
        for at, length in _pieces(tone.onset_quarters, tone.duration_quarters, bars)
    ]
    for at, length, tone, tied in sorted(cut, key=lambda c: (c[0], c[2].pitch.diatonic, c[2].midi)):
        start = next(b.start for b in reversed(bars) if b.start <= at + _EPS)
        if start != bar_of:
            state.clear()
            bar_of = start
        block = home[tone.line]
        sign = "" if tied else _sign(tone.pitch, block, fifths, state)
        head = Head(tone.pitch.diatonic, sign, tone.mark, written(length), tied)
        key = (at, block, tone.line)
        if head.place not in [h.place for h in grouped[key] if h.accidental == sign]:
            grouped[key].append(head)
        lengths[key] = min(lengths.get(key, length), length)
        slot = slots.setdefault(at, Slot(at))
        if tone.syllable and not tied and tone.line == "voice":
            slot.syllable = tone.syllable
    for (at, block, line), heads in grouped.items():
        stack = Stack(line, heads, written(lengths[at, block, line]))
        slots[at].stacks.setdefault(block, []).append(stack)


def _sign(pitch: Pitch, block: int, fifths: int, state: dict[tuple[int, str, int], int]) -> str:
    key = (block, pitch.step, pitch.octave)
    if pitch.alter == state.get(key, signature_alter(pitch.step, fifths)):
        return ""
    state[key] = pitch.alter
    return "n" if pitch.alter == 0 else ("#" * pitch.alter if pitch.alter > 0 else "b" * -pitch.alter)


def signature_alter(step: str, fifths: int) -> int:
    """Alteration a key signature gives a letter."""
    place = PitchClass.of(step).fifths
    if fifths > 0:
        return 1 if place + 1 < fifths else 0
    return -1 if 5 - place < -fifths else 0


def _place_rests(slots: dict[float, Slot], bars: list[Bar], blocks: int) -> None:
    for block in range(blocks):
        busy = [(s.at, s.at + _longest(s.stacks[block])) for s in slots.values() if block in s.stacks]
        busy.sort()
        at = 0.0
        for start, stop in [*busy, (bars[-1].end, bars[-1].end)]:
            if start - at > 0.1:
                for gap_at, length in _pieces(at, start - at, bars):
                    slots.setdefault(gap_at, Slot(gap_at)).rests[block] = written(length)
            at = max(at, stop)


def _longest(stacks: list[Stack]) -> float:
    names = {id(v): k for k, v in VALUES.items()}
    return max(names[id(h.value)] for s in stacks for h in s.heads)


def _direct(stacks: list[Stack], clef: Clef, *, sung: bool) -> None:
    """Stems: away from the other line where two share a staff, else towards the middle line."""
    for stack in stacks:
        stack.heads.sort(key=lambda h: h.place)
        if clef == "great" and sung:
            stack.up = stack.line == "voice"
        else:
            # In the great staff each hand turns its stems towards the middle of its own five lines.
            middle = TOP["bass" if clef == "great" and stack.line == "lower" else clef] - 4
            low, high = stack.heads[0].place, stack.heads[-1].place
            stack.up = middle - low > high - middle


def _seconds(stacks: list[Stack]) -> None:
    """Heads a second apart stand on two sides of the stem."""
    for stack in stacks:
        heads = stack.heads if stack.up else stack.heads[::-1]
        out: list[Head] = []
        for head in heads:
            near = bool(out) and abs(head.place - out[-1].place) <= 1 and out[-1].side == 0
            side = (1 if stack.up or not stack.value.stem else -1) if near else 0
            out.append(Head(head.place, head.accidental, head.mark, head.value, head.tied, side))
        stack.heads = sorted(out, key=lambda h: h.place)


def _clear(stacks: list[Stack]) -> None:
    """Move a line to the right where its heads would run into another line's."""
    stacks.sort(key=lambda s: (not s.up, -s.heads[-1].place))
    taken: list[tuple[int, Head]] = []
    for stack in stacks:
        while any(shift == stack.shift and _clash(h, head) for head in stack.heads for shift, h in taken):
            stack.shift += 1
        taken += [(stack.shift, h) for h in stack.heads]


def _clash(one: Head, other: Head) -> bool:
    apart = abs(one.place - other.place)
    return apart == 1 or (apart == 0 and (one.value.hollow != other.value.hollow or one.accidental != other.accidental))


def _beam(bars: list[Bar], phrase: Phrase) -> None:
    compound = phrase.denominator >= 8 and phrase.numerator % 3 == 0 and phrase.numerator > 3
    beat = 4.0 / phrase.denominator * (3 if compound else 1)
    group = 0
    for bar in bars:
        open_: dict[tuple[int, Line], tuple[int, Stack]] = {}
        full = bar.end - phrase.numerator * 4.0 / phrase.denominator if bar.start == 0 else bar.start
        for slot in bar.slots:
            count = int((slot.at - full) / beat + _EPS)
            for block, stacks in slot.stacks.items():
                for stack in stacks:
                    before = open_.pop((block, stack.line), None)
                    if not stack.value.flags or stack.shift:
                        continue
                    if before and before[0] == count and before[1].up == stack.up:
                        if before[1].beam < 0:
                            before[1].beam, group = group, group + 1
                        stack.beam = before[1].beam
                    open_[block, stack.line] = (count, stack)
            for block in slot.rests:
                for key in [k for k in open_ if k[0] == block]:
                    del open_[key]
