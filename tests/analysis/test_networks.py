"""The network of strands and the boosted trees: what they compute, and that their fits go down their loss."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.bench import training_strands
from tests.bench.boosting import Grove, fit_trees
from tests.bench.training_strands import StrandPlan, Taught, around, fit_strands
from tutor.analysis.model import Model, softmax
from tutor.analysis.slices import Floats
from tutor.analysis.strands import BASS_OUT, CHORD, KEY, MEMBER_OUT, Strands, level
from tutor.analysis.trees import Trees
from tutor.analysis.vocabulary import BASS, MEMBERS, SIZE

FEATURES = 10
TINY = StrandPlan(hidden=8, layers=2, epochs=1, frames=7, excerpts=2, dropout=0.0, input_dropout=0.0)


def _pieces(count: int, frames: int = 20) -> list[Taught]:
    random = np.random.default_rng(count)
    return [
        Taught(
            random.standard_normal((frames, 12, FEATURES)).astype(np.float32),
            random.integers(0, 12 * SIZE, frames), random.integers(0, 24, frames), np.ones(frames, dtype=np.float32),
            random.dirichlet(np.full(12 * SIZE, 0.1), frames).astype(np.float16) if k else None,
        )
        for k in range(count)
    ]  # fmt: skip


@pytest.fixture(scope="module")
def net() -> Strands:
    return fit_strands(_pieces(3), TINY, 0)


def test_strands_in_another_order_give_the_same_in_that_order(net: Strands) -> None:
    values = _pieces(1)[0].values
    plain = net.run(net.begin(values))
    turned = net.run(net.begin(np.roll(values, 5, axis=1)))
    assert np.allclose(np.roll(plain, 5, axis=1), turned, atol=1e-5)


def test_features_may_come_in_parts(net: Strands) -> None:
    values = _pieces(1)[0].values
    parts = net.begin(values[:, :, :4], values[:, :, 4:])
    assert np.allclose(parts, net.begin(values), atol=1e-5)


def test_a_frame_hears_as_far_as_its_layers_reach(net: Strands) -> None:
    values = _pieces(1)[0].values
    other = values.copy()
    other[10] += 1
    moved = np.abs(net.run(net.begin(values)) - net.run(net.begin(other))).max(axis=(1, 2)) > 0
    assert np.flatnonzero(moved).tolist() == list(range(10 - 3, 10 + 3 + 1))  # 1 + 2 frames either way


def test_layers_do_what_their_weights_say(net: Strands) -> None:
    random = np.random.default_rng(4)
    named = {name: value + 0.5 * random.standard_normal(value.shape) for name, value in net.arrays().items()}
    named["0.gain"][:2] = 0, -1  # levelled values that are wiped out, and that are turned over
    net = Strands.of(named)
    hidden = random.standard_normal((6, 12, 8)).astype(np.float32)
    told = net.run(hidden)
    for i, layer in enumerate(net.layers):
        near = around(hidden[None], 2**i)[0].reshape(6, 12, -1) @ layer.near
        pooled = hidden.mean(axis=1, keepdims=True) @ layer.pool
        levelled = level(near + pooled + layer.bias, layer.gain, layer.shift)
        hidden += np.maximum(levelled, 0) @ layer.mix + layer.mix_bias
    assert np.allclose(told, hidden @ net.out + net.out_bias, atol=1e-3)


def test_around_leaves_the_ends_empty() -> None:
    values = np.arange(1, 5, dtype=np.float32).reshape(1, 4, 1, 1)
    assert around(values, 1)[0, :, 0].tolist() == [[0, 1, 2], [1, 2, 3], [2, 3, 4], [3, 4, 0]]
    assert around(values, 9)[0, :, 0].tolist() == [[0, 1, 0], [0, 2, 0], [0, 3, 0], [0, 4, 0]]


def test_level_brings_to_mean_and_spread() -> None:
    random = np.random.default_rng(1)
    even = level(
        random.standard_normal((3, 12, 50)).astype(np.float32) * 7 + 2,
        np.ones(50, np.float32),
        np.zeros(50, np.float32),
    )
    assert np.allclose(even.mean(axis=-1), 0, atol=1e-5)
    assert np.allclose(even.std(axis=-1), 1, atol=1e-3)


def test_strands_survive_the_file_of_the_model(net: Strands) -> None:
    again = Model.loads(Model({}, {}, {}, {}, (net,)).dumps()).strands[0]
    assert all(np.array_equal(value, again.arrays()[name]) for name, value in net.arrays().items())
    with pytest.raises(ValueError, match="not the weights"):
        Strands.of({"first": np.zeros((2, 2))})


def _loss(scores: Floats, turn: Floats, batch: training_strands._Batch, plan: StrandPlan) -> float:
    """The loss by its definition."""

    def said(values: Floats, target: NDArray[Any]) -> Floats:
        return np.asarray((np.log(softmax(values)) * target).sum(axis=1))

    b, t = np.nonzero(batch.chord >= 0)
    target, numbers = batch.target[b, t], np.arange(12 * SIZE)
    root, kind = numbers // SIZE, numbers % SIZE
    bass = target @ ((root + BASS[kind])[:, None] % 12 == np.arange(12))
    member = target @ np.take_along_axis(MEMBERS[kind], (np.arange(12)[None] - root[:, None]) % 12, axis=1)
    flat = scores[b, t][:, :, CHORD].reshape(len(b), -1)
    spread = np.log(softmax(flat)).mean(axis=1)
    total = (1 - plan.smoothing) * said(flat, target) + plan.smoothing * spread
    total += plan.bass * said(scores[b, t][:, :, BASS_OUT], bass)
    total += plan.key * said(scores[b, t][:, :, KEY].reshape(len(b), -1), np.eye(24)[batch.key[b, t]])
    odds = scores[b, t][:, :, MEMBER_OUT]
    total -= plan.member * (np.logaddexp(0, odds) - member * odds).sum(axis=1)
    known = (batch.chord[:, 1:] >= 0) & (batch.chord[:, :-1] >= 0)
    changed = batch.chord[:, 1:] != batch.chord[:, :-1]
    turns = np.where(known, np.logaddexp(0, turn[:, 1:]) - changed * turn[:, 1:], 0).sum() / known.sum()
    return float(plan.turn * turns - total.mean())


def test_the_fit_goes_down_the_slope_of_its_loss(monkeypatch: pytest.MonkeyPatch) -> None:
    random = np.random.default_rng(2)
    weights: dict[str, Any] = {
        name: value + 0.1 * random.standard_normal(value.shape)
        for name, value in training_strands._fresh(FEATURES, TINY, random).items()
    }
    pieces = _pieces(3)
    batch = training_strands._draw(pieces, np.ones(3) / 3, TINY, random)
    batch.values = batch.values.astype(np.float64)
    seen: list[float] = []
    plain = training_strands._loss

    def watched(
        scores: Floats, turn: Floats, given: training_strands._Batch, plan: StrandPlan
    ) -> tuple[Floats, Floats]:
        seen.append(_loss(scores, turn, given, plan))
        return plain(scores, turn, given, plan)

    monkeypatch.setattr(training_strands, "_loss", watched)

    def at() -> float:
        training_strands._slopes(weights, batch, TINY, np.random.default_rng(0))
        return seen[-1]

    slopes = training_strands._slopes(weights, batch, TINY, np.random.default_rng(0))
    step = 1e-5
    for name, value in weights.items():
        place = tuple(int(random.integers(n)) for n in value.shape)
        value[place] += step
        above = at()
        value[place] -= 2 * step
        below = at()
        value[place] += step
        assert slopes[name][place] == pytest.approx((above - below) / (2 * step), abs=1e-5), name


def test_the_same_seed_gives_the_same_strands(net: Strands) -> None:
    again = fit_strands(_pieces(3), TINY, 0)
    assert np.array_equal(again.out, net.out)


def test_strands_learn_from_the_label_and_from_what_others_hear() -> None:
    heard = np.zeros((3, 12 * SIZE), dtype=np.float16)
    heard[:, 5] = heard[:, 7] = 0.5
    piece = Taught(
        np.zeros((3, 12, 1)), np.array([7, 9, -1]), np.zeros(3, dtype=np.int64), np.ones(3, np.float32), heard
    )
    target = piece.target(slice(0, 3), 0.6)
    assert np.flatnonzero(target[0]).tolist() == [5, 7]
    assert target[0, [5, 7]] == pytest.approx([0.3, 0.7])
    assert target[1, [5, 7, 9]] == pytest.approx([0.3, 0.3, 0.4])
    assert not target[2].any()  # nobody has named a chord there


def test_trees_ask_their_questions_in_order() -> None:
    trees = Trees(
        np.array([[0, 1, 1]], dtype=np.int16),
        np.array([[0.5, 0.0, 9.0]], dtype=np.float32),
        np.array([[1.0, 2.0, 3.0, 4.0]], dtype=np.float32),
        np.array([10.0], dtype=np.float32),
    )
    rows = np.array([[0, 0], [0, 1], [1, 9], [1, 9.5]], dtype=np.float32)
    assert trees.odds(rows).tolist() == [11, 12, 13, 14]


def test_trees_learn_what_no_line_can_part() -> None:
    random = np.random.default_rng(3)
    rows = random.random((2000, 4)).astype(np.float32)
    label = ((rows[:, 0] > 0.5) ^ (rows[:, 2] > 0.3)).astype(np.int64)
    trees = fit_trees(rows, label, np.ones(2000, dtype=np.float32), Grove(trees=60, depth=3, rate=0.2, share=1.0), 0)
    fresh = random.random((1000, 4)).astype(np.float32)
    right = (trees.odds(fresh) > 0) == ((fresh[:, 0] > 0.5) ^ (fresh[:, 2] > 0.3))
    assert right.mean() > 0.95
