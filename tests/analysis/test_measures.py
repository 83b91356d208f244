"""The measures of the bench: precision by confidence, sums over pieces, and how far other songs would move them."""

from __future__ import annotations

from collections import Counter

import pytest

from tests.bench.measures import COVERAGE, ELEMENTS, Score, merged, spread


def _score(*said: tuple[float, float, bool]) -> Score:
    time = sum(quarters for _, quarters, _ in said)
    right = sum(quarters * ok for _, quarters, ok in said)
    return Score(time, Counter({"chord": right}), list(said), {"applied": Counter(hit=1)}, {}, [(right / time, "x")])


def test_precision_counts_the_surest_time_first_and_cuts_a_span_where_the_share_ends() -> None:
    score = _score((0.9, 2, True), (0.8, 2, False), (0.95, 1, True), (0.2, 5, True))
    assert score.precision(0.3) == pytest.approx(1)
    assert score.precision(0.4) == pytest.approx(3 / 4)
    assert score.precision(1.0) == pytest.approx(8 / 10)
    assert Score().precision(0.2) == 0


def test_pieces_add_up() -> None:
    both = merged([_score((0.9, 2, True)), _score((0.8, 2, False), (0.7, 4, True))])
    assert both.time == 8
    assert both.share("chord") == pytest.approx(6 / 8)
    assert both.precision(0.5) == pytest.approx(1 / 2)
    assert both.kinds["applied"]["hit"] == 2
    assert len(both.each) == 2


def test_figures_of_many_alike_pieces_hardly_move_and_those_of_few_do() -> None:
    alike = [_score((0.9, 1, True), (0.5, 1, False)) for _ in range(5)]
    assert set(spread(alike, 20)) == {*ELEMENTS, *map(str, COVERAGE)}
    assert spread(alike, 20)["chord"] == 0
    unlike = [_score((0.9, 1, k % 2 == 0)) for k in range(100)]
    assert spread(unlike, 200)["chord"] == pytest.approx(0.05, abs=0.01)  # the root of .5 * .5 / 100
