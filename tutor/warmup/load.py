"""The weekly load of a voice: time dose and cycle dose from the diary, and a caution when it jumps.

Names and definitions: time dose (seconds of voicing) and cycle dose (oscillations of the folds), I. Titze, J. Švec and
P. Popolo, JSLHR 46(4), 2003, 919-932 (names seen, formulas recalled). A plan or a score carries no loudness, so no
distance dose is given. There is no agreed safe limit for singers (NCVS, safety thresholds of phonation, seen): the
caution compares a singer with the same singer's own weeks, and its threshold is a choice of ours.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from tutor.music.voice import Feeling
from tutor.warmup.model import Plan
from tutor.warmup.run import Run
from tutor.warmup.words import span

JUMP = 1.5
"""A week this many times the mean of the weeks before it is called a jump (a choice of ours)."""
WEEKS_BEFORE = 4
"""Weeks that a week is compared with (a choice of ours)."""
LEAST_S = 600.0
"""A week of less singing than this, seconds, is never called a jump (a choice of ours)."""
_ORDER: tuple[Feeling, ...] = ("easy", "all right", "effortful", "strained")


@dataclass(frozen=True, slots=True)
class DiaryEntry:
    """One warm-up, practice or performance."""

    on: date
    """Local day."""
    time_s: float
    """Time dose: seconds of voicing."""
    cycles: float
    """Cycle dose: oscillations."""
    before: Feeling | None = None
    """How the voice felt before."""
    after: Feeling | None = None
    """How it felt after."""
    strained_at: tuple[int, ...] = ()
    """Notes that strained, MIDI."""
    song: str = ""
    """Title of the song."""
    number: int = 0
    """Its number in the store; 0 where it is not stored."""


@dataclass(frozen=True, slots=True)
class Week:
    """The load of one week."""

    monday: date
    entries: int
    time_s: float
    """Time dose, seconds."""
    cycles: float
    """Cycle dose, oscillations."""
    worse: int
    """Entries after which the voice felt worse than before."""
    strained: int
    """Entries in which a note strained."""
    caution: str
    """Empty, or one sentence."""


def dose(notes: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Time dose in seconds and cycle dose of (hertz, seconds) pairs."""
    time_s = cycles = 0.0
    for hz, seconds in notes:
        time_s += seconds
        cycles += hz * seconds
    return time_s, cycles


def plan_dose(plan: Plan) -> tuple[float, float]:
    """Doses of a whole plan as written."""
    return dose(
        (t.pitch.hz, t.duration_quarters * 60 / p.bpm)
        for s in plan.steps
        for p in s.phrases
        for t in p.tones
        if t.line == "voice"
    )


def run_dose(run: Run) -> tuple[float, float]:
    """Doses of what was really sung in a run, lowering included."""
    notes: list[tuple[float, float]] = []
    for step, repetition, top in run.sung:
        at = run.plan.steps[step]
        phrase = at.phrases[repetition]
        down = at.tops[repetition] - top
        notes += [
            (float(t.pitch.hz * 2 ** (-down / 12)), t.duration_quarters * 60 / phrase.bpm)
            for t in phrase.tones
            if t.line == "voice"
        ]
    return dose(notes)


def weeks(entries: Iterable[DiaryEntry], until: date) -> tuple[Week, ...]:
    """The weeks from the first entry to the week of ``until``, oldest first; weeks without singing are there too.

    Args:
        entries: the diary, in any order; entries after ``until`` are left out.
        until: a day of the last week.
    """
    kept = [e for e in entries if e.on <= until]
    if not kept:
        return ()
    monday = _monday(min(e.on for e in kept))
    found: list[Week] = []
    while monday <= until:
        inside = [e for e in kept if _monday(e.on) == monday]
        time_s = sum(e.time_s for e in inside)
        found.append(
            Week(
                monday=monday,
                entries=len(inside),
                time_s=time_s,
                cycles=sum(e.cycles for e in inside),
                worse=sum(_worse(e) for e in inside),
                strained=sum(bool(e.strained_at) or e.after == "strained" for e in inside),
                caution=_caution(time_s, inside, found),
            )
        )
        monday += timedelta(days=7)
    return tuple(found)


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _worse(entry: DiaryEntry) -> bool:
    if entry.before is None or entry.after is None:
        return False
    return _ORDER.index(entry.after) > _ORDER.index(entry.before)


def _caution(time_s: float, inside: list[DiaryEntry], before: list[Week]) -> str:
    recent = [w.time_s for w in before[-WEEKS_BEFORE:]]
    mean = sum(recent) / len(recent) if recent else 0.0
    if recent and time_s >= LEAST_S and time_s > JUMP * mean:
        usual = f"your usual {span(mean)}" if mean >= 1 else "weeks without singing"
        return (
            f"You sang {span(time_s)} this week, against {usual}. Add singing little by little and give the voice a "
            "day of rest; if it stays tired, ask your teacher. (What counts as a jump is a choice of ours.)"
        )
    strained = sum(bool(e.strained_at) or e.after == "strained" for e in inside)
    if strained >= 2:
        return (
            f"A note strained {strained} times this week. Stay below it, and show your teacher; a voice that keeps "
            "straining belongs to a laryngologist or a speech-language pathologist."
        )
    return ""
