"""How a song is laid out: sections with letters and primes, and the name of the whole.

Two fitted models. A semi-Markov model scores every stretch of bars as a possible section, from pauses of the voice,
the place in the hypermetre, where repeated blocks begin and end, sentence ends and lines of the words, printed signs,
and length; it gives the best layout and other likely ones (`layouts`). In each of them every two sung sections get the
log odds of bearing one letter, and the closest are joined (average linkage) for as long as the odds favour it. Of all
these readings the one is told that agrees best with the others, so that boundaries and letters are chosen together.
Weights come from `form_weights.json`, which says what they were fitted on.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from math import exp, log

import numpy as np

from tutor.analysis.columns import SMALL, Below, Floats, Ints, Line
from tutor.analysis.echoes import Echoes, Flags, find_echoes
from tutor.analysis.findings import Form, PhraseSpan, Role, Section
from tutor.analysis.formfeatures import PAIR_COLUMNS, SECTION_COLUMNS, Span, pair_features, section_scores
from tutor.analysis.formnames import name_form
from tutor.analysis.grid import bar_grid
from tutor.analysis.grouping import join_groups
from tutor.analysis.layouts import best_layout, consensus, forward_backward, likely_layouts, same_letters
from tutor.music.table import NoteTable

_LIMIT = 4.0
"""Log odds of a pair are held within this, so that no single pair rules a group."""
_SAME = 0.95
"""Likeness of the sung bars from which two statements share a prime."""
_STRAIN, _OTHER = 0.8, 0.6
"""Mean likeness from which two halves are one strain, and below which they are not (choices of ours)."""
_RESTATED = 0.6
"""Mean likeness from which an interlude or coda of a song with words is its introduction again (a choice of ours)."""
_TAIL = 1.5
"""Most bars by which the last phrase of a section may outlast the bar line at which the next one begins."""
INTRODUCTION, INTERLUDE, CODA = "i", "b", "o"
_UNSUNG = {-1: INTRODUCTION, -2: INTERLUDE, -3: CODA}
_ROLES: dict[str, Role] = {INTRODUCTION: "introduction", INTERLUDE: "interlude", CODA: "coda"}


@dataclass(frozen=True, slots=True, eq=False)
class FormWeights:
    """The fitted numbers."""

    section: Floats
    """One weight for each of `formfeatures.SECTION_COLUMNS`."""
    pair: Floats
    """One weight for each of `formfeatures.PAIR_COLUMNS`."""
    join: float
    """Average log odds above which two groups of sections share a letter."""
    sure: tuple[float, float, float, float] = (1.0, 1.0, 0.0, 0.0)
    """Confidence of a section: weights of the log odds of its boundaries and of its letter, a shift, and a further
    shift in a song with words, for analysts agree less on art songs than on popular ones."""


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
        (raw["sure"][0], raw["sure"][1], raw["sure"][2], raw["sure"][3]),
    )


def find_form(
    table: NoteTable, line: Line, under: Below, phrases: Sequence[PhraseSpan], weights: FormWeights | None = None
) -> Form:
    """Lay out a song. ``phrases`` give the lines of the words and the pick-ups that sections open with."""
    weights = weights or fitted_weights()
    if not table.measures:
        return Form("through-composed", ())
    echoes = find_echoes(table, bar_grid(table, line, under), line, phrases)
    cuts, labels, doubts = lay_out(echoes, weights)
    sure = [sureness(weights.sure, *doubt, texted=echoes.signs.texted) for doubt in doubts]
    return _named(table, line, _sections(table, line, phrases, echoes, cuts, labels, sure))


def lay_out(echoes: Echoes, weights: FormWeights) -> tuple[list[int], Ints, list[tuple[float, float]]]:
    """Choose boundaries and letters.

    Returns:
        First bar of each section; what each bar bears (see `letters_of`); and for each section the probability of its
        boundaries and how far likely layouts give its letter to the same bars.
    """
    score = section_scores(echoes, weights.section)
    score[_across(echoes, score.shape[1])] = -np.inf
    drawn = [tuple(cuts) for cuts in (best_layout(score), *likely_layouts(score))]
    split = {cuts: tuple(split_strains(echoes, cuts)) for cuts in dict.fromkeys(drawn)}
    layouts = [split[cuts] for cuts in drawn]
    different = list(dict.fromkeys(layouts))
    known: dict[tuple[Span, Span], float] = {}
    measure_pairs(echoes, [voiced_of(echoes, cuts) for cuts in different], weights, known)
    labels = {cuts: letters_of(echoes, cuts, weights, known) for cuts in different}
    told = consensus([labels[cuts] for cuts in layouts])
    cuts, mine = list(layouts[told]), labels[layouts[told]]
    sections = list(zip(cuts, [*cuts[1:], len(mine)], strict=True))
    alike = same_letters(mine, np.stack([labels[x] for x in different]), sections)
    letters = np.ascontiguousarray(alike[:, [different.index(x) for x in layouts[1:]]]).mean(axis=1)
    return cuts, mine, list(zip(posterior(score, cuts), letters.tolist(), strict=True))


def _across(echoes: Echoes, longest: int) -> Flags:
    """Stretches that in a song with words hold both introduction and singing, shape (n, longest)."""
    n = len(echoes.sung)
    first, end = np.arange(n)[:, None], np.arange(n)[:, None] + np.arange(1, longest + 1)
    begins = int(echoes.sung.argmax()) if echoes.signs.texted else 0
    out: Flags = (first < begins) & (end > begins)
    return out


def voiced_of(echoes: Echoes, cuts: Sequence[int]) -> list[Span]:
    """The sections of a layout that are sung."""
    bounds, sung = zip(cuts, [*cuts[1:], len(echoes.sung)], strict=True), echoes.sung_before
    return [(a, b) for a, b in bounds if 2 * (sung[b] - sung[a]) >= b - a]


def letters_of(
    echoes: Echoes, cuts: Sequence[int], weights: FormWeights, known: dict[tuple[Span, Span], float]
) -> Ints:
    """What each bar bears in a layout: the number of its letter, or -1, -2, -3 in introduction, interlude and coda.

    Args:
        echoes: The bars compared.
        cuts: First bar of each section.
        weights: The fitted numbers.
        known: Log odds of pairs of sections measured before; new ones are added.
    """
    n = len(echoes.sung)
    bounds = list(zip(cuts, [*cuts[1:], n], strict=True))
    voiced = voiced_of(echoes, cuts)
    sung = [x in voiced for x in bounds]
    odds = pair_odds(echoes, voiced, weights, known)
    group = iter(join_groups(odds, [b - a for a, b in voiced], weights.join))
    out = np.zeros(n, dtype=np.int64)
    opening: Span | None = None
    for (a, b), s in zip(bounds, sung, strict=True):
        if s:
            out[a:b] = next(group)
        elif not voiced or b <= voiced[0][0]:
            out[a:b], opening = -1, (a, b)
        else:
            again = echoes.signs.texted and opening is not None and _overlaid(echoes, opening, (a, b)) > _RESTATED
            out[a:b] = -1 if again else -3 if a >= voiced[-1][1] else -2
    return out


def _overlaid(echoes: Echoes, one: Span, two: Span) -> float:
    """Likeness of two stretches, the shorter laid over the beginning or the end of the longer."""
    bars = min(one[1] - one[0], two[1] - two[0])
    return max(echoes.alike(x, y, bars) for x in {one[0], one[1] - bars} for y in {two[0], two[1] - bars})


def sureness(sure: tuple[float, float, float, float], boundary: float, letter_: float, *, texted: bool) -> float:
    """Confidence of a section: see `FormWeights.sure`."""
    odds = sure[0] * log_odds(boundary) + sure[1] * log_odds(letter_) + sure[2] + sure[3] * texted
    return 1 / (1 + exp(-odds))


def log_odds(share: float) -> float:
    """Log odds of a share, held within plus or minus 4.6."""
    held = min(max(share, 0.01), 0.99)
    return log(held / (1 - held))


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
    return Form(name, placed(sections), extension, round(float(sure), 4))


def placed(sections: Sequence[Section]) -> tuple[Section, ...]:
    """The sections, each without voice with its role: the introduction's music after the last sung one is a coda."""
    sung = [k for k, s in enumerate(sections) if s.label.isupper()]

    def role(k: int, label: str) -> Role:
        if label == INTRODUCTION and sung and k > sung[0]:
            label = CODA if k > sung[-1] else INTERLUDE
        return _ROLES.get(label, "")

    return tuple(replace(s, role=role(k, s.label)) for k, s in enumerate(sections))


def _resized(table: NoteTable, section: Section, start: float, end: float) -> Section:
    return replace(section, start=start, end=end, bars=_bars(table, start, end))


def _bars(table: NoteTable, start: float, end: float) -> tuple[str, str]:
    return table.bar_at(start).number, table.bar_at(end - 0.001).number


def split_strains(echoes: Echoes, cuts: Sequence[int]) -> list[int]:
    """Divide sections that are one strain twice, and those of which one half alone is a strain heard elsewhere.

    A short song laid out as AA BA, or as A AB A, in this way becomes AABA.
    """
    alike, out, bounds = echoes.alike, set(cuts), voiced_of(echoes, cuts)
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


def posterior(score: Floats, cuts: Sequence[int]) -> list[float]:
    """Probability of each section of a layout under the model."""
    before, after = forward_backward(score)
    n = len(score)
    ends = [*cuts[1:], n]
    logs = [before[s] + score[s, e - s - 1] + after[e] - before[n] for s, e in zip(cuts, ends, strict=True)]
    return [float(np.exp(min(v, 0.0))) for v in logs]


def pair_odds(
    echoes: Echoes, bounds: Sequence[Span], weights: FormWeights, known: dict[tuple[Span, Span], float]
) -> list[list[float]]:
    """For each sung section the log odds that it bears one letter with every one before it."""
    measure_pairs(echoes, [bounds], weights, known)
    return [[known[one, two] for one in bounds[:j]] for j, two in enumerate(bounds)]


def measure_pairs(
    echoes: Echoes, layouts: Sequence[Sequence[Span]], weights: FormWeights, known: dict[tuple[Span, Span], float]
) -> None:
    """Add the log odds of all pairs of sung sections of some layouts to those known."""
    pairs = {(one, two): None for sung in layouts for j, two in enumerate(sung) for one in sung[:j]}
    new = [p for p in pairs if p not in known]
    if new:
        odds = np.clip(pair_features(echoes, new) @ weights.pair, -_LIMIT, _LIMIT)
        known.update(zip(new, odds.tolist(), strict=True))


def _sections(
    table: NoteTable,
    line: Line,
    phrases: Sequence[PhraseSpan],
    echoes: Echoes,
    cuts: Sequence[int],
    labels: Ints,
    sure: Sequence[float],
) -> list[Section]:
    bounds = list(zip(cuts, [*cuts[1:], len(labels)], strict=True))
    worded = phrases if any(r.syllable for r in line.rows) else ()
    starts = [_with_pickup(table, phrases, a) if labels[a] >= 0 else _start(table, a) for a, _ in bounds]
    starts = [
        _after_tail(table, line, worded, a, s, sung=bool(labels[a] >= 0))
        for s, (a, _) in zip(starts, bounds, strict=True)
    ]
    starts = [0.0, *starts[1:], table.length_quarters]
    for k, (a, _) in enumerate(bounds[1:], start=1):
        if not starts[k - 1] + SMALL < starts[k] < starts[k + 1] - SMALL:  # never an empty section
            starts[k] = _start(table, a)
    numbers = [_number(line, starts[k], starts[k + 1], int(labels[a])) for k, (a, _) in enumerate(bounds)]
    told = list(dict.fromkeys(n for n in numbers if n >= 0))
    numbers = [told.index(n) if n >= 0 else n for n in numbers]
    primes = _primes(echoes, bounds, {k: n for k, n in enumerate(numbers) if n >= 0})
    out: list[Section] = []
    for k, number in enumerate(numbers):
        start, end = starts[k], starts[k + 1]
        label = letter(number) if number >= 0 else _UNSUNG[number]
        if number < 0 and out and out[-1].label == label:
            joined = _resized(table, out[-1], out[-1].start, end)
            out[-1] = replace(joined, confidence=round(min(joined.confidence, sure[k]), 4))
            continue
        out.append(Section(label, primes.get(k, 0), start, end, _bars(table, start, end), round(sure[k], 4)))
    return out


def _number(line: Line, start: float, end: float, number: int) -> int:
    """What a section bears: an interlude or a coda where a held note alone reaches into it."""
    if number < 0 or len(line.inside(start, end)):
        return number
    return -2 if line.onsets[-1] >= end - SMALL else -3


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


def _after_tail(
    table: NoteTable, line: Line, phrases: Sequence[PhraseSpan], bar: int, start: float, *, sung: bool
) -> float:
    """Where a section starts whose bar line would cut a phrase: after it, if it ends at most `_TAIL` bars later.

    A last note that is merely held does not count. Only where words show where the phrases are: on melodies without,
    people set the bar line (measured on 60 pop melodies).
    """
    far = _TAIL * table.measures[bar].bar_quarters + SMALL
    over = [p for p in phrases if p.start < start - SMALL and p.end > start + SMALL]
    if not over or over[0].end - start > far or not len(line.inside(start, over[0].end)):
        return start
    following = min((p.start for p in phrases if p.start >= over[0].end - SMALL), default=table.length_quarters)
    return following if sung and following - start <= far else over[0].end


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
