"""How right a reading is: shares of analysed time, precision by confidence, borrowed chords and tones.

The measures are those by which analyses are usually compared: duration-weighted agreement of key, root, inversion and
quality, and of all four together. Augmented sixths count as one quality; their root may also be the lowered sixth.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.bench.corpus import LONG, Piece, key_number, kind_of
from tutor.analysis.findings import BorrowedTone, ChordSpan
from tutor.music.pitch import PitchClass
from tutor.music.roman import parse_roman
from tutor.music.scale import Key

ELEMENTS = ("key", "root", "bass", "inversion", "quality", "chord", "full")
"""``chord`` is root, inversion and quality together; ``full`` adds the key."""
COVERAGE = (0.2, 0.4, 0.6, 0.8, 1.0)
_SIXTHS = ("it6", "ger65", "fr43")
_LABELS = {"mixture": "modal", "applied": "applied", "nonchord": "chromatic"}


@dataclass
class Score:
    """Sums over pieces."""

    time: float = 0.0
    right: Counter[str] = field(default_factory=Counter)
    said: list[tuple[float, float, bool]] = field(default_factory=list)
    """Confidence, quarters, and whether root, inversion and quality are right."""
    kinds: dict[str, Counter[str]] = field(default_factory=dict)
    """Hits, false alarms and misses of mixture and applied chords, in quarters."""
    tones: dict[str, Counter[str]] = field(default_factory=dict)
    """The same for borrowed tones, counted."""
    each: list[tuple[float, str]] = field(default_factory=list)
    """Share of time fully right, by piece."""

    def share(self, element: str) -> float:
        """Share of time right."""
        return self.right[element] / self.time if self.time else 0.0

    def precision(self, coverage: float) -> float:
        """Share right among the surest part of the time."""
        if not self.said:
            return 0.0
        sure, quarters, right = np.array(self.said, dtype=np.float64).T
        order = np.argsort(-sure, kind="stable")
        quarters = quarters[order]
        before = np.cumsum(quarters) - quarters
        taken = np.clip(coverage * self.time - before, 0, quarters)
        return float(taken @ right[order]) / (coverage * self.time)

    def reliability(self, bins: int = 10) -> list[tuple[float, float, float, float]]:
        """Rows of upper edge, share of time, mean confidence, share right."""
        said = np.array(self.said, dtype=np.float64).reshape(-1, 3)
        place = np.minimum((said[:, 0] * bins).astype(int), bins - 1)
        rows = []
        for b in range(bins):
            pick = said[place == b]
            mass = pick[:, 1].sum()
            if mass > 0:
                mean = float((pick[:, 0] * pick[:, 1]).sum() / mass)
                rows.append(
                    ((b + 1) / bins, float(mass / self.time), mean, float((pick[:, 1] * pick[:, 2]).sum() / mass))
                )
        return rows

    @property
    def calibration_error(self) -> float:
        """Expected calibration error over ten bins."""
        return sum(share * abs(mean - right) for _, share, mean, right in self.reliability())

    def sure(self, least: float) -> tuple[float, float]:
        """Coverage and precision of what is given at least this confidence."""
        mass = sum(q for c, q, _ in self.said if c >= least)
        hits = sum(q for c, q, ok in self.said if c >= least and ok)
        return (mass / self.time if self.time else 0.0), (hits / mass if mass else 0.0)

    def f(self, table: str, name: str) -> tuple[float, float, float]:
        """Precision, recall and F of a kind ('kinds' or 'tones')."""
        counts = (self.kinds if table == "kinds" else self.tones).get(name, Counter())
        hit, extra, missed = counts["hit"], counts["extra"], counts["missed"]
        precision = hit / (hit + extra) if hit + extra else 0.0
        recall = hit / (hit + missed) if hit + missed else 0.0
        return precision, recall, 2 * precision * recall / (precision + recall) if precision + recall else 0.0


def merged(scores: Sequence[Score]) -> Score:
    """The score of some pieces from those of each."""
    out = Score()
    for one in scores:
        out.time += one.time
        out.right += one.right
        out.said += one.said
        out.each += one.each
        for mine, theirs in ((out.kinds, one.kinds), (out.tones, one.tones)):
            for name, counts in theirs.items():
                mine[name] = mine.get(name, Counter()) + counts
    return out


def spread(scores: Sequence[Score], draws: int = 300) -> dict[str, float]:
    """How far the figures would move with other songs: standard deviation when the pieces are drawn again (bootstrap).

    Args:
        scores: One for each piece.
        draws: How often as many pieces are drawn, with replacement.

    Returns:
        For each of `ELEMENTS`, and for each of `COVERAGE` (by `str`) of the precision there.
    """
    random = np.random.default_rng(0)
    seen: dict[str, list[float]] = {name: [] for name in (*ELEMENTS, *map(str, COVERAGE))}
    for _ in range(draws):
        score = merged([scores[k] for k in random.integers(len(scores), size=len(scores))])
        for name in ELEMENTS:
            seen[name].append(score.share(name))
        for coverage in COVERAGE:
            seen[str(coverage)].append(score.precision(coverage))
    return {name: float(np.std(values)) for name, values in seen.items()}


def chord_fields(chord: ChordSpan) -> dict[str, Any]:
    """A chord of a reading in the terms of the truth."""
    key = Key.parse(chord.key)
    return {
        "start": chord.start, "end": chord.end, "key": 2 * key.tonic.chroma + (key.mode == "minor"),
        "root": PitchClass.parse(chord.root).chroma, "bass": PitchClass.parse(chord.bass).chroma,
        "inversion": chord.inversion, "quality": LONG.get(chord.quality, chord.quality),
        "kind": kind_of(chord.figure, chord.key, parse_roman(chord.figure, key.tonic, key.mode).tones),
        "sure": chord.confidence,
    }  # fmt: skip


def compare(truth: dict[str, Any], read: dict[str, Any]) -> dict[str, bool]:
    """Which elements of a span agree."""
    sixth = truth["quality"] in _SIXTHS
    alternative = truth.get("alt_root_pc")
    root = read["root"] == truth["root_pc"] or (alternative is not None and read["root"] == alternative)
    quality = read["quality"] == truth["quality"] or (sixth and read["quality"] in _SIXTHS)
    quality |= sixth and read["quality"] in ("dom7", "dom7b5", "maj") and read["root"] == alternative
    bass = read["bass"] == truth["bass_pc"]
    inversion = read["inversion"] == truth["inversion"] or (sixth and bass)
    key = read["key"] == key_number(truth["key"])
    chord = root and quality and inversion
    return {
        "key": key, "root": root, "bass": bass, "inversion": inversion, "quality": quality, "chord": chord,
        "full": chord and key,
    }  # fmt: skip


def add(score: Score, piece: Piece, chords: Sequence[ChordSpan], tones: Sequence[BorrowedTone] = ()) -> None:
    """Measure one piece."""
    read = [chord_fields(c) for c in chords]
    spans = sorted(piece.spans, key=lambda s: float(s["offset_ql"]))
    edges = sorted(
        {round(float(s[k]), 5) for s in spans for k in ("offset_ql", "end_ql")}
        | {round(float(r[k]), 5) for r in read for k in ("start", "end")}
    )
    time, full, i, j = 0.0, 0.0, 0, 0
    for a, b in itertools.pairwise(edges):
        middle = (a + b) / 2
        while i < len(spans) and spans[i]["end_ql"] <= middle:
            i += 1
        while j < len(read) and read[j]["end"] <= middle:
            j += 1
        if i >= len(spans):
            break
        if spans[i]["offset_ql"] > middle:
            continue
        time += b - a
        mine = read[j] if j < len(read) and read[j]["start"] <= middle else None
        _kinds(score, spans[i]["class"], mine["kind"] if mine else "", b - a)
        if mine is None:
            continue
        agreed = compare(spans[i], mine)
        for name, ok in agreed.items():
            score.right[name] += (b - a) * ok  # type: ignore[assignment]
        full += (b - a) * agreed["full"]
        score.said.append((mine["sure"], b - a, agreed["chord"]))
    score.time += time
    score.each.append((full / time if time else 0.0, piece.id))
    _tones(score, piece, tones)


def _kinds(score: Score, truth: str, read: str, time: float) -> None:
    for name in ("mixture", "applied"):
        counts = score.kinds.setdefault(name, Counter())
        if truth == name or read == name:
            what = "hit" if truth == read else "missed" if truth == name else "extra"
            counts[what] += time  # type: ignore[assignment]


def _tones(score: Score, piece: Piece, tones: Sequence[BorrowedTone]) -> None:
    if not piece.notes:
        return
    truth = {(round(n["offset_ql"], 3), n["midi"]): _LABELS.get(n["label"], n["label"]) for n in piece.notes}
    read = {(round(t.start, 3), _midi(t.pitch)): t.kind for t in tones}
    for place in truth.keys() | read.keys():
        was, now = truth.get(place), read.get(place)
        if was == now and was is not None:
            score.tones.setdefault(was, Counter())["hit"] += 1
            continue
        if was is not None:
            score.tones.setdefault(was, Counter())["missed"] += 1
        if now is not None:
            score.tones.setdefault(now, Counter())["extra"] += 1


def _midi(name: str) -> int:
    from tutor.music.pitch import Pitch

    return Pitch.parse(name).midi
