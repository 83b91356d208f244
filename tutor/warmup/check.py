"""Does a plan keep every limit? Used while planning, and by the tests over thousands of voices and songs."""

from __future__ import annotations

from itertools import pairwise

from tutor.warmup import limits
from tutor.warmup.model import Plan


def broken(plan: Plan, low: int) -> list[str]:
    """Every limit that a plan breaks, one line each; empty when it keeps them all.

    Args:
        plan: the plan.
        low: the singer's comfortable bottom, MIDI.
    """
    return [*_heights(plan, low), *_times(plan), *_steps(plan)]


def _heights(plan: Plan, low: int) -> list[str]:
    found = [f"{s.exercise} goes above today's top" for s in plan.steps if s.top_midi > plan.today_top]
    found += [f"{s.exercise} goes below the comfortable bottom" for s in plan.steps if s.keys and s.low_midi < low]
    reached = 0
    for step in plan.steps:
        if not step.keys:
            continue
        if reached and step.tops[0] > reached + limits.OPENING.value:
            found.append(f"{step.exercise} opens too high")
        reached = max(reached, step.top_midi)
    return found


def _times(plan: Plan) -> list[str]:
    found = []
    sung = plan.sung_s
    high = sum(s.sung_above_s(plan.transitions[1]) for s in plan.steps)
    if plan.seconds > plan.minutes * 60 + 0.5:
        found.append("longer than the time given")
    if high > limits.HIGH_S.value or high > limits.HIGH_SHARE.value * sung + 1e-6:
        found.append("too much above the upper transition")
    if sung > limits.SUNG_SHARE.value * plan.seconds + 1e-6:
        found.append("too little rest")
    if sung > limits.SUNG_BEFORE_BREAK_S.value:
        found.append("too much singing without a break")
    if plan.top_at_s() < plan.seconds * limits.FIRST_THIRD.value - 1e-6:
        found.append("the highest note comes too early")
    if plan.seconds_of("semi-occluded") > limits.SEMI_OCCLUDED_MOST_S.value:
        found.append("too long on semi-occluded sounds")
    if plan.seconds_of("cool-down") > limits.COOL_DOWN_MOST_S.value:
        found.append("too long a cool-down")
    if plan.seconds_of("approach") > limits.APPROACH_SHARE.value * plan.seconds + 1e-6:
        found.append("the approach leaves too little for the rest")
    return found


def _steps(plan: Plan) -> list[str]:
    found = [
        f"{s.exercise} jumps between keys"
        for s in plan.steps
        if any(abs(b - a) != limits.STEP.value for a, b in pairwise(s.keys))
    ]
    if plan.full_tries > limits.FULL_TRIES.value:
        found.append("too many full-voice tries")
    tries = [s for s in plan.steps if s.dynamic == "full voice"]
    if any(s.rest_s < limits.TRY_REST_S.value for s in tries[:-1]):
        found.append("too little rest between full-voice tries")
    return found
