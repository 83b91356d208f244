"""Quizzes made from real drills and songs: the same arguments, the same quiz; no two questions alike."""

from __future__ import annotations

import random
from dataclasses import fields, is_dataclass, replace
from typing import Any

import pytest

from tutor.errors import PackError
from tutor.practice.catalogue import drills
from tutor.practice.drill import Material, NoMaterial, Song
from tutor.quiz import make as making
from tutor.quiz.pack import dumps, loads
from tutor.studio import Studio


@pytest.fixture(scope="module")
def song() -> Song:
    studio = Studio.open(silent_ports=True, in_memory=True)
    try:
        return studio.open_song("measure-twice")
    finally:
        studio.close()


def surest(value: Any, confidence: float) -> Any:
    """A reading in which no claim is surer than this, and none is the user's own."""
    if isinstance(value, tuple):
        return tuple(surest(v, confidence) for v in value)
    if not is_dataclass(value) or isinstance(value, type):
        return value
    changed = {f.name: surest(getattr(value, f.name), confidence) for f in fields(value)}
    for sure in {"confidence", "in_key"} & changed.keys():
        changed[sure] = min(changed[sure], confidence)
    if "corrected" in changed:
        changed["corrected"] = False
    return replace(value, **changed)


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


def test_two_thirds_of_the_questions_come_from_the_songs_given(song: Song) -> None:
    made = making.make(drills(), Material(songs=(song,)), title="T", count=15)
    assert sum(song.title in i.source for i in made.items) == 10
    assert sum(i.source == "fresh" for i in made.items) == 5
    assert len({(i.drill, i.skill) for i in made.items if song.title in i.source}) >= 6
    assert made == making.make(drills(), Material(songs=(song,)), title="T", count=15)


def test_skills_that_were_chosen_are_obeyed(song: Song) -> None:
    chosen = [("inversions", "triads-close"), ("inversions", "song")]
    made = making.make(drills(), Material(songs=(song,)), title="T", count=6, skills=chosen)
    assert [(i.drill, i.skill) for i in made.items] == chosen * 3


def test_song_skills_are_those_that_draw_on_a_song(song: Song) -> None:
    found = making.song_skills(drills(), Material(songs=(song,)))
    assert ("inversions", "song") in found
    assert all(skill in next(d for d in drills() if d.name == name).from_songs for name, skill in found)  # type: ignore[attr-defined]
    assert making.song_skills(drills(), Material()) == []


def test_only_claims_of_which_the_engine_is_sure_are_asked(song: Song) -> None:
    """Below 0.9 what rests on a claim falls silent; what is read off the notes alone stays."""
    unsure = Material(songs=(replace(song, reading=surest(song.reading, 0.89)),))
    from_notes = {("intervals", "song"), ("form", "song-relation"), ("form", "song-return")}
    assert set(making.song_skills(drills(), unsure)) <= from_notes
    with pytest.raises(NoMaterial):
        next(d for d in drills() if d.name == "inversions").item("song", unsure, random.Random(1))
    made = making.make(drills(), unsure, title="T", count=12)
    assert {(i.drill, i.skill) for i in made.items if i.source != "fresh"} <= from_notes
