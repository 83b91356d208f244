"""Whatever the singer presses while a warm-up is led: a property, for the tests and for the bench."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace

from hypothesis import strategies as st

from tests.warmup.songs import LANTERN, reading_of, table_of
from tutor.music.voice import SingerProfile
from tutor.warmup import run as led
from tutor.warmup.model import Plan
from tutor.warmup.plan import plan
from tutor.warmup.run import Run

TABLE = table_of(LANTERN, fifths=1)
READING = reading_of(TABLE)
SINGER = replace(SingerProfile.default("Robin", "tenor"), high_midi=73)


def planned(minutes: float = 12, singer: SingerProfile = SINGER) -> Plan:
    """A plan for the tenor and the song of the tests."""
    found = plan(TABLE, READING, singer, minutes=minutes)
    assert isinstance(found, Plan)
    return found


PLAN, SHORT = planned(), planned(5)

_ACTIONS: dict[str, Callable[[Run], Run]] = {
    "next": led.next_, "pause": led.pause, "repeat": led.repeat, "skip": led.skip, "lower": led.lower,
    "strains": led.strains, "go_on": led.go_on, "come_down": led.come_down, "heard": led.heard,
}  # fmt: skip
WISHES = st.lists(st.tuples(st.sampled_from(["tick", *_ACTIONS]), st.floats(0.1, 40)), max_size=60)
"""What is pressed, and how long is waited."""


def press(wishes: Sequence[tuple[str, float]], minutes: float, waits: bool) -> str:
    """Press all of it and assert that no limit is left; gives the state in the end."""
    made = PLAN if minutes == 12 else SHORT
    run = led.begin(led.start(made, waits=waits))
    strained: list[tuple[int, int]] = []
    for name, seconds in wishes:
        before, run = run, led.tick(run, seconds) if name == "tick" else _ACTIONS[name](run)
        if len(run.strained) > len(before.strained):
            strained.append((run.strained[-1], len(run.sung)))
            last = before.sung[-1][2] if before.sung else before.top
            assert run.strained[-1] == (before.top if before.singing else last)
        assert run.top <= made.today_top
        if run.state in ("going", "resting") and run.current.keys and run.ceiling:
            assert run.top <= run.ceiling or run.state == "resting"
        assert not before.ceiling or run.ceiling <= before.ceiling
        if run.phrase is not None and run.state == "going":
            assert min(t.midi for t in run.phrase.tones if t.line == "voice") >= made.bottom
    back = led.run_from_json(json.loads(json.dumps(led.run_json(run))))
    assert replace(back, state=run.state, before=run.before) == run
    for note, sung_before in strained:
        assert all(t < note for _, _, t in run.sung[sung_before:])
    return run.state
