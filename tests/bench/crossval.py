"""Cross-validation of the harmony model: every piece is read by models that never saw it, nor any of its cycle.

The models of keys, of changes and of being right learn from what the chord models of the other folds hear, as they
will meet it in use; each is then tried on the fold left out. Those chord models have seen the fold that is tried, so
that its labels reach the later models by a long way round; ``nested`` shuts that way too. The weights of
`decode.DEFAULTS` were set once over all songs.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path as File

import numpy as np
from numpy.typing import NDArray

from tests.bench import stages
from tests.bench.corpus import Piece
from tests.bench.stages import Outcome, Seen, Teachers
from tutor.analysis.confidence import MOST, confidence, runs
from tutor.analysis.decode import Doubles, Path, decode
from tutor.analysis.model import Model, Perceptron
from tutor.analysis.slices import Floats
from tutor.analysis.strands import Strands
from tutor.analysis.trees import Trees

FOLDS = 5
SEEDS: tuple[int, ...] = (0,)
"""One network of strands for each."""
KEY_SEEDS: tuple[int, ...] = (0,)
"""The same for the models of keys; a second one was no gain."""
_ChordModels = tuple[Strands, ...]
SURE_SEEDS: tuple[int, ...] = tuple(range(8))
"""The same for the models of being right."""


@dataclass
class Trial:
    """A piece read by models that had not seen it."""

    seen: Seen
    fold: int
    path: Path
    spans: list[tuple[int, int]]
    outcome: Outcome
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
    return _kept(name, lambda: Model({"it": (make(),)}, {}, {}, {})).nets["it"][0]


def kept_strands(name: str, make: Callable[[], Strands]) -> Strands:
    """The same for a network of strands."""
    return _kept(name, lambda: Model({}, {}, {}, {}, (make(),))).strands[0]


def _kept(name: str, make: Callable[[], Model]) -> Model:
    folder = os.environ.get("LARKSTAIR_CACHE", "")
    file = File(folder) / f"{name}.npz" if folder else None
    if file is not None and file.exists():
        return Model.loads(file.read_bytes())
    made = make()
    if file is not None:
        file.write_bytes(made.dumps())
    return made


def chord_models(name: str, songs: Sequence[Seen], chorales: Sequence[Seen]) -> _ChordModels:
    """Networks of strands, kept under a name, with two teachers that learned from the same pieces."""

    def one(seed: int) -> Strands:
        teachers = Teachers(
            kept(f"chord-{name}-0", lambda: stages.chord_net(songs, chorales, 0)),
            kept_strands(f"strands-{name}-0", lambda: stages.strand_net(songs, chorales, 0)),
        )
        return stages.strand_net(songs, chorales, seed, teachers)

    return tuple(kept_strands(f"taught-{name}-{i}", lambda i=i: one(i)) for i in SEEDS)  # type: ignore[misc]


def hear(
    songs: Sequence[Seen],
    modal: Sequence[Seen],
    chorales: Sequence[Seen],
    folds: Sequence[int],
    weights: dict[str, float],
    *,
    tag: str,
    nested: bool = False,
) -> list[dict[str, Doubles]]:
    """Fill in what each song's models hear that had not seen it.

    Args:
        songs: The songs.
        modal: The same songs told in a mode, in the same order.
        chorales: Further pieces for the chord models.
        folds: Fold of each song.
        weights: As in `decode.DEFAULTS`.
        tag: Part of the names under which perceptrons are kept.
        nested: Fit the later models of a fold on what chord models hear that have not seen that fold either.

    Returns:
        Tables of each fold.
    """

    def chords(*left_out: int) -> _ChordModels:
        train = [s for s, k in zip(songs, folds, strict=True) if k not in left_out]
        return chord_models(f"{tag}-{'-'.join(str(f) for f in sorted(left_out))}", train, chorales)

    def listen(group: int, models: _ChordModels) -> None:
        for seen, k in zip((*songs, *modal), (*folds, *folds), strict=True):
            if k == group:
                stages.hear_chords(models, seen)

    own = [chords(f) for f in range(FOLDS)]
    for f in range(FOLDS):
        listen(f, own[f])
    tables: list[dict[str, Doubles]] = []
    values = None
    for f in range(FOLDS):
        for g in range(FOLDS) if nested else ():
            listen(g, own[f] if g == f else chords(f, g))
        values = _values(songs, modal, weights) if nested or values is None else values
        name = f"{tag}-nested-{f}" if nested else f"{tag}-{f}"
        tables.append(_later(songs, modal, folds, f, values, weights["strands_key"], name))
    for f in range(FOLDS) if nested else ():
        listen(f, own[f])
    return tables


_Values = tuple[list[list[NDArray[np.float16]]], list[list[Floats]]]


def _values(songs: Sequence[Seen], modal: Sequence[Seen], weights: dict[str, float]) -> _Values:
    """Features of the models of keys and of changes, for the songs and for those told in a mode."""
    return (
        [[stages.key_values(s, weights) for s in group] for group in (songs, modal)],
        [[stages.turn_values(s, weights) for s in group] for group in (songs, modal)],
    )


def _later(
    songs: Sequence[Seen],
    modal: Sequence[Seen],
    folds: Sequence[int],
    f: int,
    values: _Values,
    share: float,
    name: str,
) -> dict[str, Doubles]:
    """Fit the models of keys and of changes without a fold and let them hear it; the tables come back."""
    train = [i for i, k in enumerate(folds) if k != f]
    part, told = [songs[i] for i in train], [modal[i] for i in train]
    rows, other = ([group[i] for i in train] for group in values[0])
    key, modes = key_nets(rows, part, other, told, name)
    telling = stages.gate(part, told)
    change = kept(f"turn-{name}", lambda: stages.turn_net([values[1][0][i] for i in train], part, 0))
    for group, keys, turns in zip((songs, modal), *values, strict=True):
        for seen, row, mark, k in zip(group, keys, turns, folds, strict=True):
            if k == f:
                stages.hear_keys(key, modes, telling, seen, row, share)
                seen.turn = stages.hear_turns(change, mark)
    return stages.tables(part, told)


def key_nets(
    values: Sequence[NDArray[np.float16]],
    songs: Sequence[Seen],
    modal_values: Sequence[NDArray[np.float16]],
    modal: Sequence[Seen],
    name: str,
) -> tuple[tuple[Perceptron, ...], tuple[Perceptron, ...]]:
    """The models of keys and those for songs in a mode."""
    plain = tuple(
        kept(f"key-{name}-{seed}", lambda s=seed: stages.key_net(values, songs, s))  # type: ignore[misc]
        for seed in KEY_SEEDS
    )
    return plain, (kept(f"modal-{name}", lambda: stages.modal_net(values, songs, modal_values, modal, 0)),)


def modal_keys(
    modal: Sequence[Seen], folds: Sequence[int], tables: Sequence[dict[str, Doubles]], weights: dict[str, float]
) -> float:
    """Share of the time in the right key on songs told in a mode, each read by models that had not seen it."""
    right = total = 0.0
    for seen, f in zip(modal, folds, strict=True):
        path = decode(seen.piece.frames, seen.heard(weights), tables[f], weights)
        right += float(seen.piece.weight[path.key == seen.piece.labels[1]].sum())
        total += float(seen.piece.weight.sum())
    return right / total


def read_all(
    songs: Sequence[Seen], folds: Sequence[int], tables: Sequence[dict[str, Doubles]], weights: dict[str, float]
) -> list[Trial]:
    """Decode every song with its fold's tables and judge how sure each span is, again by fold."""
    trials = []
    for s, f in zip(songs, folds, strict=True):
        path = decode(s.piece.frames, s.heard(weights), tables[f], weights)
        spans = runs(path.chord, path.key)
        blank = np.zeros(len(spans))
        trials.append(Trial(s, f, path, spans, stages.judged(s, weights, path), blank, blank))
    for f in range(FOLDS):
        nets, trees = sure_of([t for t in trials if t.fold != f])
        for t in trials:
            if t.fold == f:
                t.said = confidence(nets, trees, t.outcome.evidence, np.array([[0.0, 1.0], [0.0, 1.0]]))
    for f in range(FOLDS):
        knots = straight([t for t in trials if t.fold != f])
        for t in trials:
            if t.fold == f:
                t.sure = np.minimum(np.interp(t.said, knots[0], knots[1]), MOST)
    return trials


def sure_of(trials: Sequence[Trial]) -> tuple[tuple[Perceptron, ...], Trees]:
    """The models of being right, fitted on trials."""
    rows = [t.outcome.evidence for t in trials]
    right, wrong = ([t.outcome.believed[k] for t in trials] for k in (0, 1))
    nets = tuple(stages.sure_net(rows, right, wrong, seed) for seed in SURE_SEEDS)
    return nets, stages.sure_trees(rows, right, wrong)


def straight(trials: Sequence[Trial]) -> Doubles:
    """Straightening of what the model of being right says, shape (2, k)."""
    said = np.concatenate([t.said for t in trials])
    right = np.concatenate([t.outcome.right for t in trials]).astype(np.float64)
    wrong = np.concatenate([t.outcome.wrong for t in trials]).astype(np.float64)
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
