"""First layers: the same as the product with views that were turned, for one network and for several side by side."""

from __future__ import annotations

import numpy as np
import pytest

from tutor.analysis.features import Held, Views, turn
from tutor.analysis.listen import judge_views
from tutor.analysis.model import Perceptron, judge
from tutor.analysis.slices import LOF, Floats, Ints
from tutor.analysis.turning import FirstLayer

BLOCKS, TONES, PLAIN = 2, 3, 4
FEATURES = BLOCKS * 21 + TONES * 12 + PLAIN
OF_CHROMA = np.array([0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5], dtype=np.int64)
"""A place on the line of fifths for each chroma."""


def _views(frames: int) -> tuple[Views, Ints]:
    random = np.random.default_rng(frames)
    views = Views(
        random.random((frames, BLOCKS, LOF), dtype=np.float32),
        random.random((frames, TONES, 12), dtype=np.float32),
        random.random((frames, PLAIN), dtype=np.float32),
    )
    spelling = OF_CHROMA + 12 * random.integers(-2, 3, (frames, 12))  # some beyond the ends of the line
    return views, spelling


def _weights(rows: int, columns: int) -> Floats:
    return np.random.default_rng(rows + columns).standard_normal((rows, columns)).astype(np.float32)


@pytest.mark.parametrize("frames", [1, 7])
def test_a_first_layer_sees_the_turned_views(frames: int) -> None:
    views, spelling = _views(frames)
    weights, bias = _weights(FEATURES, 5), _weights(1, 5)[0]
    layer = FirstLayer.of(weights, bias, *views.counts)
    assert np.allclose(layer(views, spelling).swapaxes(0, 1), turn(views, spelling) @ weights + bias, atol=1e-4)


def test_perceptrons_side_by_side_judge_each_frame_as_each_by_itself() -> None:
    views, spelling = _views(9)
    of = np.repeat(np.arange(9), 2)
    plain = np.random.default_rng(1).random((18, PLAIN), dtype=np.float32)
    nets = tuple(
        Perceptron((_weights(FEATURES, h), _weights(h, 2)), (_weights(1, h)[0], _weights(2, 2)[0])) for h in (5, 8)
    )
    told = judge_views(nets, Held(np.arange(9), views, spelling, of, plain))
    every = turn(Views(views.spelled[of], views.chroma[of], plain), spelling[of])
    for one, other in zip(told, judge(nets, every), strict=True):
        assert one.shape == (18, 12, 2)
        assert np.allclose(one, other, atol=1e-3)
