"""Cases for the planner, in layers, and a judge that works every limit out from the notes themselves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from typing import Literal

from hypothesis import strategies as st

from tests.warmup.songs import Sung, reading_of, singers, songs, table_of
from tutor.errors import PlanRefused
from tutor.music.table import NoteTable
from tutor.music.voice import Condition, SingerProfile
from tutor.warmup.check import broken
from tutor.warmup.exercises import PHASES
from tutor.warmup.model import BeyondVoice, Given, Plan, Step
from tutor.warmup.plan import plan
from tutor.warmup.strains import lowest

Layer = Literal["roomy", "tight", "low", "beyond", "any"]
LAYERS: tuple[Layer, ...] = ("roomy", "tight", "low", "beyond", "any")
"""Where the song's top lies: well inside the voice, at its top, low in it, above it, or anywhere."""
CONDITIONS: tuple[Condition, ...] = ("fresh", "a little tired", "tired")
ON = date(2026, 11, 25)

HIGH_S, HIGH_SHARE, SUNG_SHARE, SUNG_S = 90.0, 0.25, 0.5, 900.0
"""The judge's own figures, so that a changed limit is noticed: seconds and share of singing above the upper
transition, share of singing in all, seconds of singing without a break."""
BREATH_S, AFTER_STEP_S, AFTER_TRY_S, TRIES, SEMI_OCCLUDED_S, OPENING = 1.5, 6.0, 60.0, 3, 300.0, 4
"""Silence of the singer from one time to the next, after a step and between tries, seconds; most tries; most time on
semi-occluded sounds; semitones by which a step may open above what was sung."""
STRAIN_HOLD, STRAIN_EASE = 14, 7
"""Days for which a note that strained is kept away from, and for each semitone after that."""


@dataclass(frozen=True, slots=True)
class Case:
    """One wish."""

    layer: Layer
    table: NoteTable
    singer: SingerProfile
    minutes: float
    condition: Condition
    until: float | None
    days: int
    margin: int

    def ask(self) -> Given:
        """What the planner gives."""
        return plan(
            self.table, reading_of(self.table), self.singer, minutes=self.minutes, condition=self.condition,
            until_recording_min=self.until, days_since_singing=self.days, margin_semitones=self.margin, on=ON,
        )  # fmt: skip


_LENGTHS = st.sampled_from((0.25, 0.5, 0.5, 1.0, 1.0, 1.5, 2.0, 4.0, 6.0))
_WORDS = st.sampled_from(("", "la", "night", "you"))


@st.composite
def cases(draw: st.DrawFn, layer: Layer | None = None) -> Case:
    """A wish from one layer, or from any."""
    chosen = layer if layer is not None else draw(st.sampled_from(LAYERS))
    singer, margin = draw(singers()), draw(st.sampled_from((0, 0, 1, 2)))
    if draw(st.booleans()):
        days = [ON - timedelta(days=draw(st.integers(0, 60))) for _ in singer.strained_at]
        singer = replace(singer, strained_on=tuple(days))
    return Case(
        chosen,
        draw(songs()) if chosen == "any" else draw(_song(_top(draw, chosen, singer, margin))),
        singer,
        draw(st.one_of(st.floats(5, 7), st.floats(7, 15), st.floats(15, 30))),
        draw(st.sampled_from(CONDITIONS)),
        draw(st.one_of(st.none(), st.floats(2, 9), st.floats(9, 40), st.floats(40, 300))),
        draw(st.sampled_from((0, 0, 3, 7, 14, 60))),
        margin,
    )


def _top(draw: st.DrawFn, layer: Layer, singer: SingerProfile, margin: int) -> int:
    """The song's highest note."""
    low, high = singer.low_midi, singer.high_midi
    if layer == "tight":
        return high + draw(st.integers(-1, margin))
    if layer == "beyond":
        return high + margin + draw(st.integers(1, 12))
    if layer == "low":
        return draw(st.integers(low + 2, max(low + 2, min(singer.first_transition, high))))
    return draw(st.integers(min(high - 2, max(low + 7, singer.second_transition - 3)), high - 2))


@st.composite
def _song(draw: st.DrawFn, top: int) -> NoteTable:
    """A song that reaches a note once or more, near its end, its middle or its beginning."""
    bottom = top - draw(st.integers(4, 22))
    note = st.tuples(st.one_of(st.integers(bottom, top), st.just(0)), _LENGTHS, _WORDS)
    before, after = draw(st.lists(note, min_size=2, max_size=14)), draw(st.lists(note, max_size=8))
    peak: list[Sung] = [(top, draw(_LENGTHS), draw(_WORDS))]
    return table_of(
        [*before, *peak, *after], bpm=draw(st.sampled_from((48.0, 72.0, 96.0, 132.0, 180.0))),
        fifths=draw(st.integers(-6, 6)),
    )  # fmt: skip


def judge(case: Case, given: Given) -> str:
    """Assert every limit; gives a word for what came of the case."""
    if isinstance(given, BeyondVoice):
        assert beyond(case, half=True)
        assert given.caution
        for fit in given.keys:
            assert fit.upper_reserve >= -case.margin
        return "beyond the voice"
    assert isinstance(given, Plan)
    assert not beyond(case, half=False)
    _heights(case, given)
    _times(case, given)
    _approach(given)
    for step in given.steps:
        assert step.source
        assert f"bar {step.bar}" in step.because
        assert all(abs(b - a) == 1 for a, b in pairwise(step.keys))
    order = [PHASES.index(s.phase) for s in given.steps]
    assert order == sorted(order)
    assert given.caution
    assert not broken(given, case.singer.low_midi)
    return "reaches the note" if given.reaches_target else "stays below the note"


def _sung(made: Plan) -> list[tuple[float, int, float, Step]]:
    """Start, note, seconds and step of everything sung, counted afresh."""
    at, found = 0.0, []
    for step in made.steps:
        inside = at
        for phrase in step.phrases:
            beat = 60 / phrase.bpm
            found += [
                (inside + t.onset_quarters * beat, t.midi, t.duration_quarters * beat, step)
                for t in phrase.tones
                if t.line == "voice"
            ]
            inside += phrase.length_quarters * beat
        at += step.seconds
    return found


def _heights(case: Case, made: Plan) -> None:
    singer, sung = case.singer, _sung(made)
    assert sung
    top = max(m for _, m, _, _ in sung)
    assert top <= singer.high_midi + case.margin
    assert min(m for _, m, _, _ in sung) >= singer.low_midi
    for midi, on in zip(singer.strained_at, (*singer.strained_on, None, None), strict=False):
        if on is None or (ON - on).days < STRAIN_HOLD + STRAIN_EASE:
            assert top < midi
    held = lowest(singer, ON, singer.high_midi + case.margin)
    assert held is None or top <= held.top
    if case.condition == "tired":
        assert not made.reaches_target or top <= singer.low_midi + 7
    reached = 0
    for step in (s for s in made.steps if s.phrases):
        assert not reached or max(t.midi for t in step.phrases[0].tones if t.line == "voice") <= reached + OPENING
        reached = max(reached, *(t.midi for p in step.phrases for t in p.tones if t.line == "voice"))


def _times(case: Case, made: Plan) -> None:
    sung, total = _sung(made), sum(s.seconds for s in made.steps)
    assert total <= 60 * min(case.minutes, case.until or case.minutes) + 0.5
    for step in made.steps:
        if step.phrases:
            length = sum(p.length_quarters * 60 / p.bpm for p in step.phrases)
            assert abs(step.seconds - length - step.rest_s) < 0.01
    singing = sum(s for _, _, s, _ in sung)
    change = max(case.singer.first_transition, case.singer.second_transition)
    high = sum(s for _, m, s, _ in sung if m > change)
    assert high <= HIGH_S
    assert high <= HIGH_SHARE * singing + 1e-6
    assert singing <= SUNG_SHARE * total + 1e-6
    assert singing <= SUNG_S
    assert min((-m, at) for at, m, _, _ in sung)[1] >= total / 3 - 1e-6
    assert sum(s.seconds for s in made.steps if s.phase == "semi-occluded") <= SEMI_OCCLUDED_S
    _rests(made)


def _rests(made: Plan) -> None:
    """The singer breathes from one time to the next, and has silence after every step; more between tries."""
    tries = [s for s in made.steps if s.dynamic == "full voice"]
    for step in (s for s in made.steps if s.phrases):
        spans = []
        at = 0.0
        for p in step.phrases:
            sung = [(t.onset_quarters, t.end_quarters) for t in p.tones if t.line == "voice"]
            spans.append((at + min(a for a, _ in sung) * 60 / p.bpm, at + max(b for _, b in sung) * 60 / p.bpm))
            at += p.length_quarters * 60 / p.bpm
        assert all(after[0] - before[1] >= BREATH_S for before, after in pairwise(spans))
        silence = step.seconds - spans[-1][1]
        assert silence >= AFTER_STEP_S
        assert step not in tries[:-1] or silence >= AFTER_TRY_S


def _approach(made: Plan) -> None:
    """Lowered first, stepwise up, half before full voice, few tries with rests; the notes are the song's."""
    steps = [s for s in made.steps if s.phase == "approach"]
    tries = [s for s in steps if s.dynamic == "full voice"]
    assert len(tries) <= TRIES
    assert all(len(s.phrases) == 1 for s in tries)
    assert all(s.rest_s >= AFTER_TRY_S for s in tries[:-1])
    if not steps:
        return
    climb, half = steps[:2]
    assert (climb.vowel, climb.dynamic, half.dynamic) == ("noo", "soft", "half voice")
    assert list(climb.tops) == list(range(climb.tops[0], climb.tops[-1] + 1))
    assert half.tops[0] == climb.tops[-1]
    assert not tries or {s.tops[0] for s in tries} == {made.target.midi}
    shapes = [[t.midi for t in p.tones if t.line == "voice"] for s in steps for p in s.phrases]
    assert len({tuple(b - a for a, b in pairwise(shape)) for shape in shapes}) == 1


def beyond(case: Case, *, half: bool) -> bool:
    """Above the comfortable top, or more than half of the song's time below the comfortable bottom.

    Args:
        case: the wish.
        half: whether exactly half counts; either is right.
    """
    sung = [(n.midi, n.duration_quarters) for n in case.table.notes if n.part == 0]
    below, whole = sum(q for m, q in sung if m < case.singer.low_midi), sum(q for _, q in sung)
    deep = 2 * below >= whole - 1e-9 if half else 2 * below > whole + 1e-9
    return deep or max(m for m, _ in sung) > case.singer.high_midi + case.margin


def run(case: Case) -> str:
    """Plan and judge; a refusal is allowed where a strained note leaves too little."""
    try:
        given = case.ask()
    except PlanRefused as refused:
        if "strains" not in refused.line:
            raise
        return "refused: too little is left below a strained note"
    return judge(case, given)
