"""Stretches in a mode: where a song is not plainly major or minor but lydian, mixolydian, dorian or phrygian.

A mode shows in the degrees that tell it from its neighbours: the fourth and seventh above a major third, the second,
sixth and seventh above a minor one. Each bar is weighed by how long these degrees sound, and a change of mode has to
pay for itself (a Viterbi path over the bars of one key). Of the foreign tones only those count that a mode lends: a
raised fourth that leads to the fifth degree is no lydian. In plain minor the seventh may stand raised, and the sixth
with it (harmonic and melodic minor). The weights and the cost of a change are our own choice: common practice has no
number for them.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from tutor.analysis.findings import BorrowedTone, KeySpan, ModeSpan
from tutor.music.pitch import Pitch, PitchClass
from tutor.music.scale import Key
from tutor.music.table import NoteRow, NoteTable

_Weights = Mapping[str, float]

_SPEAKS: dict[str, dict[str, _Weights]] = {
    "major": {
        "ionian": {"4": 1, "#4": -1, "7": 1, "b7": -1},
        "lydian": {"4": -1, "#4": 1, "7": 1, "b7": -1},
        "mixolydian": {"4": 1, "#4": -1, "7": -1, "b7": 1},
    },
    "minor": {
        "aeolian": {"2": 1, "b2": -1, "b6": 1, "6": -1},
        "dorian": {"2": 1, "b2": -1, "b6": -1, "6": 1, "7": -1},
        "phrygian": {"2": -1, "b2": 1, "b6": 1, "6": -1, "7": -1},
    },
}
"""What a quarter of a degree says for each mode on the tonic; the first mode is the plain one."""
_MARKS = {"lydian": "#4", "mixolydian": "b7", "dorian": "6", "phrygian": "b2"}
_CHANGE = 4.0
"""Quarters of evidence that a change of mode costs."""
_MOST = 2.0
"""Quarters of one degree that count in one bar."""
_BARS = 3
"""Bars in which its mark has to sound before a mode is named."""
_SHARE = 0.7
"""Least share of the mark against its plain rival: below it the two mix, and neither names the stretch."""
_SMALL = 1e-6


@dataclass(frozen=True, slots=True)
class _Bar:
    """A bar (or the part of it that stands in one key) and how long each telling degree sounds in it."""

    start: float
    end: float
    quarters: Mapping[str, float]


def find_modes(table: NoteTable, keys: Sequence[KeySpan], borrowed: Sequence[BorrowedTone]) -> tuple[ModeSpan, ...]:
    """Stretches in which a key stands in another mode than plain major or minor, in written order.

    Args:
        table: The score as rows.
        keys: Keys without gaps.
        borrowed: The tones foreign to their key, told apart.
    """
    lent = {(b.part, b.start, b.pitch) for b in borrowed if b.kind == "modal"}
    marked = [key for key in keys if _marked(key, lent)] if lent else []
    onsets = [n.onset_quarters for n in table.notes] if marked else []
    out: list[ModeSpan] = []
    for key in marked:
        first, last = bisect_left(onsets, key.start - _SMALL), bisect_left(onsets, key.end - _SMALL)
        bars = _bars(table, key, table.notes[first:last], lent)
        modes = _path(bars, _SPEAKS[key.mode]) if bars else []
        for mode, run in groupby(zip(modes, bars, strict=True), key=lambda pair: pair[0]):
            if mark := _MARKS.get(mode):
                out.extend(_told(table, key, mode, mark, [bar for _, bar in run]))
    return tuple(out)


def _marked(key: KeySpan, lent: set[tuple[str, float, str]]) -> bool:
    """Whether the marks of modes are lent often enough in a key to be looked at; every mark is a lent tone."""
    home = Key(PitchClass.parse(key.tonic), key.mode)
    marks = {_MARKS[mode] for mode in _SPEAKS[key.mode] if mode in _MARKS}
    here = [pitch for _, start, pitch in lent if key.start - _SMALL <= start < key.end]
    return sum(home.degree_of(Pitch.parse(pitch).pitch_class) in marks for pitch in here) >= _BARS


def _bars(table: NoteTable, key: KeySpan, notes: Sequence[NoteRow], lent: set[tuple[str, float, str]]) -> list[_Bar]:
    home = Key(PitchClass.parse(key.tonic), key.mode)
    telling = {degree for weights in _SPEAKS[key.mode].values() for degree in weights}
    own = {*home.degrees, "7"}
    heard: dict[int, dict[str, float]] = {}
    degrees: dict[tuple[str, int], str] = {}
    for note in notes:
        tone = (note.step, note.alter)
        if (degree := degrees.get(tone)) is None:
            degree = degrees[tone] = home.degree_of(PitchClass.of(*tone))
        if note.grace or degree not in telling:
            continue
        if degree in own or (table.parts[note.part].id, note.onset_quarters, note.pitch.name) in lent:
            here = heard.setdefault(note.measure, {})
            here[degree] = min(here.get(degree, 0.0) + note.duration_quarters, _MOST)
    for quarters in heard.values():  # the sixth that rises with the leading note is melodic minor
        if key.mode == "minor" and "7" in quarters and "6" in quarters:
            quarters["6"] = max(quarters["6"] - quarters["7"], 0.0)
    return [
        _Bar(max(m.start_quarters, key.start), min(m.end_quarters, key.end), heard.get(i, {}))
        for i, m in enumerate(table.measures)
        if m.start_quarters < key.end - _SMALL and m.end_quarters > key.start + _SMALL
    ]


def _path(bars: Sequence[_Bar], speaks: Mapping[str, _Weights]) -> list[str]:
    """The mode of every bar: the best path over the bars."""
    modes = list(speaks)
    best = [0.0] * len(modes)
    came: list[list[int]] = []
    for bar in bars:
        lead = max(range(len(modes)), key=lambda m: (best[m], -m))
        froms = [m if best[m] > best[lead] - _CHANGE + _SMALL else lead for m in range(len(modes))]
        best = [
            max(best[m], best[lead] - _CHANGE)
            + sum(weight * bar.quarters.get(degree, 0.0) for degree, weight in speaks[modes[m]].items())
            for m in range(len(modes))
        ]
        came.append(froms)
    at = max(range(len(modes)), key=lambda m: (best[m], -m))
    path = [at]
    for froms in reversed(came[1:]):
        at = froms[at]
        path.append(at)
    return [modes[m] for m in reversed(path)]


def _told(table: NoteTable, key: KeySpan, mode: str, mark: str, bars: Sequence[_Bar]) -> Iterator[ModeSpan]:
    """The stretch up to the last mark of its mode, where that sounds often enough and against little."""
    bars = list(bars)
    while bars and bars[-1].end < key.end - _SMALL and bars[-1].quarters.get(mark, 0.0) < _SMALL:
        bars.pop()
    spoken = _SPEAKS[key.mode][mode]
    rival = next(d for d, weight in spoken.items() if weight < 0 and d[-1] == mark[-1])
    marked = sum(bar.quarters.get(mark, 0.0) for bar in bars)
    share = marked / max(marked + sum(bar.quarters.get(rival, 0.0) for bar in bars), _SMALL)
    if share < _SHARE or sum(bar.quarters.get(mark, 0.0) > _SMALL for bar in bars) < _BARS:
        return
    start, end = bars[0].start, bars[-1].end
    first, last = table.bar_at(start).number, table.bar_at(end - 2 * _SMALL).number
    yield ModeSpan(start, end, (first, last), key.tonic, mode, mark, round(share, 4))
