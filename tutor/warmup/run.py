"""Leading a warm-up: a pure state machine.

::

    ready --start--> going --time--> resting --time--> going (next step) ... --> finished
    going, resting --pause--> paused --go_on--> where it was
    going, resting --time, before the cool-down--> recording --go_on--> going
    going --strains--> strained --go_on--> going, downward and never that high again
                                --come_down--> the cool-down
                                --stop--> stopped

Time is passed in with `tick`; sound and screen only follow the state.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Literal

from tutor.music.phrase import Phrase
from tutor.music.shape import shaped
from tutor.music.voice import SingerProfile
from tutor.warmup.facts import move_of
from tutor.warmup.model import Plan, Step, plan_from_json, plan_json
from tutor.warmup.strains import remember

State = Literal["ready", "going", "resting", "paused", "recording", "strained", "finished", "stopped"]
OVER: tuple[State, ...] = ("finished", "stopped")
TONE = 2
"""Semitones of 'lower by a tone'."""


@dataclass(frozen=True, slots=True)
class Run:
    """Where a led warm-up stands."""

    plan: Plan
    state: State = "ready"
    step: int = 0
    """Index of the step."""
    repetition: int = 0
    """Index of the key within the step."""
    at_s: float = 0.0
    """Seconds into the repetition, or into the rest."""
    before: State = "going"
    """What a pause interrupted."""
    down: bool = False
    """True while the keys of this step are taken downward, after a strain."""
    lowered: int = 0
    """Semitones by which everything is sung lower than planned."""
    ceiling: int = 0
    """Highest note still allowed after a strain, MIDI; 0 without one."""
    strained: tuple[int, ...] = ()
    """Notes at which the singer said that it strains, latest last."""
    sung: tuple[tuple[int, int, int], ...] = ()
    """Step, repetition and sounding top note of everything sung, in order."""
    waits: bool = False
    """True when the next key waits until the pattern was heard."""
    heard_now: bool = False
    """True when the pattern of this repetition was heard."""

    @property
    def current(self) -> Step:
        """The step."""
        return self.plan.steps[min(self.step, len(self.plan.steps) - 1)]

    @property
    def phrase(self) -> Phrase | None:
        """What the piano plays now, lowering included; None in a step without music."""
        if not self.current.phrases:
            return None
        return lowered(self.current.phrases[self.repetition], self.lowered)

    @property
    def top(self) -> int:
        """Highest note of this repetition as sung, MIDI; 0 without singing."""
        tops = self.current.tops
        return tops[self.repetition] - self.lowered if tops else 0

    @property
    def singing(self) -> bool:
        """True from the first sung note of this repetition on, and in the rest after it."""
        phrase = self.phrase
        if phrase is None:
            return False
        first = min(t.onset_quarters for t in phrase.tones if t.line == "voice")
        return self.resting or self.at_s >= first * 60 / phrase.bpm

    @property
    def resting(self) -> bool:
        """True in the silence after a step, a pause of it included."""
        return self.state == "resting" or (self.state == "paused" and self.before == "resting")

    @property
    def left_s(self) -> float:
        """Seconds until the next thing happens by itself."""
        return max(0.0, self._length_s() - self.at_s)

    @property
    def over(self) -> bool:
        """True when nothing more will happen."""
        return self.state in OVER

    def _length_s(self) -> float:
        if self.resting or (not self.current.phrases and self.current.rest_s):
            return self.current.rest_s
        phrase = self.phrase
        return phrase.length_s if phrase else self.current.seconds


def lowered(phrase: Phrase, semitones: int) -> Phrase:
    """A phrase moved down by semitones; the count-in stays."""
    return phrase.moved(*move_of(-semitones, phrase.fifths)) if semitones else phrase


def start(plan: Plan, *, waits: bool = False) -> Run:
    """A run at its first screen, with the caution; `begin` sets it going."""
    return Run(plan, waits=waits)


def begin(run: Run) -> Run:
    """Leave the first screen."""
    return replace(run, state="going") if run.state == "ready" else run


def tick(run: Run, seconds: float) -> Run:
    """Let time pass; moves on through keys, rests and steps."""
    left = seconds
    while left > 0 and run.state in ("going", "resting"):
        if run.left_s > left:
            return replace(run, at_s=run.at_s + left)
        held = run.waits and not run.heard_now and run.state == "going" and run.current.phrases
        if held:
            return replace(run, at_s=run._length_s())
        left -= run.left_s
        run = _on(run)
    return run


def heard(run: Run) -> Run:
    """The pattern was heard from the singer: a waiting run may move on."""
    return replace(run, heard_now=True) if run.state == "going" else run


def next_(run: Run) -> Run:
    """Move on at once: to the next key, or out of a rest."""
    if run.state == "ready":
        return begin(run)
    if run.state == "recording":
        return pause(run)
    return _on(run) if run.state in ("going", "resting") else run


def pause(run: Run) -> Run:
    """Hold everything; a paused run goes on where it was, and one that waits for the recording with the cool-down."""
    if run.state == "paused":
        return replace(run, state=run.before)
    if run.state == "recording":
        return replace(run, state="going")
    return replace(run, state="paused", before=run.state) if run.state in ("going", "resting") else run


def repeat(run: Run) -> Run:
    """The same key again, from its chord. A full-voice try is not repeated: it counts, and another follows or not."""
    if run.state not in ("going", "resting") or (run.state == "resting" and run.current.dynamic == "full voice"):
        return run
    if run.state == "going" and run.current.dynamic == "full voice" and run.at_s > 0:
        return run
    return replace(run, state="going", at_s=0.0, heard_now=False)


def skip(run: Run) -> Run:
    """Leave this step."""
    return _enter(run, run.step + 1) if run.state in ("ready", "going", "resting", "recording") else run


def lower(run: Run) -> Run:
    """Sing everything from here a tone lower, as far as the comfortable bottom allows."""
    if run.state not in ("ready", "going", "resting", "paused"):
        return run
    room = run.current.low_midi - run.lowered - run.plan.bottom if run.current.keys else TONE
    by = min(TONE, max(0, room))
    return replace(run, lowered=run.lowered + by, at_s=0.0 if run.state == "going" else run.at_s, heard_now=False)


def strains(run: Run) -> Run:
    """“This strains”: stop the ascent at once, remember the note, and offer to end.

    Where the singer has not begun to sing this key yet, it is the last one sung that strained.
    """
    if run.state not in ("going", "resting", "paused"):
        return run
    note = run.top if run.singing or not run.sung else run.sung[-1][2]
    if not note:
        return replace(run, state="strained")
    ceiling = min(run.ceiling or note, note) - 1
    return replace(run, state="strained", at_s=0.0, strained=(*run.strained, note), ceiling=ceiling)


def go_on(run: Run) -> Run:
    """Go on after a pause, or after a strain: downward through the keys already sung, and never that high again."""
    if run.state in ("paused", "recording"):
        return pause(run)
    if run.state != "strained":
        return run
    if not run.current.keys:
        return replace(run, state="going", at_s=0.0)
    for k in range(run.repetition - 1, -1, -1):
        if _fits(run, run.step, k):
            return replace(run, state="going", repetition=k, down=True, at_s=0.0, heard_now=False)
    return _enter(run, run.step + 1)


def come_down(run: Run) -> Run:
    """End softly: go to the cool-down."""
    for k in range(run.step, len(run.plan.steps)):
        if run.plan.steps[k].phase == "cool-down":
            return pause(entered) if (entered := _enter(run, k)).state == "recording" else entered
    return replace(run, state="stopped")


def stop(run: Run) -> Run:
    """End now."""
    return replace(run, state="stopped") if not run.over else run


def _fits(run: Run, step: int, repetition: int) -> bool:
    """True where a repetition stays under the ceiling and above the comfortable bottom."""
    at = run.plan.steps[step]
    if not at.keys:
        return True
    midi = [t.midi - run.lowered for t in at.phrases[repetition].tones if t.line == "voice"]
    return (not run.ceiling or max(midi) <= run.ceiling) and min(midi) >= run.plan.bottom


def _on(run: Run) -> Run:
    """The next key, the rest, or the next step."""
    if run.state == "resting":
        return _enter(run, run.step + 1)
    step = run.current
    if step.keys:
        run = replace(run, sung=(*run.sung, (run.step, run.repetition, run.top)))
    following = range(run.repetition - 1, -1, -1) if run.down else range(run.repetition + 1, len(step.keys))
    for k in following:
        if _fits(run, run.step, k):
            return replace(run, repetition=k, at_s=0.0, heard_now=False)
    if step.keys and step.rest_s > 0:
        return replace(run, state="resting", at_s=0.0, heard_now=False)
    return _enter(run, run.step + 1)


def _enter(run: Run, step: int) -> Run:
    """The first step from ``step`` on of which some key may still be sung."""
    for s in range(step, len(run.plan.steps)):
        keys = range(max(1, len(run.plan.steps[s].keys)))
        first = next((k for k in keys if _fits(run, s, k)), None)
        if first is not None:
            entered = replace(run, state="going", step=s, repetition=first, at_s=0.0, down=False, heard_now=False)
            return replace(entered, state="recording") if _waits_for_recording(run, s) else entered
    return replace(run, state="finished", at_s=0.0)


def _waits_for_recording(run: Run, step: int) -> bool:
    """True where the song is recorded before the next step: the cool-down comes after it, unless a note strained."""
    at, before = run.plan.steps[step], run.plan.steps[step - 1]
    return at.phase == "cool-down" and step > 0 and before.phase != "cool-down" and not run.strained


def remembered(singer: SingerProfile, run: Run, on: date) -> SingerProfile:
    """The profile with the notes of this run that strained, so that the next plan stays below them."""
    for midi in dict.fromkeys(run.strained):
        singer = remember(singer, midi, on)
    return singer


@dataclass(frozen=True, slots=True)
class Mark:
    """One repetition in the picture of the ascent."""

    at_s: float
    """Planned start, seconds from the beginning."""
    top: int
    """Highest note, MIDI, as planned or as sung."""
    step: int
    done: bool
    now: bool


@dataclass(frozen=True, slots=True)
class Ascent:
    """The climb as a picture: every repetition's top note against the lines that matter."""

    marks: tuple[Mark, ...]
    transitions: tuple[int, int]
    today_top: int
    song_top: int
    ceiling: int
    """Highest note after a strain; 0 without one."""
    seconds: float
    """Length of the plan."""


def ascent(run: Run) -> Ascent:
    """Values for the picture."""
    done = {(s, r): top for s, r, top in run.sung}
    marks: list[Mark] = []
    at = 0.0
    for s, step in enumerate(run.plan.steps):
        inside = at
        for r, (top, length) in enumerate(zip(step.tops, step.repetition_s, strict=True)):
            now = (s, r) == (run.step, run.repetition) and not run.over and run.state != "ready"
            marks.append(Mark(round(inside, 3), done.get((s, r), top - run.lowered), s, (s, r) in done, now))
            inside += length
        at += step.seconds
    plan = run.plan
    return Ascent(tuple(marks), plan.transitions, plan.today_top, plan.target.midi, run.ceiling, plan.seconds)


def run_json(run: Run) -> dict[str, Any]:
    """A plain value that survives quitting."""
    return {
        "plan": plan_json(run.plan),
        **{k: getattr(run, k) for k in ("state", "step", "repetition", "at_s", "before", "down", "lowered")},
        **{k: getattr(run, k) for k in ("ceiling", "waits", "heard_now")},
        "strained": list(run.strained),
        "sung": [list(x) for x in run.sung],
    }


def run_from_json(raw: dict[str, Any]) -> Run:
    """Rebuild a run from `run_json`; one that was going comes back paused.

    Raises:
        ValueError: the value is no run.
    """
    try:
        kept = dict(raw)
        kept["plan"] = plan_from_json(raw["plan"])
        kept["strained"] = tuple(int(x) for x in raw["strained"])
        kept["sung"] = tuple((int(s), int(r), int(t)) for s, r, t in raw["sung"])
        run = shaped(Run(**kept))
        if not 0 <= run.step < len(run.plan.steps) or not 0 <= run.repetition < max(1, len(run.current.keys)):
            raise ValueError("the place lies outside the plan")
    except (KeyError, TypeError, AttributeError, IndexError, ArithmeticError) as error:
        raise ValueError(f"not a run: {error}") from error
    return pause(run) if run.state in ("going", "resting") else run
