"""Every generated item against an independent route; a sample here, ten thousand a drill in tests/bench/items.py."""

from __future__ import annotations

import random

import pytest

from tests.drills.checks import checked, faults
from tests.practice.songs import lanterns
from tutor.practice.catalogue import drills
from tutor.practice.drill import Drill, Item, Material

PER_DRILL = 208
EVERY = [pytest.param(d, s, id=f"{d.name}: {s}") for d in drills() for s in d.skills if checked(d, s)]


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_the_notes_bear_the_answer_out(drill: Drill, skill: str) -> None:
    material = Material(songs=(lanterns(),))
    skills = [s for s in drill.skills if checked(drill, s)]
    wrong: list[str] = []
    for seed in range(-(-PER_DRILL // len(skills))):
        item = drill.item(skill, material, random.Random(f"ci {seed}"), level=(seed % 11) / 10)
        wrong += faults(drill, item)
    assert wrong == []


@pytest.mark.parametrize("drill", drills(), ids=lambda d: d.name)
def test_every_fresh_skill_has_such_a_route(drill: Drill) -> None:
    fresh = set(drill.skills) - set(drill.from_songs)  # type: ignore[attr-defined]
    assert {s for s in fresh if not checked(drill, s)} == set()


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_the_route_catches_a_wrong_label(drill: Drill, skill: str) -> None:
    """The route itself can fail: an item whose right answer was swapped is found out."""
    material = Material(songs=(lanterns(),))
    item = drill.item(skill, material, random.Random(3), level=0.4)
    payload = dict(item.payload)
    question = drill.question(item)
    if question.ask == "choice":
        payload["right"] = next(c.label for c in question.choices if c.label != payload["right"])
    elif question.ask == "marks":
        payload["wanted"] = [[0, o + 1.0, 0.0] for _, o, _ in payload["wanted"]]
    else:
        payload["wanted"] = [[m + 1 + 2 * (i % 2), o, d] for i, (m, o, d) in enumerate(payload["wanted"])]
    assert faults(drill, Item(item.drill, item.skill, item.level, item.song_id, payload))
