"""Cross-validation of the harmony model: every piece is read by models that never saw it, nor any of its cycle.

The models of keys, of changes and of being right learn from what the chord models of the other folds hear, as they
will meet it in use; each is then tried on the fold left out. Two things are not refitted for each fold: the chord
models whose hearing of the training songs feeds the later models have seen the fold that is tried (labels reach it only
by that long way round), and the thirteen weights of `decode.DEFAULTS` were set once over all songs.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path as File

import numpy as np

from tests.bench import stages
from tests.bench.corpus import Piece
from tests.bench.stages import Seen
from tutor.analysis.confidence import confidence, runs
from tutor.analysis.decode import Doubles, Path, decode
from tutor.analysis.model import Model, Perceptron
from tutor.analysis.slices import Floats

FOLDS = 5
SEEDS: tuple[int, ...] = (0, 1, 2)
"""One chord perceptron for each; they vote."""


@dataclass
class Trial:
    """A piece read by models that had not seen it."""

    seen: Seen
    fold: int
    path: Path
    spans: list[tuple[int, int]]
    evidence: Floats
    right: Floats
    """Quarters for which root, quality and inversion of each span are right."""
    wrong: Floats
    said: Doubles
    """Confidence of each span before straightening."""
    sure: Doubles
    """Confidence of each span."""


def folds_of(pieces: Sequence[Piece], *, by_cycle: bool = True) -> list[int]:
    """Fold of each piece: whole cycles (or single pieces) dealt so that the folds weigh alike."""
    names = [p.group if by_cycle else p.id for p in pieces]
    size: dict[str, int] = {}
    for name, piece in zip(names, pieces, strict=True):
        size[name] = size.get(name, 0) + piece.frames.count
    load = np.zeros(FOLDS)
    fold: dict[str, int] = {}
    for name in sorted(size, key=lambda x: (-size[x], x)):
        fold[name] = int(load.argmin())
        load[fold[name]] += size[name]
    return [fold[name] for name in names]


def kept(name: str, make: Callable[[], Perceptron]) -> Perceptron:
    """A perceptron from the folder LARKSTAIR_CACHE, or a new one that is put there."""
    folder = os.environ.get("LARKSTAIR_CACHE", "")
    file = File(folder) / f"{name}.npz" if folder else None
    if file is not None and file.exists():
        return Model.loads(file.read_bytes()).nets["it"][0]
    net = make()
    if file is not None:
        file.write_bytes(Model({"it": (net,)}, {}, {}, {}).dumps())
    return net


def hear(
    songs: Sequence[Seen], chorales: Sequence[Seen], folds: Sequence[int], weights: dict[str, float], *, tag: str
) -> list[dict[str, Doubles]]:
    """Fill in what each song's models hear that had not seen it.

    Returns:
        Tables of each fold.
    """
    for f in range(FOLDS):
        others = [s for s, k in zip(songs, folds, strict=True) if k != f]
        nets = tuple(
            kept(f"chord-{tag}-{f}-{seed}", lambda o=others, s=seed: stages.chord_net(o, chorales, s))  # type: ignore[misc]
            for seed in SEEDS
        )
        for s, k in zip(songs, folds, strict=True):
            if k == f:
                s.heads = stages.hear_chords(nets, s)
    keys = [stages.key_values(s, weights) for s in songs]
    turns = [stages.turn_values(s, weights) for s in songs]
    tables = []
    for f in range(FOLDS):
        train = [i for i, k in enumerate(folds) if k != f]
        part = [songs[i] for i in train]
        key = kept(f"key-{tag}-{f}", lambda t=train, p=part: stages.key_net([keys[i] for i in t], p, 0))  # type: ignore[misc]
        change = kept(f"turn-{tag}-{f}", lambda t=train, p=part: stages.turn_net([turns[i] for i in t], p, 0))  # type: ignore[misc]
        for i, k in enumerate(folds):
            if k == f:
                songs[i].key = stages.hear_keys(key, keys[i])
                songs[i].turn = stages.hear_turns(change, turns[i])
        tables.append(stages.tables(part))
    return tables


def read_all(
    songs: Sequence[Seen], folds: Sequence[int], tables: Sequence[dict[str, Doubles]], weights: dict[str, float]
) -> list[Trial]:
    """Decode every song with its fold's tables and judge how sure each span is, again by fold."""
    trials = []
    for s, f in zip(songs, folds, strict=True):
        path = decode(s.piece.frames, s.heard(weights), tables[f], weights)
        values, right, wrong = stages.judged(s, weights, path)
        spans = runs(path.chord, path.key)
        blank = np.zeros(len(spans))
        trials.append(Trial(s, f, path, spans, values, right, wrong, blank, blank))
    for f in range(FOLDS):
        net = sure_of([t for t in trials if t.fold != f])
        for t in trials:
            if t.fold == f:
                t.said = confidence((net,), t.evidence, np.array([[0.0, 1.0], [0.0, 1.0]]))
    for f in range(FOLDS):
        knots = straight([t for t in trials if t.fold != f])
        for t in trials:
            if t.fold == f:
                t.sure = np.clip(np.interp(t.said, knots[0], knots[1]), 0, 0.995)
    return trials


def sure_of(trials: Sequence[Trial]) -> Perceptron:
    """The model of being right, fitted on trials."""
    return stages.sure_net([t.evidence for t in trials], [t.right for t in trials], [t.wrong for t in trials], 0)


def straight(trials: Sequence[Trial]) -> Doubles:
    """Straightening of what the model of being right says, shape (2, k)."""
    said = np.concatenate([t.said for t in trials])
    right = np.concatenate([t.right for t in trials]).astype(np.float64)
    wrong = np.concatenate([t.wrong for t in trials]).astype(np.float64)
    return sigmoid(said, right, right + wrong)


def straight_keys(trials: Sequence[Trial]) -> Doubles:
    """Straightening of the posterior of the keys, shape (2, k)."""
    said, right, total = [], [], []
    for t in trials:
        label, weight = t.seen.piece.labels[1], t.seen.piece.weight
        for a, b in runs(t.path.key):
            time = t.seen.windows.length[a:b]
            said.append(float(np.average(t.path.key_share[a:b], weights=time)))
            right.append(float(weight[a:b][label[a:b] == t.path.key[a:b]].sum()))
            total.append(float(weight[a:b].sum()))
    return sigmoid(np.array(said), np.array(right), np.array(total))


def sigmoid(said: Doubles, right: Doubles, total: Doubles) -> Doubles:
    """Straighten what was said by a line through its log-odds, fitted by maximum likelihood (Platt scaling).

    Unlike a step curve it keeps the order, so that the surest stay surest.

    Returns:
        Shape (2, 65): the line at points spread evenly over the log-odds.
    """
    odds = _log_odds(said)
    line = np.array([1.0, 0.0])
    for _ in range(50):
        share = 1 / (1 + np.exp(-np.clip(line[0] * odds + line[1], -30, 30)))
        slope = np.array([((right - total * share) * odds).sum(), (right - total * share).sum()])
        bend = total * share * (1 - share)
        curve = np.array([[(bend * odds * odds).sum(), (bend * odds).sum()], [(bend * odds).sum(), bend.sum()]])
        move = np.linalg.solve(curve + 1e-3 * np.eye(2), slope)
        line = line + move * min(1.0, 0.5 / max(float(np.abs(move).max()), 1e-9))
    points = np.linspace(-8, 8, 65)
    return np.array([1 / (1 + np.exp(-points)), 1 / (1 + np.exp(-(line[0] * points + line[1])))])


def _log_odds(share: Doubles) -> Doubles:
    held = np.clip(share, 1e-4, 1 - 1e-4)
    odds: Doubles = np.log(held / (1 - held))
    return odds
