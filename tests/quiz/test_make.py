"""Quizzes made from real drills and songs: the same arguments, the same quiz; no two questions alike."""

from __future__ import annotations

import pytest

from tutor.errors import PackError
from tutor.practice.catalogue import drills
from tutor.practice.drill import Material
from tutor.quiz import make as making
from tutor.quiz.pack import dumps, loads


def test_the_same_arguments_make_the_same_quiz() -> None:
    one = making.make(drills(), Material(), title="T", count=13, seed=4)
    assert one == making.make(drills(), Material(), title="T", count=13, seed=4)
    assert one.id != making.make(drills(), Material(), title="T", count=13, seed=5).id
    assert loads(dumps(one)) == one
    assert len({(i.prompt, tuple(e.phrase for e in (*i.heard, *i.seen))) for i in one.items}) == 13


def test_levels_rise() -> None:
    levels = [i.level for i in making.make(drills(), Material(), title="T", count=10, mix=(5, 3, 2)).items]
    assert levels == sorted(levels)
    assert [levels.count(x) for x in making.EASY_TO_HARD] == [5, 3, 2]


def test_every_item_explains_and_has_its_right_answer() -> None:
    for item in making.make(drills(), Material(), title="T", count=20).items:
        assert item.right in [c.label for c in item.choices]
        assert item.explanation
        assert item.heard or item.seen


def test_another_question_of_the_same_skill() -> None:
    pack = making.make(drills(), Material(), title="T", count=5)
    changed = making.another(drills(), Material(), pack, 2, seed=99)
    assert changed.items[2] != pack.items[2]
    assert (changed.items[2].drill, changed.items[2].skill) == (pack.items[2].drill, pack.items[2].skill)
    assert changed.items[:2] == pack.items[:2]


def test_too_few_questions_are_told() -> None:
    with pytest.raises(PackError, match="only 0 different"):
        making.make(drills(), Material(), title="T", skills=[("sing-at-sight", "no-such-skill")], count=3)
    with pytest.raises(PackError, match="1 to 100"):
        making.make(drills(), Material(), title="T", count=0)
