"""The questions before singing, and listening that a pattern was sung."""

from __future__ import annotations

from itertools import combinations

import pytest

from tutor.music.phrase import Phrase
from tutor.music.take import SungNote, Take
from tutor.warmup.exercises import EXERCISES
from tutor.warmup.gate import QUESTIONS, judge
from tutor.warmup.listening import was_sung
from tutor.warmup.model import RestAdvice
from tutor.warmup.piano import repetition


@pytest.mark.parametrize("name", [q.name for q in QUESTIONS if q.kind == "warning"])
def test_any_warning_sign_means_no_plan(name: str) -> None:
    """Stachler et al. 2018, statement 3 (seen); further signs second-hand."""
    found = judge({name}, "fresh")
    assert isinstance(found, RestAdvice)
    assert "doctor" in found.title
    assert found.urgent


def test_answers_never_make_the_voice_better_than_the_singer_says() -> None:
    names = [q.name for q in QUESTIONS]
    for yes in [set(), *({n} for n in names), *(set(c) for c in combinations(names, 2))]:
        assert isinstance(judge(yes, "hoarse"), RestAdvice)
        assert isinstance(judge(yes, "pain"), RestAdvice)
        assert judge(yes, "tired") == "tired" or isinstance(judge(yes, "tired"), RestAdvice)
    assert judge((), "fresh") == "fresh"
    assert judge(("effort",), "fresh") == "tired"


def test_two_weeks_of_hoarseness_ask_for_a_doctor() -> None:
    """Our strict reading; the guideline's outer limit is 4 weeks, NHS Lothian's 3 (both seen)."""
    short, long = judge(("hoarse",), "fresh", hoarse_days=3), judge(("hoarse",), "fresh", hoarse_days=15)
    assert isinstance(short, RestAdvice)
    assert isinstance(long, RestAdvice)
    assert long.lines[0].startswith("You have been hoarse for more than two weeks: see a doctor now")
    assert not any("see a doctor now" in line for line in short.lines)


def take(*midi: float) -> Take:
    return Take(notes=tuple(SungNote(k * 0.5, 0.4, m) for k, m in enumerate(midi)))


PATTERN = repetition(EXERCISES["five-note"], 60, None, first=True, dynamic="soft")


@pytest.mark.parametrize(
    ("heard", "sung"),
    [
        (take(60, 62, 64, 65, 67, 65, 64, 62, 60), True),
        (take(60.3, 61.8, 64.2, 65, 66.6, 65, 64, 62.4, 60), True),
        (take(48, 50, 52, 53, 55, 53, 52, 50, 48), True),
        (take(60, 62, 64, 67, 64, 60), True),
        (take(60, 62), False),
        (take(62, 64, 66, 67, 69, 67, 66, 64, 62), False),
        (take(67, 67, 67, 67), False),
        (take(), False),
    ],
)
def test_a_pattern_counts_as_sung_when_most_of_it_came_in_order(heard: Take, sung: bool) -> None:
    assert was_sung(PATTERN, heard) is sung


def test_nothing_is_sung_without_a_line() -> None:
    assert not was_sung(Phrase(()), take(60))
