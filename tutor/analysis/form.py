"""How a song is laid out: sections with letters and primes, and the name of the whole.

Two fitted steps. A semi-Markov model scores every stretch of bars as a possible section, from pauses of the voice,
the place in the hypermetre, where repeated blocks begin and end, sentence ends and lines of the words, printed signs,
and length; dynamic programming finds the best layout, and forward-backward sums give the posterior of each section.
Then every two sung sections get the log odds of bearing one letter, and the closest are joined (average linkage) for
as long as the odds favour it. Weights come from `form_weights.json`, which says what they were fitted on.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files

import numpy as np

from tutor.analysis.columns import SMALL, Below, Floats, Ints, Line
from tutor.analysis.echoes import Echoes, find_echoes
from tutor.analysis.findings import Form, PhraseSpan, Section
from tutor.analysis.formfeatures import PAIR_COLUMNS, SECTION_COLUMNS, pair_features, section_features
from tutor.analysis.formnames import name_form
from tutor.analysis.grid import bar_grid
from tutor.music.table import NoteTable

_LIMIT = 4.0
"""Log odds of a pair are held within this, so that no single pair rules a group."""
_SAME = 0.95
"""Likeness of the sung bars from which two statements share a prime."""
_STRAIN, _OTHER = 0.8, 0.6
"""Mean likeness from which two halves are one strain, and below which they are not (choices of ours)."""
INTRODUCTION, INTERLUDE, CODA = "i", "b", "o"


@dataclass(frozen=True, slots=True, eq=False)
class FormWeights:
    """The fitted numbers."""

    section: Floats
    """One weight for each of `formfeatures.SECTION_COLUMNS`."""
    pair: Floats
    """One weight for each of `formfeatures.PAIR_COLUMNS`."""
    join: float
    """Average log odds above which two groups of sections share a letter."""


@lru_cache(maxsize=1)
def fitted_weights() -> FormWeights:
    """The weights in the package."""
    raw = json.loads(files("tutor.analysis").joinpath("form_weights.json").read_text(encoding="utf-8"))
    section = dict(zip(raw["section_columns"], raw["section"], strict=True))
    pair = dict(zip(raw["pair_columns"], raw["pair"], strict=True))
    return FormWeights(
        np.array([section.get(name, 0.0) for name in SECTION_COLUMNS]),
        np.array([pair.get(name, 0.0) for name in PAIR_COLUMNS]),
        float(raw["join"]),
    )


def find_form(
    table: NoteTable, line: Line, under: Below, phrases: Sequence[PhraseSpan], weights: FormWeights | None = None
) -> Form:
    """Lay out a song. ``phrases`` give the lines of the words and the pick-ups that sections open with."""
    weights = weights or fitted_weights()
    if not table.measures:
        return Form("through-composed", ())
    echoes = find_echoes(table, bar_grid(table, line, under), line, phrases)
    values, mask = section_features(echoes)
    score = np.where(mask > 0, values @ weights.section, -np.inf)
    cuts = split_strains(echoes, best_layout(score))
    sure = posterior(score, cuts)
    bounds = list(zip(cuts, [*cuts[1:], len(echoes.sung)], strict=True))
    sung = [bool(echoes.sung[a:b].mean() >= 0.5) for a, b in bounds]
    odds = pair_odds(echoes, [x for x, s in zip(bounds, sung, strict=True) if s], weights)
    sections = _sections(table, line, phrases, echoes, bounds, sung, odds, weights.join, sure)
    return _named(table, line, sections)


def correct_form(table: NoteTable, line: Line, form: Form, corrected: Sequence[Section]) -> Form:
    """The form with the user's sections laid over the engine's, and named anew."""
    if not corrected:
        return form
    kept = list(form.sections)
    for mine in corrected:
        parts: list[Section] = []
        for section in kept:
            if section.end <= mine.start + SMALL or section.start >= mine.end - SMALL:
                parts.append(section)
                continue
            if section.start < mine.start - SMALL:
                parts.append(_resized(table, section, section.start, mine.start))
            if section.end > mine.end + SMALL:
                parts.append(_resized(table, section, mine.end, section.end))
        kept = [*parts, replace(mine, corrected=True)]
    return _named(table, line, sorted(kept, key=lambda s: (s.start, s.end)))


def _named(table: NoteTable, line: Line, sections: Sequence[Section]) -> Form:
    name, extension = name_form(table, line, sections)
    length = sum(s.end - s.start for s in sections)
    sure = sum(s.confidence * (s.end - s.start) for s in sections) / length if length > SMALL else 0.0
    return Form(name, tuple(sections), extension, round(float(sure), 4))


def _resized(table: NoteTable, section: Section, start: float, end: float) -> Section:
    return replace(section, start=start, end=end, bars=_bars(table, start, end))


def _bars(table: NoteTable, start: float, end: float) -> tuple[str, str]:
    return table.bar_at(start).number, table.bar_at(end - 0.001).number


def best_layout(score: Floats) -> list[int]:
    """First bar of each section on the best path; ``score`` [s, L - 1] is -inf where a stretch leaves the song."""
    n = len(score)
    best = np.full(n + 1, -np.inf)
    back = np.zeros(n + 1, dtype=np.int64)
    best[0] = 0.0
    for end in range(1, n + 1):
        bars = np.arange(1, min(score.shape[1], end) + 1)
        total = best[end - bars] + score[end - bars, bars - 1]
        k = int(np.argmax(total))
        best[end], back[end] = total[k], end - bars[k]
    cuts = [n]
    while cuts[-1] > 0:
        cuts.append(int(back[cuts[-1]]))
    return cuts[:0:-1]


def split_strains(echoes: Echoes, cuts: Sequence[int]) -> list[int]:
    """Divide sections that are one strain twice, and those of which one half alone is a strain heard elsewhere.

    A short song laid out as AA BA, or as A AB A, in this way becomes AABA.
    """
    whole, n = echoes.whole, len(echoes.sung)

    def alike(a: int, b: int, bars: int) -> float:
        return float(whole[np.arange(a, a + bars), np.arange(b, b + bars)].mean())

    out = set(cuts)
    bounds = [(a, b) for a, b in zip(cuts, [*cuts[1:], n], strict=True) if echoes.sung[a:b].mean() >= 0.5]
    even = [(a, (b - a) // 2) for a, b in bounds if (b - a) % 2 == 0 and b - a >= 8]
    strains = [(a, b - a) for a, b in bounds]
    strains += [(a, half) for a, half in even if alike(a, a + half, half) >= _STRAIN]
    out |= {a + half for a, half in even if (a, half) in strains}
    for a, half in even:
        for strain, bars in strains:
            if bars == half and strain != a:
                one, two = alike(a, strain, half), alike(a + half, strain, half)
                if max(one, two) >= _STRAIN and min(one, two) < _OTHER:
                    out.add(a + half)
    return sorted(out)


def forward_backward(score: Floats) -> tuple[Floats, Floats]:
    """Log sums over all layouts of the bars before each bar line, and after it; each of shape (n + 1,)."""
    n, longest = score.shape
    before, after = np.full(n + 1, -np.inf), np.full(n + 1, -np.inf)
    before[0] = after[n] = 0.0
    for end in range(1, n + 1):
        bars = np.arange(1, min(longest, end) + 1)
        before[end] = np.logaddexp.reduce(before[end - bars] + score[end - bars, bars - 1])
    for start in range(n - 1, -1, -1):
        bars = np.arange(1, min(longest, n - start) + 1)
        after[start] = np.logaddexp.reduce(after[start + bars] + score[start, bars - 1])
    return before, after


def posterior(score: Floats, cuts: Sequence[int]) -> list[float]:
    """Probability of each section of a layout under the model."""
    before, after = forward_backward(score)
    n = len(score)
    ends = [*cuts[1:], n]
    logs = [before[s] + score[s, e - s - 1] + after[e] - before[n] for s, e in zip(cuts, ends, strict=True)]
    return [float(np.exp(min(v, 0.0))) for v in logs]


def pair_odds(echoes: Echoes, bounds: Sequence[tuple[int, int]], weights: FormWeights) -> Floats:
    """Log odds that two sung sections bear one letter, shape (m, m), zero on the diagonal."""
    m = len(bounds)
    odds = np.zeros((m, m))
    for j in range(m):
        for i in range(j):
            value = float(np.clip(pair_features(echoes, bounds[i], bounds[j]) @ weights.pair, -_LIMIT, _LIMIT))
            odds[i, j] = odds[j, i] = value
    return odds


def join_groups(odds: Floats, size: Ints, join: float) -> list[int]:
    """Group numbers by average linkage, in order of first appearance; ``size`` weighs the members."""
    groups = [[k] for k in range(len(odds))]
    weight = np.outer(size, size).astype(np.float64)
    total = odds * weight
    while len(groups) > 1:
        mean = np.round(total / weight, 9)
        mean[np.triu_indices(len(groups))] = -np.inf
        b, a = divmod(int(np.argmax(mean)), len(groups))  # of equals the first, in order of the later group
        if mean[b, a] <= join:
            break
        groups[a] = sorted(groups[a] + groups.pop(b))
        total, weight = _merged(total, a, b), _merged(weight, a, b)
    label = [0] * len(odds)
    for number, group in enumerate(sorted(groups)):
        for k in group:
            label[k] = number
    return label


def _merged(sums: Floats, a: int, b: int) -> Floats:
    """Sums between groups once group ``b`` has joined group ``a``."""
    sums[a] += sums[b]
    sums[:, a] += sums[:, b]
    return np.delete(np.delete(sums, b, 0), b, 1)


def _sections(
    table: NoteTable,
    line: Line,
    phrases: Sequence[PhraseSpan],
    echoes: Echoes,
    bounds: Sequence[tuple[int, int]],
    sung: Sequence[bool],
    odds: Floats,
    join: float,
    sure: Sequence[float],
) -> list[Section]:
    voiced = [k for k, s in enumerate(sung) if s]
    size = np.array([bounds[k][1] - bounds[k][0] for k in voiced], dtype=np.int64)
    group = dict(zip(voiced, join_groups(odds, size, join), strict=True))
    starts = [
        _with_pickup(table, phrases, bounds[k][0]) if sung[k] else _start(table, bounds[k][0])
        for k in range(len(bounds))
    ]
    starts = [0.0, *starts[1:], table.length_quarters] if starts else starts
    primes = _primes(echoes, bounds, group)
    out: list[Section] = []
    for k in range(len(bounds)):
        start, end = starts[k], starts[k + 1]
        if k in group:
            label, variant = letter(group[k]), primes[k]
        else:
            label = INTRODUCTION if not voiced or k < voiced[0] else CODA if k > voiced[-1] else INTERLUDE
            variant = 0
        if label.islower() and out and out[-1].label == label:
            joined = _resized(table, out[-1], out[-1].start, end)
            out[-1] = replace(joined, confidence=round(min(joined.confidence, sure[k]), 4))
            continue
        confidence = round(sure[k] * _clarity(odds, voiced, group, k), 4)
        out.append(Section(label, variant, start, end, _bars(table, start, end), confidence))
    return out


def _clarity(odds: Floats, voiced: Sequence[int], group: dict[int, int], k: int) -> float:
    """Mean probability that the letter's comparisons came out right."""
    if k not in group or len(voiced) < 2:
        return 1.0
    row = odds[voiced.index(k)]
    sign = [1.0 if group[j] == group[k] else -1.0 for j in voiced]
    right = [1.0 / (1.0 + np.exp(-s * o)) for j, s, o in zip(voiced, sign, row, strict=True) if j != k]
    return float(np.mean(right))


def letter(number: int) -> str:
    """'A', 'B' … 'Z', then 'A' again from the start: no song here has more."""
    return chr(ord("A") + number % 26)


def _start(table: NoteTable, bar: int) -> float:
    return table.measures[bar].start_quarters


def _with_pickup(table: NoteTable, phrases: Sequence[PhraseSpan], bar: int) -> float:
    """A sung section starts with the pick-up of its first phrase, if that lies within half a bar of the bar line."""
    start = _start(table, bar)
    half = table.measures[bar].bar_quarters / 2
    early = [p.start for p in phrases if start - half - SMALL <= p.start < start - SMALL]
    return early[-1] if early else start


def _primes(echoes: Echoes, bounds: Sequence[tuple[int, int]], group: dict[int, int]) -> dict[int, int]:
    """0 for the first statement of a letter and those like it, then 1, 2 … for each new variant."""
    models: dict[int, list[tuple[int, int]]] = {}
    found: dict[int, int] = {}
    for k, number in group.items():
        known = models.setdefault(number, [])
        for variant, other in enumerate(known):
            if _alike(echoes, other, bounds[k]):
                found[k] = variant
                break
        else:
            found[k] = len(known)
            known.append(bounds[k])
    return found


def _alike(echoes: Echoes, first: tuple[int, int], second: tuple[int, int]) -> bool:
    bars = first[1] - first[0]
    if bars != second[1] - second[0]:
        return False
    i, j = np.arange(*first), np.arange(*second)
    return bool(echoes.melody[i, j].mean() >= _SAME and not echoes.transposed[i, j].any())
