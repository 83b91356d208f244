"""No plan leaves the singer's limits, over thousands of voices and songs."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from tests.warmup.songs import reading_of, singers, songs
from tutor.music.table import NoteTable
from tutor.music.voice import Condition, SingerProfile
from tutor.warmup import limits
from tutor.warmup.check import broken
from tutor.warmup.model import BeyondVoice, Plan, RestAdvice
from tutor.warmup.plan import plan

CONDITIONS: list[Condition] = ["fresh", "a little tired", "tired"]
MANY = settings(max_examples=2000, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@MANY
@given(
    table=songs(),
    singer=singers(),
    minutes=st.floats(5, 30),
    condition=st.sampled_from(CONDITIONS),
    until=st.one_of(st.none(), st.floats(2, 300)),
    days=st.integers(0, 60),
    margin=st.integers(0, 2),
)
def test_every_plan_keeps_every_limit(
    table: NoteTable,
    singer: SingerProfile,
    minutes: float,
    condition: Condition,
    until: float | None,
    days: int,
    margin: int,
) -> None:
    given_ = plan(
        table,
        reading_of(table),
        singer,
        minutes=minutes,
        condition=condition,
        until_recording_min=until,
        days_since_singing=days,
        margin_semitones=margin,
    )
    assert not isinstance(given_, RestAdvice)
    if isinstance(given_, BeyondVoice):
        event("beyond the voice")
        assert _beyond(table, singer, margin)
        return
    event("reaches the note" if given_.reaches_target else "stays below the note")
    event(f"approach in {len([s for s in given_.steps if s.phase == 'approach'])} steps")
    _judge(given_, singer, minutes, until, margin)


def _judge(made: Plan, singer: SingerProfile, minutes: float, until: float | None, margin: int) -> None:
    """The limits, worked out here from the notes themselves and not by the planner's own check."""
    sung = [(t, 60 / p.bpm, s) for s in made.steps for p in s.phrases for t in p.tones if t.line == "voice"]
    assert sung
    assert max(t.midi for t, _, _ in sung) <= singer.high_midi + margin
    assert min(t.midi for t, _, _ in sung) >= singer.low_midi
    assert all(t.midi < n for t, _, _ in sung for n in singer.strained_at)
    for step in made.steps:
        assert all(abs(b - a) == 1 for a, b in pairwise(step.keys))
    total = sum(s.seconds for s in made.steps)
    assert total <= 60 * min(minutes, until or minutes) + 0.5
    singing = sum(t.duration_quarters * q for t, q, _ in sung)
    high = sum(t.duration_quarters * q for t, q, _ in sung if t.midi > made.transitions[1])
    assert high <= limits.HIGH_S.value
    assert high <= limits.HIGH_SHARE.value * singing + 1e-6
    assert singing <= limits.SUNG_SHARE.value * total + 1e-6
    assert _first_top(made) >= total / 3 - 1e-6
    assert made.full_tries <= limits.FULL_TRIES.value
    assert not broken(made, singer.low_midi)


def _beyond(table: NoteTable, singer: SingerProfile, margin: int) -> bool:
    """Above the comfortable top, or half of the song's time below the comfortable bottom."""
    sung = [(n.midi, n.duration_quarters) for n in table.notes if n.part == 0]
    below = sum(q for m, q in sung if m < singer.low_midi)
    return max(m for m, _ in sung) > singer.high_midi + margin or 2 * below >= sum(q for _, q in sung)


def _first_top(made: Plan) -> float:
    """When the highest note is first sung, counted afresh."""
    at, found = 0.0, []
    for step in made.steps:
        inside = at
        for phrase in step.phrases:
            found += [(-t.midi, inside + t.onset_quarters * 60 / phrase.bpm) for t in phrase.tones if t.line == "voice"]
            inside += phrase.length_quarters * 60 / phrase.bpm
        at += step.seconds
    return min(found)[1]
