"""The engine against human analyses that music21's corpus carries."""

from __future__ import annotations

import warnings

import pytest

from tests.bench.accuracy import shipped
from tests.bench.corpus import bundled
from tests.bench.measures import Score


@pytest.fixture(scope="module")
def score() -> Score:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return shipped(bundled("riemenschneider00[1-4].rntxt"))


def test_chorales_are_read_as_their_analysts_read_them(score: Score) -> None:
    assert len(score.each) == 4
    assert score.share("key") > 0.8
    assert score.share("root") > 0.85
    assert score.share("full") > 0.65


def test_what_is_sure_is_right(score: Score) -> None:
    covered, right = score.sure(0.9)
    assert covered > 0.3
    assert right > 0.9
