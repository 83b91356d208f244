"""Fit and measure the model that tells foreign tones apart, on songs with human analyses.

    LARKSTAIR_DATA=FOLDER python -m tests.bench.borrowed fit      fit on all songs and write borrowed_weights.json
    LARKSTAIR_DATA=FOLDER python -m tests.bench.borrowed folds    cross-validated figures

Both read the songs by cross-validation first (`tests.bench.crossval`), so that the model learns from keys and chords as
wrong as they will be in use: run it again after every fit of the harmony. A folder named by LARKSTAIR_CACHE keeps the
perceptrons of the folds, and with them a run takes about three minutes instead of an hour.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.bench import crossval
from tests.bench.corpus import Piece, chorales, data_folder, songs
from tutor.analysis.borrowed import CLASSES, BorrowedWeights, by_kind, chances, foreign_notes, straightened
from tutor.analysis.borrowedfeatures import COLUMNS, Foreign, log_odds, measure
from tutor.analysis.columns import Floats, Ints
from tutor.analysis.findings import ChordSpan, KeySpan

WEIGHTS = Path(__file__).parents[2] / "tutor" / "analysis" / "borrowed_weights.json"
RIDGE = 60.0
"""Held-back songs were told equally well from 30 to 200; the confidence needed least straightening here."""
LINE_RIDGE = 5.0
_FULL = 40
"""Foreign notes from which a song's further ones count less, for repeats of one passage are no new evidence."""


@dataclass(frozen=True, slots=True)
class Read:
    """A song read by models that had not seen it."""

    piece: Piece
    fold: int
    keys: tuple[KeySpan, ...]
    chords: tuple[ChordSpan, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """The foreign notes of a song, and what the analyst says of each."""

    fold: int
    found: list[Foreign]
    values: Floats
    label: Ints


def sample(read: Read) -> Sample:
    """Measure a song's foreign notes."""
    truth = {(round(n["offset_ql"], 3), n["midi"]): n["label"] for n in read.piece.notes}
    found, _ = foreign_notes(read.piece.table, read.chords)
    label = [CLASSES.index(truth.get((round(f.note.onset_quarters, 3), f.note.midi), "none")) for f in found]
    values = measure(read.piece.table, read.keys, read.chords, found)
    return Sample(read.fold, found, values, np.array(label, dtype=np.int64))


def fit(samples: Sequence[Sample]) -> BorrowedWeights:
    """Weights by maximum likelihood, and the straightening of what they say of folds left out."""
    folds = sorted({s.fold for s in samples})
    said, right, inside, other = [], [], [], []
    for fold in folds:
        columns = _logistic([s for s in samples if s.fold != fold])
        for s in samples:
            if s.fold == fold and s.found:
                said.append(_kinds(s, columns))
                right.append(_right(s))
                other.append(chances(s.found, s.values @ columns)[:, -1])
                inside.append(s.label != len(CLASSES) - 1)
    kinds, hit = np.concatenate(said), np.concatenate(right)
    foreign = np.concatenate(inside)
    given = kinds / np.maximum(1 - np.concatenate(other)[:, None], 1e-6)
    lines = _straight(kinds, hit, np.ones(len(hit), dtype=bool)), _straight(given, hit, foreign)
    return BorrowedWeights(_logistic(samples), *lines)


def _kinds(s: Sample, columns: Floats) -> Floats:
    shares = chances(s.found, s.values @ columns)
    return np.array([by_kind(one, share) for one, share in zip(s.found, shares.tolist(), strict=True)])


def _right(s: Sample) -> Floats:
    """Whether each of the three kinds would be right, shape (n, 3)."""
    sure = np.eye(len(CLASSES))[s.label]
    return np.array([by_kind(one, share) for one, share in zip(s.found, sure.tolist(), strict=True)])


def _logistic(samples: Sequence[Sample]) -> Floats:
    """Ridge regression of the classes on the measurements, each measurement scaled by its spread."""
    from scipy.optimize import minimize  # type: ignore[import-untyped]

    held = [s for s in samples if s.found]
    values = np.concatenate([s.values for s in held])
    label = np.concatenate([s.label for s in held])
    weight = np.concatenate([np.full(len(s.label), min(1.0, (_FULL / len(s.label)) ** 0.5)) for s in held])
    spread = values.std(axis=0)
    spread[spread < 1e-6] = 1.0
    values = values / spread
    wanted = np.eye(len(CLASSES))[label]
    shape = (values.shape[1], len(CLASSES))

    def loss(flat: Floats) -> tuple[float, Floats]:
        w = flat.reshape(shape)
        scores = values @ w
        shares = np.exp(scores - scores.max(axis=1, keepdims=True))
        shares /= shares.sum(axis=1, keepdims=True)
        missed = -float(weight @ np.log(shares[np.arange(len(label)), label] + 1e-12))
        slope = values.T @ (weight[:, None] * (shares - wanted)) + RIDGE * w
        return missed + 0.5 * RIDGE * float((w**2).sum()), slope.ravel()

    result = minimize(loss, np.zeros(shape).ravel(), jac=True, method="L-BFGS-B", options={"maxiter": 300})
    fitted: Floats = np.asarray(result.x).reshape(shape) / spread[:, None]
    return fitted


def _straight(said: Floats, right: Floats, held: NDArray[np.bool_]) -> Floats:
    """For each kind the line through the log odds (Platt's scaling) of the notes told to be of it, shape (3, 2)."""
    from scipy.optimize import minimize

    best = said.argmax(axis=1)
    out = np.zeros((3, 2))
    for kind in range(3):
        pick = (best == kind) & held
        odds = np.array([log_odds(float(p)) for p in said[pick, kind]])
        hit = right[pick, kind]

        def loss(line: Floats, odds: Floats = odds, hit: Floats = hit) -> float:
            z = line[0] * odds + line[1]
            away = (line[0] - 1) ** 2 + line[1] ** 2
            return float((np.logaddexp(0, z) - hit * z).sum() + 0.5 * LINE_RIDGE * away)

        out[kind] = minimize(loss, np.array([1.0, 0.0]), method="BFGS").x
    return out


@dataclass(frozen=True, slots=True)
class Claim:
    """One told note."""

    kind: int
    sure: float
    right: bool
    given: float
    """Its confidence where the key is right."""
    in_key: bool
    """The analyst hears the note as foreign."""


def told(s: Sample, weights: BorrowedWeights) -> list[Claim]:
    """What the model says of the foreign notes of a song."""
    if not s.found:
        return []
    none = len(CLASSES) - 1
    other = chances(s.found, s.values @ weights.columns)[:, none]
    out = []
    for kinds, right, label, rest in zip(_kinds(s, weights.columns), _right(s), s.label.tolist(), other, strict=True):
        kind = int(kinds.argmax())
        given = straightened(weights.given[kind], float(kinds[kind] / max(1 - rest, 1e-6)))
        sure = min(straightened(weights.lines[kind], float(kinds[kind])), given)
        out.append(Claim(kind, sure, bool(right[kind] > 0.5), given, label != none))
    return out


def report(claims: Sequence[Claim]) -> str:
    """Reliability of borrowed tones: altogether, and of their kind where the key is right."""
    out = "  borrowed tones, all:\n" + _reliability([(c.sure, c.right, c.kind) for c in claims])
    inside = [(c.given, c.right, c.kind) for c in claims if c.in_key]
    return out + "  the kind alone, where the analyst hears the note as foreign too:\n" + _reliability(inside)


def _reliability(claims: Sequence[tuple[float, bool, int]]) -> str:
    n = max(len(claims), 1)
    lines, error = ["  | confidence up to | tones | mean confidence | right |", "  |---|---|---|---|"], 0.0
    for b in range(10):
        mine = [c for c in claims if min(int(c[0] * 10), 9) == b]
        if mine:
            mean, right = float(np.mean([c[0] for c in mine])), float(np.mean([c[1] for c in mine]))
            error += len(mine) / n * abs(mean - right)
            lines.append(f"  | {(b + 1) / 10:.1f} | {len(mine)} | {mean:.3f} | {right:.3f} |")
    lines.append(f"  expected calibration error {error:.3f}")
    for least in (0.9, 0.8):
        sure = [c for c in claims if c[0] >= least]
        kinds = Counter(("modal", "applied", "chromatic")[c[2]] for c in sure)
        right = float(np.mean([c[1] for c in sure])) if sure else 0.0
        lines.append(f"  given {least} or more: {len(sure) / n:.1%} of the tones, {right:.3f} right; {dict(kinds)}")
    return "\n".join(lines) + "\n"


def write(weights: BorrowedWeights, samples: Sequence[Sample]) -> None:
    """Keep the fitted numbers in the package."""
    document = {
        "fitted_on": "notes foreign to their key in songs of OpenScore Lieder (CC0), by analyses of the When in Rome "
        "collection (CC BY-SA 4.0), as the cross-validated harmony model reads them",
        "songs": len(samples),
        "notes": sum(len(s.found) for s in samples),
        "made_by": "python -m tests.bench.borrowed fit",
        "ridge": RIDGE,
        "classes": list(CLASSES),
        "lines": np.round(weights.lines, 4).tolist(),
        "given": np.round(weights.given, 4).tolist(),
        "columns": list(COLUMNS),
        "weights": np.round(weights.columns, 4).tolist(),
    }
    text = json.dumps(document, indent=1)
    for row in document["weights"]:
        text = text.replace(json.dumps(row, indent=1).replace("\n", "\n  "), json.dumps(row))
    WEIGHTS.write_text(text + "\n", encoding="utf-8")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["fit", "folds"])
    options = parser.parse_args(arguments)
    folder = data_folder()
    if folder is None:
        sys.stderr.write("Set LARKSTAIR_DATA to the folder with the human analyses\n")
        return 2
    from tests.bench.accuracy import readings, tried

    trials, _ = tried(songs(folder), chorales(folder), by_cycle=True)
    samples = [sample(r) for r in readings(trials)]
    if options.what == "fit":
        write(fit(samples), samples)
        return 0
    claims = []
    for fold in range(crossval.FOLDS):
        weights = fit([s for s in samples if s.fold != fold])
        for s in samples:
            if s.fold == fold and s.found:
                claims += told(s, weights)
    sys.stdout.write(report(claims))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
