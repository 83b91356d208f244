"""Leading a warm-up: time, wishes, strain, and quitting in between."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.warmup.presses import PLAN, SINGER, WISHES, planned, press
from tutor.music.voice import Strain
from tutor.warmup import run as led
from tutor.warmup.model import plan_from_json, plan_json
from tutor.warmup.run import Run


def at_step(phase: str, repetition: int = 0) -> Run:
    """A run that has just come to a phase, and so many keys into it."""
    run = led.begin(led.start(PLAN))
    while run.current.phase != phase:
        run = led.skip(run)
    for _ in range(repetition):
        run = led.next_(run)
    return run


def singing(run: Run) -> Run:
    """The same, as the first note is sung."""
    while not run.singing:
        run = led.tick(run, 0.25)
    return run


def test_hands_free_it_takes_as_long_as_the_plan() -> None:
    run = led.begin(led.start(PLAN))
    cool = PLAN.seconds_of("cool-down")
    almost = led.tick(run, PLAN.seconds - cool - 0.5)
    assert almost.state == "resting"
    ready = led.tick(almost, 1.0)
    assert ready.state == "recording", "the cool-down waits for the recording"
    assert led.tick(ready, 3600) == ready
    almost = led.tick(led.go_on(ready), cool - 0.5)
    assert not almost.over
    done = led.tick(almost, 1.0)
    assert done.state == "finished"
    assert len(done.sung) == sum(len(s.keys) for s in PLAN.steps)
    assert [t for _, _, t in done.sung] == [t for s in PLAN.steps for t in s.tops]


def test_the_recording_may_come_another_time_or_not_at_all() -> None:
    ready = led.tick(led.begin(led.start(PLAN)), PLAN.seconds)
    assert ready.state == "recording"
    assert led.next_(ready).state == led.pause(ready).state == led.come_down(ready).state == "going"
    assert led.skip(ready).state == "finished"
    assert led.stop(ready).state == "stopped"
    assert led.strains(ready) == ready
    back = led.run_from_json(json.loads(json.dumps(led.run_json(ready))))
    assert back == ready


def test_small_ticks_and_large_ones_come_to_the_same() -> None:
    run = led.begin(led.start(PLAN))
    small = run
    for _ in range(400):
        small = led.tick(small, 0.25)
    large = led.tick(run, 100.0)
    assert (small.step, small.repetition, small.state) == (large.step, large.repetition, large.state)
    assert small.at_s == pytest.approx(large.at_s, abs=1e-6)


def test_nothing_happens_before_the_first_screen_is_left_or_in_a_pause() -> None:
    first = led.start(PLAN)
    assert led.tick(first, 1000) == first
    held = led.pause(led.begin(first))
    assert led.tick(held, 1000) == held
    assert led.pause(held).state == "going"


def test_a_waiting_run_moves_only_when_the_pattern_was_heard() -> None:
    run = replace(at_step("semi-occluded"), waits=True)
    still = led.tick(run, 60)
    assert (still.step, still.repetition) == (run.step, run.repetition)
    moved = led.tick(led.heard(still), 0.1)
    assert moved.repetition == run.repetition + 1
    assert not moved.heard_now


def test_next_repeat_and_skip() -> None:
    run = at_step("five notes")
    second = led.next_(run)
    assert second.repetition == 1
    again = led.repeat(led.tick(second, 2.0))
    assert (again.repetition, again.at_s) == (1, 0.0)
    assert led.skip(run).step == run.step + 1


def test_a_full_voice_try_is_not_repeated() -> None:
    run = at_step("approach")
    while run.current.dynamic != "full voice":
        run = led.skip(run)
    resting = led.tick(run, run.left_s + 1)
    assert resting.state == "resting"
    assert led.repeat(resting) == resting


def test_lower_by_a_tone_lowers_what_is_heard_and_sung() -> None:
    run = at_step("octave")
    before = run.phrase
    after = led.lower(run)
    assert before is not None
    assert after.phrase is not None
    assert after.top == run.top - 2
    for old, new in zip(before.tones, after.phrase.tones, strict=True):
        assert new.midi == (old.midi if old.line == "click" else old.midi - 2)
    deep = run
    for _ in range(20):
        deep = led.lower(deep)
    assert deep.current.low_midi - deep.lowered >= PLAN.bottom


def test_lowered_keys_that_would_lie_too_low_are_left_out() -> None:
    run = at_step("approach")
    for _ in range(5):
        run = led.lower(run)
    by = run.lowered
    lows: list[int] = []
    while not run.over:
        if run.phrase is not None:
            lows += [t.midi for t in run.phrase.tones if t.line == "voice"]
        run = led.next_(run)
    assert min(lows) >= PLAN.bottom
    assert min(s.low_midi for s in PLAN.steps if s.phase == "cool-down") - by < PLAN.bottom


def test_strain_stops_the_ascent_goes_down_and_is_remembered() -> None:
    run = singing(at_step("approach", 3))
    high = run.top
    held = led.strains(run)
    assert held.state == "strained"
    assert held.strained == (high,)
    assert led.tick(held, 100) == held
    down = led.go_on(held)
    assert down.top == high - 1
    tops = []
    while not down.over:
        tops.append(down.top)
        down = led.tick(down, down.left_s + 0.01)
    assert max(tops) < high
    assert all(s.dynamic != "full voice" for s in (PLAN.steps[k] for k, _, _ in down.sung))
    singer = led.remembered(SINGER, down, date(2026, 3, 3))
    assert singer.strains == (Strain(high, date(2026, 3, 3)),)
    assert planned(singer=singer).top_midi < high


def test_a_strain_told_before_the_next_key_is_sung_means_the_last_one() -> None:
    run = at_step("approach", 3)
    high = run.top - 1
    held = led.strains(run)
    assert held.strained == (high,)
    assert led.go_on(held).top == high - 1
    assert led.strains(led.pause(run)).strained == (high,)
    assert led.strains(singing(run)).strained == (run.top,)


def test_a_strain_told_in_the_rest_or_in_a_step_without_notes_means_the_last_note_sung() -> None:
    run = at_step("semi-occluded")
    while run.state != "resting":
        run = led.tick(run, 1.0)
    assert led.strains(run).strained == (run.top,) == (run.sung[-1][2],)
    quiet = led.begin(led.start(PLAN))
    assert led.strains(quiet).strained == ()
    assert led.go_on(led.strains(quiet)).state == "going"


def test_after_a_strain_the_end_is_offered_softly_or_at_once() -> None:
    held = led.strains(at_step("approach", 2))
    assert led.come_down(held).current.phase == "cool-down"
    assert led.stop(held).state == "stopped"


@settings(max_examples=80, deadline=None)
@given(wishes=WISHES, minutes=st.sampled_from([5, 12]), waits=st.booleans())
def test_whatever_the_singer_presses_no_limit_is_left(
    wishes: list[tuple[str, float]], minutes: float, waits: bool
) -> None:
    press(wishes, minutes, waits)


def test_plans_and_runs_survive_storing() -> None:
    assert plan_from_json(json.loads(json.dumps(plan_json(PLAN)))) == PLAN
    run = led.tick(led.begin(led.start(PLAN)), 200)
    back = led.run_from_json(json.loads(json.dumps(led.run_json(run))))
    assert back.state == "paused"
    assert led.pause(back) == run


@pytest.mark.parametrize("raw", [{}, {"plan": {}}, {"plan": None}])
def test_what_is_no_run_is_refused(raw: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="not a"):
        led.run_from_json(raw)


def test_a_place_outside_the_plan_is_refused() -> None:
    raw = led.run_json(led.start(PLAN))
    with pytest.raises(ValueError, match="outside"):
        led.run_from_json({**raw, "step": 99})


def test_the_picture_of_the_climb() -> None:
    run = led.tick(led.begin(led.start(PLAN)), 200)
    picture = led.ascent(run)
    assert len(picture.marks) == sum(len(s.keys) for s in PLAN.steps)
    assert sum(m.now for m in picture.marks) <= 1
    assert sum(m.done for m in picture.marks) == len(run.sung)
    assert picture.song_top == 69
    assert picture.today_top == 73
    assert picture.transitions == (62, 67)
    times = [m.at_s for m in picture.marks]
    assert times == sorted(times)
