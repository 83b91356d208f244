"""Fit and measure the form and phrase finders on human analyses.

    LARKSTAIR_DATA=FOLDER python -m tests.bench.form score     with the weights in the package
    LARKSTAIR_DATA=FOLDER python -m tests.bench.form folds     cross-validated: each song read with weights fitted
                                                               on the other folds
    LARKSTAIR_DATA=FOLDER python -m tests.bench.form fit       the same, then fit on everything and write
                                                               form_weights.json

FOLDER holds form/pop909 and form/swd, each song with a score and a truth.json. With --tables DIR the note tables are
kept there as JSON, so that a second run reads no scores. Needs scipy (it comes with mir_eval).
"""

from __future__ import annotations

import argparse
import json
import os
import re
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.columns import Floats, below, sung_line
from tutor.analysis.echoes import LONGEST, Echoes, find_echoes
from tutor.analysis.form import FormWeights, find_form, fitted_weights, lay_out, log_odds, sureness
from tutor.analysis.formfeatures import PAIR_COLUMNS, SECTION_COLUMNS, pair_features, section_features
from tutor.analysis.grid import bar_grid
from tutor.analysis.layouts import forward_backward, same_letter
from tutor.analysis.phrases import find_phrases
from tutor.music.table import NoteTable

SETS = {"pop909": 1.0, "swd": 4.0}
"""Corpora and the weight of one song in the fit: few art songs stand against many popular ones."""
WEIGHTS = Path(__file__).parents[2] / "tutor" / "analysis" / "form_weights.json"
WORDED = {
    "sentence_ends",
    "sentence_runs_on",
    "sentence_ends_at_rest",
    "printed_mark",
    "key_or_metre_changes",
    "tempo_changes",
    "texted",
    "texted_bars",
    *(c for c in SECTION_COLUMNS if c.startswith("lines_")),
}
"""Columns that only notated songs with words can show."""
JOIN = -1.25
JOINS = (-1.0, JOIN, -1.5)
ALIKE = 0.75
"""Share of bars in common (of all bars of both) from which a section's letter counts as the human's."""
SOFT, STIFF = 1.0, 40.0
Labels = NDArray[np.int64]


@dataclass
class Case:
    """One song with its human layouts."""

    corpus: str
    id: str
    table: NoteTable
    layouts: list[list[dict[str, Any]]]
    echoes: Echoes
    start: Floats
    values: NDArray[np.float32]
    mask: Floats


def base_label(label: str) -> str:
    """The letter of a label: A2 and A-prime are A, I1 is I."""
    match = re.match(r"[A-Za-z]", label)
    return match[0] if match else label


def load_case(tables: Path | None, folder: Path) -> Case:
    """Read one song of the data."""
    from tutor.score.read import read_file

    kept = tables / f"{folder.name}.json" if tables else None
    if kept and kept.exists():
        table = NoteTable.loads(kept.read_text(encoding="utf-8"))
    else:
        table = read_file(next(folder.glob("score.*")))
        if kept:
            kept.write_text(table.dumps(), encoding="utf-8")
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    layouts = [truth["sections"], *(a["sections"] for a in truth.get("alternatives", []))]
    line = sung_line(table)
    grid = bar_grid(table, line, below(table))
    echoes = find_echoes(table, grid, line, find_phrases(table, line))
    values, mask = section_features(echoes)
    return Case(folder.parent.name, folder.name, table, layouts, echoes, grid.start, values.astype(np.float32), mask)


def cuts_of(case: Case, layout: Sequence[dict[str, Any]]) -> list[int]:
    """First bar of each section; a section that starts with a pick-up is counted from the next bar line."""
    middle = (case.start[:-1] + case.start[1:]) / 2
    bars = {int(np.searchsorted(middle, s["offset_ql"] - 1e-6)) for s in layout} | {0}
    return sorted(b for b in bars if b < len(middle))


def bar_labels(case: Case, layout: Sequence[dict[str, Any]]) -> Labels:
    """The letter of each bar as a number."""
    middle = (case.start[:-1] + case.start[1:]) / 2
    starts = np.array([s["offset_ql"] for s in layout])
    labels = np.array([ord(base_label(s["label"])) for s in layout], dtype=np.int64)
    found: Labels = labels[np.maximum(np.searchsorted(starts, middle, side="right") - 1, 0)]
    return found


def pairwise_f(truth: Labels, found: Labels) -> float:
    """Agreement on which bars bear one letter (pairwise F of M. Levy and M. Sandler, 2008; recalled)."""
    upper = np.triu_indices(len(truth), 1)
    a, b = (truth[:, None] == truth)[upper], (found[:, None] == found)[upper]
    both = int((a & b).sum())
    precision, recall = both / max(1, int(b.sum())), both / max(1, int(a.sum()))
    return 2 * precision * recall / (precision + recall) if both else 0.0


def fit_sections(cases: Sequence[Case], ridge: float = 2.0, rounds: int = 80) -> Floats:
    """Maximum likelihood of the human layouts under the semi-Markov model, in two steps.

    First on the many songs without words; then the few songs with words move the weights, with a stiff ridge towards
    the first fit on all columns but those that only such songs can show.
    """
    columns = len(SECTION_COLUMNS)
    base = _fit_layouts(
        [c for c in cases if not c.echoes.signs.texted], np.zeros(columns), np.full(columns, ridge), rounds
    )
    own = np.array([name in WORDED for name in SECTION_COLUMNS])
    return _fit_layouts([c for c in cases if c.echoes.signs.texted], base, np.where(own, SOFT, STIFF), rounds)


def _fit_layouts(cases: Sequence[Case], origin: Floats, ridge: Floats, rounds: int) -> Floats:
    from scipy.optimize import minimize  # type: ignore[import-untyped]

    columns = len(SECTION_COLUMNS)
    work = []
    for case in cases:
        wanted = []
        for layout in case.layouts:
            cuts = cuts_of(case, layout)
            ends = [*cuts[1:], len(case.values)]
            if all(e - s <= LONGEST for s, e in zip(cuts, ends, strict=True)):
                wanted.append(sum(case.values[s, e - s - 1].astype(float) for s, e in zip(cuts, ends, strict=True)))
        if wanted:
            work.append((case, np.mean(wanted, axis=0)))

    def loss(w: Floats) -> tuple[float, Floats]:
        away = w - origin
        total, slope = 0.5 * float(ridge @ away**2), ridge * away
        for case, wanted in work:
            score = np.where(case.mask > 0, (case.values @ w.astype(np.float32)).astype(float), -1e9)
            before, after = forward_backward(score)
            ends = np.minimum(np.arange(len(score))[:, None] + 1 + np.arange(LONGEST), len(score))
            chance = np.exp(np.minimum(before[:-1, None] + score + after[ends] - before[-1], 0.0)) * case.mask
            expected = chance.ravel().astype(np.float32) @ case.values.reshape(-1, columns)
            total += before[-1] - wanted @ w
            slope = slope + expected - wanted
        return total, slope

    result = minimize(loss, origin, jac=True, method="L-BFGS-B", options={"maxiter": rounds})
    return np.asarray(result.x)


def fit_pairs(cases: Sequence[Case], ridge: float = 1e-4) -> Floats:
    """Logistic fit of 'one letter or not' on pairs of the human sections, weighted by their bars."""
    from scipy.optimize import minimize

    rows, same, weight = [], [], []
    for case in cases:
        for layout in case.layouts:
            cuts = cuts_of(case, layout)
            bounds = list(zip(cuts, [*cuts[1:], len(case.values)], strict=True))
            labels = bar_labels(case, layout)
            sung = [b for b in bounds if case.echoes.sung[b[0] : b[1]].mean() >= 0.5]
            for j, two in enumerate(sung):
                for one in sung[:j]:
                    rows.append(pair_features(case.echoes, one, two))
                    middle = [(x[0] + x[1]) // 2 for x in (one, two)]
                    same.append(float(labels[middle[0]] == labels[middle[1]]))
                    share = (one[1] - one[0]) * (two[1] - two[0]) / len(labels) ** 2
                    weight.append(share * SETS[case.corpus])
    x, y = np.array(rows), np.array(same)
    v = np.array(weight) / sum(weight)

    def loss(w: Floats) -> tuple[float, Floats]:
        z = x @ w
        chance = 1 / (1 + np.exp(-z))
        return float(v @ (np.logaddexp(0, z) - y * z) + 0.5 * ridge * w @ w), x.T @ (v * (chance - y)) + ridge * w

    result = minimize(loss, np.zeros(len(PAIR_COLUMNS)), jac=True, method="L-BFGS-B", options={"maxiter": 500})
    return np.asarray(result.x)


def measure(case: Case, weights: FormWeights) -> dict[str, float]:
    """Scores of one song, against the layout it agrees with best."""
    line = sung_line(case.table)
    phrases = find_phrases(case.table, line)
    form = find_form(case.table, line, below(case.table), phrases, weights)
    found = [{"offset_ql": s.start, "label": s.label} for s in form.sections]
    labels = bar_labels(case, found)
    mine = set(cuts_of(case, found)) - {0}
    best = max(case.layouts, key=lambda x: pairwise_f(bar_labels(case, x), labels))
    theirs = set(cuts_of(case, best)) - {0}
    hit = len(mine & theirs)
    bounds = 2 * hit / (len(mine) + len(theirs)) if mine or theirs else 1.0
    return {
        "letters F": pairwise_f(bar_labels(case, best), labels),
        "one letter F": max(pairwise_f(bar_labels(case, x), np.zeros_like(labels)) for x in case.layouts),
        "boundary F (bar)": bounds,
    }


@dataclass(frozen=True, slots=True)
class Claim:
    """A section as it was read."""

    corpus: str
    doubt: tuple[float, float]
    texted: bool
    right: bool
    """Its boundaries are a human section's, to the bar, and its letter stands on nearly the same bars."""


def claims(case: Case, weights: FormWeights) -> list[Claim]:
    """Sections of one song against the layout they agree with best."""
    cuts, labels, doubts = lay_out(case.echoes, weights)
    ends = [*cuts[1:], len(labels)]
    best = max(case.layouts, key=lambda x: pairwise_f(bar_labels(case, x), labels))
    theirs = cuts_of(case, best)
    spans = set(zip(theirs, [*theirs[1:], len(labels)], strict=True))
    wanted = bar_labels(case, best)
    texted = case.echoes.signs.texted
    return [
        Claim(case.corpus, doubt, texted, (a, b) in spans and same_letter(labels, wanted, a, b) >= ALIKE)
        for a, b, doubt in zip(cuts, ends, doubts, strict=True)
    ]


def fit_sure(said: Sequence[Claim]) -> tuple[float, float, float, float]:
    """Logistic fit of 'the section is right'."""
    from scipy.optimize import minimize

    x = np.array([[log_odds(c.doubt[0]), log_odds(c.doubt[1]), 1.0, float(c.texted)] for c in said])
    y = np.array([float(c.right) for c in said])

    def loss(w: Floats) -> float:
        z = x @ w
        return float((np.logaddexp(0, z) - y * z).sum() + 0.5 * (w[:2] @ w[:2]))

    found = minimize(loss, np.array([0.5, 0.5, 0.0, 0.0]), method="BFGS").x
    a, b, c, d = (round(float(v), 4) for v in found)
    return a, b, c, d


def reliability(rows: Sequence[tuple[float, bool]]) -> str:
    """How often sections of a confidence are right."""
    lines = ["| confidence up to | sections | mean confidence | right |", "|---|---|---|---|"]
    error = 0.0
    for b in range(10):
        mine = [r for r in rows if min(int(r[0] * 10), 9) == b]
        if mine:
            mean, right = float(np.mean([r[0] for r in mine])), float(np.mean([r[1] for r in mine]))
            error += abs(mean - right) * len(mine) / len(rows)
            lines.append(f"| {(b + 1) / 10:.1f} | {len(mine)} | {mean:.3f} | {right:.3f} |")
    sure = [r[1] for r in rows if r[0] >= 0.9]
    lines.append(f"expected calibration error of sections {error:.3f}")
    if sure:
        lines.append(f"given 0.9 or more: {len(sure) / len(rows):.1%} of the sections, {np.mean(sure):.3f} right")
    return "\n".join(lines)


def report(cases: Sequence[Case], rows: Sequence[dict[str, float]]) -> None:
    """Print the means of each corpus."""
    for corpus in SETS:
        mine = [r for c, r in zip(cases, rows, strict=True) if c.corpus == corpus]
        if mine:
            means = "  ".join(f"{k} {np.mean([r[k] for r in mine]):.3f}" for k in mine[0])
            print(f"{corpus:8} {len(mine):4} songs  {means}")


def fit(cases: Sequence[Case], join: float = JOIN) -> FormWeights:
    """Fit everything on some songs."""
    return FormWeights(fit_sections(cases), fit_pairs(cases), join)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["score", "folds", "fit"])
    parser.add_argument("--tables", type=Path)
    parser.add_argument("--folds", type=int, default=4)
    parser.add_argument("--limit", type=int, default=100000)
    options = parser.parse_args(arguments)
    data = os.environ.get("LARKSTAIR_DATA")
    if not data:
        print("Set LARKSTAIR_DATA to the folder with the human analyses", file=sys.stderr)
        return 2
    folders = [f for s in SETS for f in sorted((Path(data) / "form" / s).glob("*"))[: options.limit]]
    began = time.perf_counter()
    with Pool() as pool:
        cases = pool.map(partial(load_case, options.tables), folders, chunksize=4)
    print(f"{len(cases)} songs read and measured in {time.perf_counter() - began:.1f} s")
    if options.what == "score":
        report(cases, [measure(c, fitted_weights()) for c in cases])
    elif options.what == "folds":
        crossvalidate(cases, options.folds)
    else:
        said = crossvalidate(cases, options.folds)
        write(replace(fit(cases), sure=fit_sure([c for part in said for c in part])), cases)
    return 0


def crossvalidate(cases: Sequence[Case], folds: int) -> list[list[Claim]]:
    """Print how songs are read by weights fitted on the other folds; return their sections, by fold."""
    rows: dict[float, list[dict[str, float]]] = {j: [{}] * len(cases) for j in JOINS}
    said: list[list[Claim]] = []
    for fold in range(folds):
        weights = fit([c for k, c in enumerate(cases) if k % folds != fold])
        mine = range(fold, len(cases), folds)
        said.append([c for k in mine for c in claims(cases[k], weights)])
        for k in mine:
            for join in JOINS:
                rows[join][k] = measure(cases[k], replace(weights, join=join))
    for join in JOINS:
        print(f"letters joined above {join:g}")
        report(cases, rows[join])
    for corpus in SETS:
        judged = []
        for fold, part in enumerate(said):
            sure = fit_sure([c for k, other in enumerate(said) if k != fold for c in other])
            judged += [(sureness(sure, *c.doubt, texted=c.texted), c.right) for c in part if c.corpus == corpus]
        if judged:
            print(f"{corpus}\n{reliability(judged)}")
    return said


def write(weights: FormWeights, cases: Sequence[Case]) -> None:
    """Keep the fitted numbers in the package."""
    counts = {s: sum(c.corpus == s for c in cases) for s in SETS}
    document = {
        "fitted_on": "section labels of POP909 melodies (MIT) and of the Schubert Winterreise Dataset (CC BY 3.0)",
        "songs": counts,
        "made_by": "python -m tests.bench.form fit",
        "join": weights.join,
        "sure": list(weights.sure),
        "section_columns": list(SECTION_COLUMNS),
        "section": [round(float(w), 5) for w in weights.section],
        "pair_columns": list(PAIR_COLUMNS),
        "pair": [round(float(w), 5) for w in weights.pair],
    }
    WEIGHTS.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    raise SystemExit(main())
