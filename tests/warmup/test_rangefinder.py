"""The careful range finder."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tutor.music.voice import VOICES, SingerProfile, VoiceType
from tutor.warmup import rangefinder as finder
from tutor.warmup.rangefinder import Finder

DAY = date(2026, 3, 14)
TYPES = st.sampled_from(sorted(VOICES))


def search(voice: VoiceType, low: int, high: int) -> tuple[Finder, list[int]]:
    """A singer for whom low to high is easy; gives the end and every note asked."""
    at, asked = finder.begin("Robin", voice, DAY), []
    while at.stage in ("up", "down"):
        asked.append(at.asked)
        at = finder.answer(at, "easy" if low <= at.asked <= high else "effort")
    return at, asked


@given(voice=TYPES, below=st.integers(0, 20), above=st.integers(0, 24))
def test_it_finds_what_is_easy_and_asks_one_note_of_effort_at_most_each_way(
    voice: VoiceType, below: int, above: int
) -> None:
    first = finder.begin("Robin", voice, DAY).asked
    low, high = first - below, first + above
    assume(high - low >= 12)
    end, asked = search(voice, low, high)
    assert max(asked) <= high + 1
    assert min(asked) >= low - 1
    assert max(asked) <= VOICES[voice].high + finder.BEYOND
    assert min(asked) >= VOICES[voice].low - finder.BEYOND
    if end.stage == "transitions":
        assert end.low == max(low, VOICES[voice].low - finder.BEYOND)
        assert end.high == min(high, VOICES[voice].high + finder.BEYOND)
    ups = asked[: asked.index(max(asked)) + 1]
    assert ups == list(range(first, max(asked) + 1))


def test_done_gives_a_dated_profile() -> None:
    end, _ = search("tenor", 49, 70)
    assert "D4" in end.prompt
    assert "G4" in end.prompt
    assert finder.profile(end) is None
    done = finder.transitions(end, second=66)
    profile = finder.profile(done)
    assert profile == SingerProfile("Robin", "tenor", 49, 70, 62, 66, DAY)
    assert "D♭3 to B♭4" in done.prompt or "C♯3 to B♭4" in done.prompt


def test_when_even_the_first_note_takes_effort_it_begins_lower_and_then_lets_be() -> None:
    at = finder.begin("Robin", "tenor", DAY)
    lower = finder.answer(at, "effort")
    assert lower.asked < at.asked
    end, _ = search("tenor", 0, 0)
    assert end.stage == "stopped"
    assert "another day" in end.hint


def test_pain_ends_it_with_advice() -> None:
    at = finder.answer(finder.begin("Robin", "alto", DAY), "easy")
    end = finder.answer(at, "pain")
    assert end.stage == "stopped"
    assert end.advice is not None
    assert end.advice.condition == "pain"
    assert finder.answer(end, "easy") == end


@pytest.mark.parametrize(
    ("off", "matched", "word"),
    [
        (0.0, True, "Heard"),
        (0.5, True, "Heard"),
        (-12.2, False, "octave"),
        (3.0, False, "nearer"),
        (12, False, "octave"),
    ],
)
def test_the_microphone_only_says_which_note_it_was(off: float, matched: bool, word: str) -> None:
    at = finder.begin("Robin", "soprano", DAY)
    heard = finder.heard(at, at.asked + off)
    assert heard.matched is matched
    assert word in heard.hint
    assert (heard.asked, heard.low, heard.high) == (at.asked, at.low, at.high)


def test_a_small_range_is_not_taken() -> None:
    first = finder.begin("Robin", "bass", DAY).asked
    end, _ = search("bass", first - 2, first + 3)
    assert end.stage == "stopped"


def test_when_to_measure_again() -> None:
    profile = SingerProfile("Robin", "tenor", 49, 70, 62, 67, DAY)
    assert finder.due(profile, DAY + timedelta(days=10)) == ""
    assert "again" in finder.due(profile, DAY + timedelta(days=100))
    assert "strained" in finder.due(replace(profile, strained_at=(69,)), DAY)
    assert "not yet yours" in finder.due(SingerProfile.default("Robin", "tenor"), DAY)


def test_an_easy_note_that_was_heard_as_another_is_asked_once_more() -> None:
    at = finder.begin("Robin", "tenor", DAY)
    octave_lower = finder.heard(at, at.asked - 12)
    asked_again = finder.answer(octave_lower, "easy")
    assert (asked_again.asked, asked_again.high) == (at.asked, 0)
    assert "answer again" in asked_again.hint
    assert finder.answer(asked_again, "easy").asked == at.asked + 1, "the singer has the last word"
    assert finder.answer(finder.heard(octave_lower, at.asked), "easy").asked == at.asked + 1
    assert finder.answer(octave_lower, "effort").asked < at.asked


def test_what_handbooks_say_stays_when_the_singer_sets_a_change() -> None:
    end, _ = search("tenor", 49, 70)
    assert replace(end, first_transition=65).prompt == end.prompt


@pytest.mark.parametrize("voice", VOICES)
def test_it_begins_low_in_the_voice(voice: VoiceType) -> None:
    first = finder.begin("Robin", voice, DAY).asked
    assert VOICES[voice].low < first <= VOICES[voice].first_transition + 2
