"""The stages of the fit, each from pieces and what the stages before it heard on pieces they had not seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.bench.boosting import Grove, fit_trees
from tests.bench.corpus import Piece
from tests.bench.modal import lifted
from tests.bench.readable import believed
from tests.bench.training import Plan, fit_chords, fit_classes, fit_share
from tests.bench.training_strands import StrandPlan, Taught, fit_strands
from tutor.analysis.confidence import evidence, runs
from tutor.analysis.decode import DEFAULTS, Doubles, Path
from tutor.analysis.features import Windows, chord_views, key_views, spell_map, turn, with_chords
from tutor.analysis.listen import Course, Heard, both, follow, heads_of, mix, turn_share, vote
from tutor.analysis.modal import glance, modal_share
from tutor.analysis.model import Perceptron, judge
from tutor.analysis.slices import Floats, Ints, fresh_frames
from tutor.analysis.strands import BASS_OUT, CHORD, MEMBER_OUT, Strands
from tutor.analysis.trees import Trees
from tutor.analysis.turns import turn_features
from tutor.analysis.vocabulary import GROUP_OF, GROUPS, SIZE

CHORDS = Plan(hidden=(128, 64), epochs=12, dropout=0.3)
STRANDS = StrandPlan()
"""How a teacher of strands is fitted."""
TAUGHT = StrandPlan(epochs=64, dropout=0.1, input_dropout=0.2, taught=0.8)
"""How the strands are fitted that learn from teachers: what these say of every chord lets them learn longer."""
KEYS = Plan(hidden=(64, 32), epochs=8, dropout=0.3)
TURNS = Plan(hidden=(32,), epochs=12, dropout=0.1)
MODES = Plan(hidden=(64, 32), epochs=6, dropout=0.3)
PLAIN_SHARE = 0.4
"""Share of a song's frames that the model of modes learns from beside the same song told in a mode."""
MODAL_ODDS = 1 / 9
"""How often a song stands in a mode against how often it does not, for the model that tells the two apart."""
LIFTS = (2, -5)
"""Fifths by which the end of a song is moved for it: a whole tone and a semitone up."""
LIFTED = 1.0
"""Weight of a song with such an end against one told in a mode."""
SURE = Plan(hidden=(24,), epochs=40, dropout=0.2, decay=1e-2)
SURE_TREES = Grove(trees=300, rate=0.03, share=0.3, least=30)
LONGEST = 3.0
"""Quarters for which one span counts when the model of being right is fitted."""
CHORALE_WEIGHT = 0.4
"""Weight of a chorale's frame against a song's: chorales teach the vocabulary, songs how it is used."""


@dataclass
class Seen:
    """A piece with what the stages hear in it."""

    piece: Piece
    values: NDArray[np.float16]
    """Features of the chord model, shape (n, 12, features)."""
    spelling: Ints
    windows: Windows
    course: Course | None = None
    key: Floats | None = None
    turn: Floats | None = None
    modal: float = 0.0

    @classmethod
    def of(cls, piece: Piece) -> Seen:
        """Compute the features of a piece."""
        windows = Windows(piece.frames)
        spelling = spell_map(windows)
        return cls(piece, turn(chord_views(windows), spelling).astype(np.float16), spelling, windows)

    def heard(self, weights: dict[str, float]) -> Heard:
        """What goes into the decoding."""
        assert self.course is not None
        assert self.key is not None
        assert self.turn is not None
        heads = self.course.heads
        return Heard(mix(heads, weights), self.key, self.turn, heads, self.modal)

    def taught(self, scale: float = 1.0, teachers: Teachers | None = None) -> Taught:
        """What the strands learn from: the frames in which something begins or ends."""
        fresh, _ = fresh_frames(self.piece.frames)
        home = turn(key_views(self.windows).at(fresh), self.spelling[fresh]).astype(np.float16)
        chord, key = self.piece.labels
        weight = np.add.reduceat(self.piece.weight, fresh) * np.float32(scale)
        values = np.concatenate([self.values[fresh], home], axis=2)
        heard = None if teachers is None else teachers.hear(values.astype(np.float32), self.values.shape[2])
        return Taught(values, chord[fresh], key[fresh], weight, heard)


@dataclass(frozen=True, slots=True)
class Teachers:
    """Two networks of different kinds, which err differently: the one that is shipped learns from both."""

    perceptron: Perceptron
    """Sees windows around one frame."""
    strands: Strands

    def hear(self, values: Floats, seen: int) -> NDArray[np.float16]:
        """Shares of the chords in the frames of a piece, shape (n, 12 * SIZE).

        Args:
            values: Features of the strands, shape (n, 12, features).
            seen: How many of them the perceptron sees, from the first.
        """
        alone = judge((self.perceptron,), values[:, :, :seen])[0]
        course = self.strands.run(self.strands.begin(values))
        heads = heads_of(
            [
                (alone[:, :, :SIZE], alone[:, :, SIZE], alone[:, :, SIZE + 1]),
                (course[:, :, CHORD], course[:, :, BASS_OUT], course[:, :, MEMBER_OUT]),
            ]
        )
        return mix(heads, DEFAULTS).astype(np.float16)


def chord_net(songs: Sequence[Seen], chorales: Sequence[Seen], seed: int) -> Perceptron:
    """Fit a perceptron of chords, one of the teachers."""
    both = [*songs, *chorales]
    scale = [2.0] * len(songs) + [2.0 * CHORALE_WEIGHT] * len(chorales)
    weight = np.concatenate([s.piece.weight * np.float32(k) for s, k in zip(both, scale, strict=True)])
    chord = np.concatenate([s.piece.labels[0] for s in both])
    return fit_chords(np.concatenate([s.values for s in both]), chord, weight, CHORDS, seed)


def strand_net(songs: Sequence[Seen], chorales: Sequence[Seen], seed: int, teachers: Teachers | None = None) -> Strands:
    """Fit a network of strands on labels and, of the songs, on what teachers hear that learned from the same labels."""
    taught = [*(s.taught(1.0, teachers) for s in songs), *(s.taught(CHORALE_WEIGHT) for s in chorales)]
    return fit_strands(taught, STRANDS if teachers is None else TAUGHT, seed)


def hear_chords(strands: tuple[Strands, ...], seen: Seen) -> None:
    """Fill in what the strands hear in a piece."""
    _, copies = fresh_frames(seen.piece.frames)
    values = seen.taught().values.astype(np.float32)
    seen.course = follow(strands, [net.begin(values) for net in strands]).at(copies)


def key_values(seen: Seen, weights: dict[str, float]) -> NDArray[np.float16]:
    """Features of the key model, shape (n, 12, features)."""
    assert seen.course is not None
    chord = mix(seen.course.heads, weights)
    views = with_chords(key_views(seen.windows), seen.windows, chord)
    return turn(views, seen.spelling).astype(np.float16)


def key_net(values: Sequence[NDArray[np.float16]], songs: Sequence[Seen], seed: int) -> Perceptron:
    """Fit the key model."""
    key = np.concatenate([s.piece.labels[1] for s in songs])
    weight = np.concatenate([s.piece.weight for s in songs])
    return fit_classes(np.concatenate(values), key, weight, 2, KEYS, seed)


def modal_net(
    values: Sequence[NDArray[np.float16]],
    songs: Sequence[Seen],
    modal_values: Sequence[NDArray[np.float16]],
    modal: Sequence[Seen],
    seed: int,
) -> Perceptron:
    """Fit the model of keys for songs in a mode: on songs told in a mode, and on a part of the songs as they are."""
    random = np.random.default_rng(seed)
    rows, key, weight = [], [], []
    for plain, song, told, other in zip(values, songs, modal_values, modal, strict=True):
        for some, seen, share in ((plain, song, PLAIN_SHARE), (told, other, 1.0)):
            drawn = random.random(len(some)) < share
            rows.append(some[drawn])
            key.append(seen.piece.labels[1][drawn])
            weight.append(seen.piece.weight[drawn])
    return fit_classes(np.concatenate(rows), np.concatenate(key), np.concatenate(weight), 2, MODES, seed)


def gate(songs: Sequence[Seen], modal: Sequence[Seen]) -> Perceptron:
    """Fit what tells songs in a mode from the rest."""
    plain = [s.piece.frames for s in songs]
    raised = [lifted(f, by) for f in plain for by in LIFTS]
    frames = [*plain, *raised, *(s.piece.frames for s in modal)]
    label = np.repeat([0, 1], [len(plain) + len(raised), len(modal)])
    weight = np.repeat([1 / MODAL_ODDS, LIFTED, 1.0], [len(plain), len(raised), len(modal)])
    return fit_share(np.stack([glance(f) for f in frames]), label, weight.astype(np.float32), 1.0)


def hear_keys(
    nets: tuple[Perceptron, ...],
    modal: tuple[Perceptron, ...],
    telling: Perceptron,
    seen: Seen,
    values: NDArray[Any],
    share: float,
) -> None:
    """Fill in the shares of the keys, in which the strands weigh ``share``, and whether the piece stands in a mode."""
    assert seen.course is not None
    rows = values.astype(np.float32)
    seen.key = both(vote(judge(nets, rows)), seen.course.key, share)
    seen.modal = modal_share((telling,), seen.piece.frames)
    if seen.modal > 0:
        seen.key = both(seen.key, vote(judge(modal, rows)), seen.modal)


def turn_values(seen: Seen, weights: dict[str, float]) -> Floats:
    """Features of the model of changes, shape (n, features)."""
    assert seen.course is not None
    heads = seen.course.heads
    return turn_features(seen.windows, mix(heads, weights), heads.bass, heads.member)


def turn_net(values: Sequence[Floats], songs: Sequence[Seen], seed: int) -> Perceptron:
    """Fit the model of changes; its features are brought to one scale within its first layer."""
    rows = np.concatenate(values)
    labels = []
    for s in songs:
        chord = s.piece.labels[0]
        known = (chord[1:] >= 0) & (chord[:-1] >= 0)
        labels.append(np.concatenate([[-1], np.where(known, chord[1:] != chord[:-1], -1)]))
    return _scaled(rows, np.concatenate(labels), np.ones(len(rows), dtype=np.float32), TURNS, seed)


def hear_turns(net: Perceptron, values: Floats) -> Floats:
    """Probability of a change at each frame, shape (n,)."""
    return turn_share((net,), values)


def sure_net(values: Sequence[Floats], right: Sequence[Floats], wrong: Sequence[Floats], seed: int) -> Perceptron:
    """Fit a perceptron of being right from spans with the time each was right and wrong."""
    rows, label, weight = _outcomes(values, right, wrong)
    return _scaled(rows, label, weight, SURE, seed)


def sure_trees(values: Sequence[Floats], right: Sequence[Floats], wrong: Sequence[Floats]) -> Trees:
    """Fit the trees of being right from the same."""
    return fit_trees(*_outcomes(values, right, wrong), SURE_TREES, 0)


def _outcomes(
    values: Sequence[Floats], right: Sequence[Floats], wrong: Sequence[Floats]
) -> tuple[Floats, Ints, Floats]:
    """Each span once as right and once as wrong, each with its time."""
    rows = np.concatenate([*values, *values])
    label = np.repeat([1, 0], len(rows) // 2)
    time = np.concatenate(right) + np.concatenate(wrong)
    scale = np.minimum(1, LONGEST / np.maximum(time, 1e-6))
    return rows, label, (np.concatenate([*right, *wrong]) * np.concatenate([scale, scale])).astype(np.float32)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of the spans of a reading."""

    evidence: Floats
    right: Floats
    """Quarters for which root, quality and inversion of each span are right."""
    wrong: Floats
    believed: tuple[Floats, Floats]
    """The same without labels that the notes contradict: from these is learned what is sure."""


def judged(seen: Seen, weights: dict[str, float], path: Path) -> Outcome:
    """Evidence of each span of a reading with the time for which it is right and wrong."""
    spans = runs(path.chord, path.key)
    values = evidence(seen.piece.frames, seen.heard(weights), path, spans)
    chord = seen.piece.labels[0]
    same = (chord == path.chord) & (chord >= 0)

    def split(weight: Floats) -> tuple[Floats, Floats]:
        right, wrong = (
            np.array([weight[a:b][part[a:b]].sum() for a, b in spans], dtype=np.float32) for part in (same, ~same)
        )
        return right, wrong

    return Outcome(values, *split(seen.piece.weight), split(believed(seen.piece)))


def _scaled(rows: Floats, label: Ints, weight: Floats, plan: Plan, seed: int) -> Perceptron:
    mean = rows.mean(axis=0)
    spread = rows.std(axis=0) + np.float32(1e-2)
    net = fit_classes(((rows - mean) / spread)[:, None, :], label, weight, 2, plan, seed)
    first = net.weights[0] / spread[:, None]
    return Perceptron((first, *net.weights[1:]), (net.biases[0] - mean @ first, *net.biases[1:]))


def tables(songs: Sequence[Seen], modal: Sequence[Seen]) -> dict[str, Doubles]:
    """The counts of songs and, under names that begin with 'modal_', of songs told in a mode."""
    return {**_counts(songs), **{f"modal_{name}": table for name, table in _counts(modal).items()}}


def _counts(songs: Sequence[Seen]) -> dict[str, Doubles]:
    """Logarithms of smoothed counts: chords within keys, steps between chords, steps between keys."""
    unigram, bigram, keys = np.zeros((2, 12, SIZE)), np.zeros((2, 12 * GROUPS, 12 * GROUPS)), np.zeros((2, 12, 2))
    for s in songs:
        _count(s.piece, unigram, bigram, keys)
    share = _smooth_unigram(unigram)
    grouped = np.stack([share[:, :, g == GROUP_OF].sum(axis=2) for g in range(GROUPS)], axis=2).reshape(2, -1)
    ratio = np.empty_like(bigram)
    for mode in range(2):
        counts = bigram[mode] + 0.3 * bigram[1 - mode]
        ratio[mode] = (counts + 8 * grouped[mode]) / (counts.sum(axis=1, keepdims=True) + 8) / grouped[mode]
    steps = (keys + 0.5) / (keys.sum(axis=(1, 2), keepdims=True) + 11.5)
    steps[0, 0, 0] = steps[1, 0, 1] = 1e-9
    return {"unigram": np.log(share), "bigram": np.log(ratio), "keys": np.log(steps)}


def _count(piece: Piece, unigram: Doubles, bigram: Doubles, keys: Doubles) -> None:
    chord, key = piece.labels
    before: tuple[int, int] | None = None
    for c, k, w in zip(chord.tolist(), key.tolist(), piece.weight.tolist(), strict=True):
        if c < 0 or k < 0:
            before = None
            continue
        mode, tonic = k % 2, k // 2
        degree, kind = (c // SIZE - tonic) % 12, c % SIZE
        unigram[mode, degree, kind] += 0.5 * w
        if before is not None and before != (c, k):
            unigram[mode, degree, kind] += 1
            if before[1] == k:
                earlier = (before[0] // SIZE - tonic) % 12 * GROUPS + GROUP_OF[before[0] % SIZE]
                bigram[mode, earlier, degree * GROUPS + GROUP_OF[kind]] += 1
            else:
                keys[before[1] % 2, (tonic - before[1] // 2) % 12, mode] += 1
        before = c, k


def _smooth_unigram(counts: Doubles) -> Doubles:
    """Root and kind of chord first, then the class within the kind, backed off to all roots."""
    usual = counts.sum(axis=(0, 1)) + 1
    grouped = np.stack([counts[:, :, g == GROUP_OF].sum(axis=2) for g in range(GROUPS)], axis=2)
    out = np.zeros_like(counts)
    for mode in range(2):
        other = grouped[1 - mode] / max(1.0, float(grouped[1 - mode].sum()))
        roots = grouped[mode] + 20 * other + 0.3
        roots = roots / roots.sum()
        for g in range(GROUPS):
            base = usual * (g == GROUP_OF)
            base = base / base.sum()
            within = counts[mode] * (g == GROUP_OF) + 4 * base
            out[mode] += roots[:, g, None] * within / within.sum(axis=1, keepdims=True)
    return out
