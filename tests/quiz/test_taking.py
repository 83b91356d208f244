"""Taking a quiz: answers stand, change while they may, and come back equal from the store."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.quiz.packs import pack
from tutor.errors import PackError
from tutor.quiz.taking import Taking

MARK = "00ff00ff"
LATE = replace(pack(), reveal="at the end")


def test_told_at_once_an_answer_stands() -> None:
    taking = Taking.begin(pack(), MARK).give(1)
    assert taking.told(0)
    with pytest.raises(ValueError, match="told already"):
        taking.give(2)
    assert not taking.told(1)


def test_told_at_the_end_an_answer_may_change_until_then() -> None:
    taking = Taking.begin(LATE, MARK).give(1).give(2)
    assert (taking.answers[0], taking.told(0)) == (2, False)
    assert taking.give(0).answered == 0
    assert taking.finish().told(0)
    with pytest.raises(ValueError, match="told already"):
        taking.finish().give(1)


def test_right_answers_are_counted() -> None:
    taking = Taking.begin(pack(), MARK)
    for index, item in enumerate(pack().items):
        right = [c.label for c in item.choices].index(item.right) + 1
        taking = taking.go(index).give(right if index else right % 3 + 1)
    assert (taking.right, taking.answered) == (3, 4)
    assert taking.sheet("Wren").labels(pack())[1:] == tuple(i.right for i in pack().items[1:])


def test_the_next_open_question_comes_round() -> None:
    taking = Taking.begin(pack(), MARK).go(2).give(1)
    assert taking.next_open() == 3
    assert taking.go(3).give(1).next_open() == 0
    assert taking.go(-5).at == 0
    assert taking.go(99).at == 3


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), max_size=12))
def test_comes_back_equal(moves: list[tuple[int, int]]) -> None:
    taking = Taking.begin(LATE, MARK)
    for to, choice in moves:
        taking = taking.go(to).give(choice)
    assert Taking.from_json(taking.to_json()) == taking


@pytest.mark.parametrize(
    ("name", "value"),
    [("quiz", "{}"), ("answers", [1]), ("answers", [1, 2, 3, 4]), ("answers", None), ("mark", "xyz"), ("at", 4)],
)
def test_another_shape_is_refused(name: str, value: Any) -> None:
    with pytest.raises(PackError):
        Taking.from_json(Taking.begin(pack(), MARK).to_json() | {name: value})
