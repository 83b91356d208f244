"""The peak of the sung line and the reasons for it."""

from __future__ import annotations

from tutor.analysis.columns import SMALL, Line
from tutor.analysis.findings import Climax
from tutor.music.pitch import Pitch
from tutor.music.table import NoteTable

LEAP = 3
"""A leap is wider than a whole tone (common practice)."""
_LOUDNESS = {"ppp": 0.0, "pp": 0.1, "p": 0.25, "mp": 0.4, "mf": 0.55, "f": 0.75, "ff": 0.9, "fff": 1.0}
_NUMBERS = ("unison", "second", "third", "fourth", "fifth", "sixth", "seventh")
_PERFECT = {0: 0, 3: 5, 4: 7}
_MAJOR = {1: 2, 2: 4, 5: 9, 6: 11}


def interval_name(lower: Pitch, upper: Pitch) -> str:
    """'minor sixth', 'perfect fourth', 'octave', 'minor tenth' … of two spelled pitches."""
    if (lower.diatonic, lower.midi) > (upper.diatonic, upper.midi):
        lower, upper = upper, lower
    places, semitones = upper.diatonic - lower.diatonic, upper.midi - lower.midi
    octaves, step = divmod(places, 7)
    over = semitones - 12 * octaves
    if step in _PERFECT:
        kinds = {-1: "diminished", 0: "perfect", 1: "augmented"}
        quality = kinds.get(over - _PERFECT[step])
    else:
        kinds = {-2: "diminished", -1: "minor", 0: "major", 1: "augmented"}
        quality = kinds.get(over - _MAJOR[step])
    if quality is None:
        return f"{semitones} semitones"
    if step == 0:
        name = ("unison", "octave", "two octaves")[octaves] if octaves < 3 else f"{octaves} octaves"
        return name if quality == "perfect" else f"{quality} {name}"
    number = _NUMBERS[step] if octaves == 0 else f"{places + 1}th"
    number = {"9th": "ninth", "10th": "tenth", "11th": "eleventh", "12th": "twelfth"}.get(number, number)
    return f"{quality} {number}"


def approach(line: Line, i: int) -> str:
    """How the line reaches note ``i``: 'leap of a minor sixth up from Eb4'."""
    if i == 0:
        return "first note"
    before, now = line.rows[i - 1].pitch, line.rows[i].pitch
    after_rest = line.onsets[i] - line.ends[i - 1] > SMALL
    tail = " after a rest" if after_rest else ""
    size = now.midi - before.midi
    if size == 0:
        return f"repeated{tail}"
    way = "up" if size > 0 else "down"
    if abs(size) < LEAP:
        return f"step {way} from {before.name}{tail}"
    name = interval_name(before, now)
    article = "an" if name[0] in "aeio" else "a"
    return f"leap of {article} {name} {way} from {before.name}{tail}"


def find_climax(table: NoteTable, line: Line) -> Climax | None:
    """The peak: of the highest sung notes, the one with the most on its side.

    Each highest note earns from 0 to 1 for its length against the longest of them, its place in the song (the later,
    the more), the dynamic mark in force, and an upward leap into it; small credits for a fermata and for an
    exclamation mark in its syllable. A choice of ours, not science: the reasons are given so that a reader can
    disagree.
    """
    if not len(line):
        return None
    highest, held = max(line.midis), line.lengths
    top = [i for i, midi in enumerate(line.midis) if midi == highest]
    longest = max(held[i] for i in top)
    length = max(table.length_quarters, SMALL)
    loud = [_loudness(table, line.onsets[i]) for i in top]
    scores = [
        held[i] / longest
        + 0.6 * line.onsets[i] / length
        + 0.6 * (loud[k] or 0.0)
        + 0.3 * (i > 0 and line.midis[i] - line.midis[i - 1] >= LEAP)
        + 0.3 * line.rows[i].fermata
        + 0.1 * ("!" in line.rows[i].syllable)
        for k, i in enumerate(top)
    ]
    best = max(range(len(top)), key=lambda k: (round(scores[k], 9), -k))
    i = top[best]
    row = line.rows[i]
    return Climax(
        start=row.onset_quarters,
        bar=table.measures[row.measure].number,
        pitch=row.pitch.name,
        held_ql=round(held[i], 6),
        approach=approach(line, i),
        why=_reasons(table, line, i, best, top, loud),
    )


def _reasons(
    table: NoteTable, line: Line, i: int, best: int, top: list[int], loud: list[float | None]
) -> tuple[str, ...]:
    row, held = line.rows[i], line.lengths
    why = ["highest note of the song" if len(top) == 1 else f"highest pitch of the song, sung {len(top)} times"]
    others = [held[k] for k in top]
    if held[i] >= max(others) - SMALL and min(others) < held[i] - SMALL:
        why.append("held longest of these")
    elif held[i] >= 2 * _median(held):
        why.append("held at least twice as long as most notes")
    share = line.onsets[i] / max(table.length_quarters, SMALL)
    if share >= 0.6:
        why.append(f"late: after {round(100 * share)} % of the song")
    here = loud[best]
    marks = [v for v in (_LOUDNESS.get(t.text) for t in table.texts if t.kind == "dynamic") if v is not None]
    if here is not None and marks and here >= max(marks) and max(marks) > min(marks):
        why.append("at the loudest dynamic mark")
    if i > 0 and line.midis[i] - line.midis[i - 1] >= LEAP:
        why.append("reached by a leap up")
    if row.fermata:
        why.append("under a fermata")
    if said := syllable_at(line, i):
        why.append(f"on the syllable '{said}'")
    return tuple(why)


def _median(values: list[float]) -> float:
    ordered, half = sorted(values), len(values) // 2
    return ordered[half] if len(values) % 2 else (ordered[half - 1] + ordered[half]) / 2


def syllable_at(line: Line, i: int) -> str:
    """The syllable sung on a note: its own, or that of the note from which a melisma leads to it without a rest."""
    while not line.rows[i].syllable and i and line.onsets[i] - line.ends[i - 1] < SMALL:
        i -= 1
    return line.rows[i].syllable


def _loudness(table: NoteTable, at: float) -> float | None:
    """The last dynamic mark before an offset on a scale of our own from 0 to 1, or None."""
    found: float | None = None
    for text in table.texts:
        if text.onset_quarters > at + SMALL:
            break
        if text.kind == "dynamic" and text.text in _LOUDNESS:
            found = _LOUDNESS[text.text]
    return found
