"""What the composer meant, read from the hand-written truth files, and how far a Reading agrees.

Chords are compared by root, by inversion and by family (major, minor, diminished, augmented): a seventh that one hears
and the other leaves out is no quarrel here.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from importlib.resources.abc import Traversable
from typing import Any

from tutor.analysis.findings import ChordSpan, Reading
from tutor.music.pitch import Pitch, PitchClass
from tutor.music.table import NoteTable

MAJOR, MINOR = (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 10)
NUMERALS = ("I", "II", "III", "IV", "V", "VI", "VII")
INVERSIONS = {"": 0, "7": 0, "6": 1, "65": 1, "64": 2, "43": 2, "42": 3, "2": 3}
_ROMAN = re.compile(r"(b|#)?(VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i)(o|ø|\+)?(\d*)")


@dataclass(frozen=True)
class Harmony:
    """A stretch of one chord as meant."""

    start: float
    end: float
    bar: str
    tonic: str
    mode: str
    figure: str
    root: int
    family: str
    inversion: int


@dataclass(frozen=True)
class Verdict:
    """How far a reading agrees in one respect."""

    right: float
    """Share, 0 to 1."""
    wrong: tuple[str, ...]
    """One line for each disagreement, with its bar."""

    def __str__(self) -> str:
        return f"{self.right:.3f} right; differs:\n  " + "\n  ".join(self.wrong)


def load(file: Traversable) -> dict[str, Any]:
    """The truth file of a song."""
    return tomllib.loads(file.read_text(encoding="utf-8"))


def roman(figure: str, tonic: int, mode: str) -> tuple[int, str, int]:
    """Root (semitones above C), family and inversion of a Roman numeral in a key."""
    head, _, of = figure.partition("/")
    if of:
        root, family, _ = roman(of, tonic, mode)
        return roman(head, root, "minor" if family == "minor" else "major")
    match = _ROMAN.fullmatch(head)
    if match is None:
        raise ValueError(f"no Roman numeral: {figure!r}")
    sign, numeral, kind, digits = match.groups()
    degree = NUMERALS.index(numeral.upper())
    step = (MINOR if mode == "minor" else MAJOR)[degree]
    if kind and degree == 6:
        step = 11
    step += {"b": -1, "#": 1}.get(sign or "", 0)
    family = {"o": "diminished", "ø": "diminished", "+": "augmented"}.get(
        kind or "", "major" if numeral.isupper() else "minor"
    )
    return (tonic + step) % 12, family, INVERSIONS[digits]


def harmonies(text: str, table: NoteTable) -> list[Harmony]:
    """Read lines like 'm8 F: IV b3 viio7/V' against the bars of the song."""
    starts: list[tuple[float, str, str, str, str]] = []
    tonic, mode = "", ""
    bars = {m.number: m for m in table.measures}
    for line in text.split("\n"):
        number, *words = line.split() or [""]
        if not number:
            continue
        bar, at = bars[number.removeprefix("m")], bars[number.removeprefix("m")].start_quarters
        for word in words:
            if word.endswith(":"):
                tonic, mode = word[:1].upper() + word[1:-1], "minor" if word[0].islower() else "major"
            elif re.fullmatch(r"b[\d.]+", word):
                at = bar.start_quarters + round((float(word[1:]) - 1) * bar.beat_quarters * 12) / 12
            else:
                starts.append((at, bar.number, tonic, mode, word))
    ends = [s[0] for s in starts[1:]] + [table.length_quarters]
    return [
        Harmony(at, end, bar, t, m, figure, *roman(figure, PitchClass.parse(t).chroma, m))
        for (at, bar, t, m, figure), end in zip(starts, ends, strict=True)
    ]


def family(chord: ChordSpan) -> str:
    """Family of a chord as the engine names it."""
    for name, starts in (
        ("minor", ("minor",)),
        ("diminished", ("half-diminished", "diminished")),
        ("augmented", ("augmented",)),
    ):
        if chord.quality.startswith(starts):
            return name
    return chord.quality if chord.quality in ("power", "suspended-second", "suspended-fourth") else "major"


def key_verdict(meant: list[Harmony], reading: Reading) -> Verdict:
    """Share of the time in the key that was meant."""
    right, wrong = 0.0, []
    for h in meant:
        for k in reading.keys:
            shared = min(h.end, k.end) - max(h.start, k.start)
            if shared <= 0:
                continue
            if (k.tonic, k.mode) == (h.tonic, h.mode):
                right += shared
            else:
                wrong.append(f"bar {h.bar}: {h.tonic} {h.mode}, read as {k.name}")
    return Verdict(right / sum(h.end - h.start for h in meant), tuple(wrong))


def chord_verdict(meant: list[Harmony], reading: Reading) -> Verdict:
    """Share of the time under the chord that was meant."""
    right, wrong = 0.0, []
    for h in meant:
        for c in reading.chords:
            shared = min(h.end, c.end) - max(h.start, c.start)
            if shared <= 0:
                continue
            if (PitchClass.parse(c.root).chroma, family(c), c.inversion) == (h.root, h.family, h.inversion):
                right += shared
            else:
                wrong.append(f"bar {h.bar}: {h.figure} in {h.tonic} {h.mode}, read as {c.symbol} at beat {c.beat:g}")
    return Verdict(right / sum(h.end - h.start for h in meant), tuple(wrong))


def borrowed_verdict(truth: dict[str, Any], reading: Reading) -> Verdict:
    """F measure over (bar, note, kind); a mode that was meant must be among those offered."""
    meant = set()
    for line in truth["borrowed"]:
        bars, note, kind, *mode = line.split()
        meant |= {(bar, note, kind, *mode) for bar in bars.split(",")}
    offered = [(b.bar, Pitch.parse(b.pitch).pitch_class.name, b.kind, b.modes) for b in reading.borrowed]
    met = {m for m in meant if any(o[:3] == m[:3] and (len(m) == 3 or m[3] in o[3]) for o in offered)}
    extra = sorted({o[:3] for o in offered} - {m[:3] for m in meant}, key=lambda o: int(o[0]))
    wrong = [f"bar {m[0]}: {' '.join(m[1:])} not found" for m in sorted(meant - met, key=lambda m: int(m[0]))]
    wrong += [f"bar {o[0]}: {o[1]} {o[2]} not meant" for o in extra]
    return Verdict(2 * len(met) / (len(meant) + len(met) + len(extra)), tuple(wrong))


def form_verdict(truth: dict[str, Any], table: NoteTable, reading: Reading) -> Verdict:
    """Share of sections that stand where they were meant, give or take a bar, under the letter that was meant."""
    starts = {m.number: m.start_quarters for m in table.measures}
    ends = {m.number: m.end_quarters for m in table.measures}
    slack = table.measures[1].bar_quarters
    wrong, met = [], 0
    for line in truth["form"]["sections"]:
        label, first, last = line.split()
        if any(
            s.label == label and abs(s.start - starts[first]) <= slack and abs(s.end - ends[last]) <= slack
            for s in reading.form.sections
        ):
            met += 1
        else:
            wrong.append(f"bar {first}: {label} to bar {last} not found")
    name = truth["form"]["name"] + truth["form"].get("extension", "")
    if name != reading.form.name + reading.form.extension:
        wrong.append(f"bar 1: {name}, read as {reading.form.name + reading.form.extension}")
    return Verdict(met / len(truth["form"]["sections"]), tuple(wrong))


def return_verdict(truth: dict[str, Any], table: NoteTable, reading: Reading) -> Verdict:
    """Share of the returns found, and of their changes found in the bar and of the sort that was meant."""
    starts = {m.number: m.start_quarters for m in table.measures}
    slack = table.measures[1].bar_quarters
    wrong, met, asked = [], 0, 0
    for wanted in truth.get("returns", ()):
        of, again = starts[wanted["of"][0]], starts[wanted["again"][0]]
        near = [r for r in reading.returns if abs(r.of[0] - of) <= slack and abs(r.again[0] - again) <= slack]
        near = [r for r in near if r.transposed == wanted.get("transposed", 0)]
        asked += 1 + len(wanted["changes"])
        if not near:
            wrong.append(f"bar {wanted['again'][0]}: the return of bar {wanted['of'][0]} not found")
            continue
        met += 1
        found = {f"{c.bar} {c.what}" for c in near[0].changes}
        met += sum(c in found for c in wanted["changes"])
        wrong += [f"bar {c.replace(' ', ': ', 1)} not found" for c in wanted["changes"] if c not in found]
    return Verdict(met / asked if asked else 1.0, tuple(wrong))


def rub_verdict(truth: dict[str, Any], reading: Reading) -> Verdict:
    """Share of the rubs and of the hanging phrase ends that were meant and are found."""
    rubs = {f"{r.bar} {r.voice} {r.against} {r.resolves.by}" for r in reading.rubs}
    hanging = {f"{h.bar} {h.pitch}" for h in reading.hanging}
    asked = [(w, w in rubs) for w in truth["rubs"]["found"]] + [(w, w in hanging) for w in truth.get("hanging", ())]
    wrong = tuple(f"bar {w} not found" for w, found in asked if not found)
    return Verdict(sum(found for _, found in asked) / len(asked) if asked else 1.0, wrong)
