"""A teacher's file, good and bad."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime

import pytest

from tutor.errors import PackError
from tutor.practice.assignment import Assignment, read, write
from tutor.practice.catalogue import drills
from tutor.practice.drill import Material
from tutor.practice.schedule import Review
from tutor.practice.session import start

GOOD = b"""
title = "Week 3"
teacher = "M. Ohlin"
due = 2026-12-04
note = "Slowly,\\nplease."
songs = ["lanterns.musicxml"]

[[task]]
drill = "inversions"
skills = ["triads-close", "sevenths-close"]
count = 5

[[task]]
drill = "cadences"
"""
T0 = datetime(2026, 11, 25, tzinfo=UTC)


def good() -> Assignment:
    return read(GOOD, "week3.toml", drills())


def test_reads() -> None:
    made = good()
    assert made.title == "Week 3"
    assert made.due == date(2026, 12, 4)
    assert made.note == "Slowly, please."
    assert made.songs == ("lanterns.musicxml",)
    assert [(t.drill, t.skills, t.count) for t in made.tasks] == [
        ("inversions", ("triads-close", "sevenths-close"), 5), ("cadences", ("two",), 10),
    ]  # fmt: skip


def test_written_and_read_again() -> None:
    assert read(write(good()).encode(), "week3.json", drills()) == good()


def test_gives_a_session() -> None:
    made = good()
    session = start(drills(), [], Material(), rng=random.Random(1), now=T0, count=made.count, skills=made.skills)
    assert len(session.plan) == 15
    assert session.plan.count(("cadences", "two")) == 10
    assert session.plan.count(("inversions", "triads-close")) == 3


def test_counts_what_was_done() -> None:
    reviews = [Review("Ines", "cadences", "two", T0, 5, 1.0, 3, withdrawn=w) for w in (False, False, True)]
    assert good().done(reviews, T0) == (0, 2)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"title = ", "not a readable assignment"), (b"\xff\xfe", "not a readable assignment"),
        (b"[]", "not a readable"),
        (b"{", "not a readable"), (b'{"task": 3}', "tasks"), (b'title = "x"', "tasks"),
        (b'sum = 3\n[[task]]\ndrill = "cadences"', "unknown entry 'sum'"),
        (b'[[task]]\ndrill = "juggling"', "no drill 'juggling'"), (b"[[task]]\ncount = 3", "no drill"),
        (b'[[task]]\ndrill = "cadences"\nskills = ["nine"]', "no skill 'nine'"),
        (b'[[task]]\ndrill = "cadences"\nskills = "two"', "list of names"),
        (b'[[task]]\ndrill = "cadences"\ncount = 0', "between 1 and"),
        (b'[[task]]\ndrill = "cadences"\ncount = true', "between 1 and"),
        (b'[[task]]\ndrill = "cadences"\nrun = "x"', "a task has"),
        (b'due = "soon"\n[[task]]\ndrill = "cadences"', "no date"),
        (b'title = 3\n[[task]]\ndrill = "cadences"', "short text"),
        (b'songs = [1]\n[[task]]\ndrill = "cadences"', "list of names"),
        (b'{"task": [' + b"[" * 30_000, "not a readable"), (b"#" * 70_000, "too large"),
        (b'[[task]]\ndrill = "cadences"\ncount = 200\n' * 3, "too many"),
    ],
)  # fmt: skip
def test_bad_files_are_refused_in_one_line(text: bytes, says: str) -> None:
    with pytest.raises(PackError) as caught:
        read(text, "week3.toml", drills())
    assert says in caught.value.line
    assert "week3.toml" in caught.value.line
    assert "\n" not in caught.value.line
    assert caught.value.remedy
