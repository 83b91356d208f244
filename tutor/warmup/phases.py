"""The phases before and after the song's own phrase: how much time each has, and which keys it climbs through."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from tutor.warmup import limits
from tutor.warmup.approach import BELOW, Route
from tutor.warmup.because import because, zone
from tutor.warmup.exercises import EXERCISES, Exercise, Phase, keys_up
from tutor.warmup.facts import SongFacts
from tutor.warmup.model import Dynamic, Step
from tutor.warmup.piano import COUNT_IN, repetition
from tutor.warmup.today import Today


@dataclass(frozen=True, slots=True)
class Share:
    """Time for a phase; choices of ours."""

    phase: Phase
    least_s: float
    """Seconds without which the phase is left out."""
    weight: float
    """Part of the time that is over once every phase has its least."""
    most_s: float
    """Seconds beyond which more does not help."""


LOW_START = 3
"""A song that starts no higher than this above the first root starts low for the voice (a choice of ours)."""
EASY_TOP = 14
"""Patterns climb at least this far above the comfortable bottom, semitones, however low the song (a choice of ours)."""
FEW_KEYS = 3
"""A semi-occluded pattern with no more keys than this gives way to a smaller one (a choice of ours)."""
EASY_KEYS = 4
"""Semitones that a pattern climbs at least, where the voice has room (a choice of ours)."""

_SHARES: tuple[Share, ...] = (
    Share("semi-occluded", 34, 4, limits.SEMI_OCCLUDED_S.value),
    Share("five notes", 30, 3, 150),
    Share("octave", 30, 3, 120),
    Share("body and breath", 20, 2, 90),
    Share("cool-down", 24, 2, 90),
    Share("transitions", 28, 2, 90),
    Share("agility", 26, 2, 80),
    Share("sustain", 28, 2, 80),
    Share("messa di voce", 30, 1, 60),
    Share("break", 30, 2, limits.BREAK_S.value),
)
"""Most needed first: with little time the later ones fall away."""


def wanted(facts: SongFacts, day: Today, *, break_after: bool) -> list[Phase]:
    """The phases that this song asks for, in the order of `_SHARES`."""
    long = facts.long_note
    skip: set[Phase] = set()
    if min(facts.high, day.top) < day.lower:
        skip.add("transitions")
    if not long:
        skip.add("sustain")
    if not facts.quick and long:
        skip.add("agility")
    if not (long and long.seconds >= 2 * limits.LONG_NOTE_S.value and day.fresh):
        skip.add("messa di voce")
    if not break_after:
        skip.add("break")
    return [s.phase for s in _SHARES if s.phase not in skip]


def allot(phases: Iterable[Phase], budget_s: float) -> dict[Phase, float]:
    """Divide seconds among phases: the least of each while it lasts, then the rest by weight up to the most."""
    chosen = set(phases)
    given: dict[Phase, float] = {}
    left = budget_s
    for share in _SHARES:
        if share.phase in chosen and left >= share.least_s:
            given[share.phase] = share.least_s
            left -= share.least_s
    open_ = [s for s in _SHARES if s.phase in given]
    while left > 0.5 and open_:
        unit = left / sum(s.weight for s in open_)
        for share in open_:
            more = min(unit * share.weight, share.most_s - given[share.phase])
            given[share.phase] += more
            left -= more
        open_ = [s for s in open_ if given[s.phase] < s.most_s - 0.01]
    return given


@dataclass(frozen=True, slots=True)
class Ceilings:
    """Highest note of each kind of pattern, MIDI."""

    patterns: int
    """Leaps, transitions, held notes: under the song's top."""
    arpeggio: int
    """Quick arpeggios, which may pass the song's top lightly."""
    five: int
    """Five-note patterns."""
    semi: int
    """Semi-occluded sounds."""

    @classmethod
    def of(cls, facts: SongFacts, day: Today, route: Route) -> Ceilings:
        """Lower and lower toward the start of the warm-up, so that the highest note never comes early."""
        overall = max(min(day.top, facts.high), min(day.top, day.low + EASY_TOP))
        middle = day.low + round(0.6 * (day.top - day.low))
        arpeggio = max(min(day.top, facts.high + route.above), min(day.top, day.low + EASY_TOP))
        patterns = overall + BELOW
        if route.under:
            patterns = min(patterns, max(day.upper, day.low + 10))
            arpeggio = min(arpeggio, patterns)
        five = min(patterns - 1, max(min(day.upper, overall - 2), day.low + 8))
        return cls(patterns, arpeggio, five, min(five - 1, max(middle, day.low + 7)))


class Builder:
    """Makes the pattern steps of one plan, remembering how high the voice has been."""

    def __init__(self, facts: SongFacts, day: Today, route: Route) -> None:
        self._facts, self._day = facts, day
        self._top = Ceilings.of(facts, day, route)
        self.reached = 0
        """Highest note so far, MIDI; 0 before the first."""

    def before(self, given: Mapping[Phase, float]) -> list[Step]:
        """Everything up to the song's own phrase."""
        steps = self._body(given.get("body and breath", 0.0))
        for phase in ("semi-occluded", "five notes", "octave", "transitions", "agility", "sustain", "messa di voce"):
            names = self._names(phase, given.get(phase, 0.0))
            for name in names:
                part = given[phase] / len(names)
                steps += self._pattern(EXERCISES[name], part)
        return steps

    def after(self, given: Mapping[Phase, float]) -> list[Step]:
        """The break, if recording is not at once, and the cool-down for after it."""
        steps = []
        if "break" in given:
            steps.append(self._silence(given["break"]))
        if "cool-down" in given:
            steps += self._pattern(EXERCISES["cool-hum"], given["cool-down"], down=True)
        return steps

    def _names(self, phase: Phase, seconds: float) -> list[str]:
        facts = self._facts
        if not seconds:
            return []
        if phase == "semi-occluded":
            if self._top.semi < self._day.low + EXERCISES["lip-trill"].top + FEW_KEYS:
                return ["hum"] if seconds < 75 else ["hum", "small-trill"]
            many = 1 if seconds < 75 else 2 if seconds < 120 else 3
            return [["lip-trill"], ["hum", "lip-trill"], ["hum", "lip-trill", "straw"]][many - 1]
        if phase == "five notes":
            low = facts.low_start is not None and facts.first <= self._day.start + LOW_START
            extra = "five-note-down" if low else "five-note-vowels"
            return ["five-note"] if seconds < 64 else ["five-note", extra]
        if phase == "octave":
            return self._leaps(seconds)
        if phase == "transitions":
            return ["transition-slide"] if seconds < 60 else ["transition-slide", "transition-arpeggio"]
        if phase == "agility":
            return ["quick-words" if facts.quick else "running-notes"]
        return {"sustain": ["closed-to-open"], "messa di voce": ["swell"]}.get(phase, [])

    def _leaps(self, seconds: float) -> list[str]:
        leap = self._facts.leap
        if leap is None:
            return ["octave-arpeggio"]
        sizes = ((10, "octave-leap"), (8, "sixth-leap"), (7, "fifth-leap"), (0, "fourth-leap"))
        name = next(name for least, name in sizes if leap.semitones >= least)
        return [name] if seconds < 56 else ["octave-arpeggio", name]

    def _ceiling(self, exercise: Exercise) -> int:
        top = self._top
        if exercise.phase == "semi-occluded":
            return top.semi
        if exercise.phase in ("five notes", "messa di voce", "cool-down"):
            return top.five
        if exercise.phase == "sustain":
            return min(top.patterns, max(self._day.upper, self._day.low + 8))
        return top.arpeggio if exercise.name == "octave-arpeggio" else top.patterns

    def _pattern(self, exercise: Exercise, seconds: float, *, down: bool = False) -> list[Step]:
        """A pattern through as many keys as fit; nothing where not even one fits."""
        rest = limits.STEP_REST_S.value
        count = _fits(exercise, seconds - rest)
        if count < 1:
            return []
        roots = self._roots(exercise, count, down=down or exercise.name == "five-note-down")
        if not roots:
            return []
        soft = exercise.phase in ("semi-occluded", "cool-down", "messa di voce") or exercise.name == "octave-arpeggio"
        dynamic: Dynamic = "soft" if soft else "medium"
        phrases = tuple(
            repetition(exercise, root, roots[k + 1] if k + 1 < len(roots) else None, first=k == 0, dynamic=dynamic)
            for k, root in enumerate(roots)
        )
        reason, bar = because(exercise.name, self._facts, self._day, top=max(roots) + exercise.top)
        step = Step(
            exercise.phase, exercise.name, exercise.title, exercise.instruction, reason, exercise.source, bar,
            tuple(roots), phrases, COUNT_IN, round(sum(p.length_s for p in phrases) + rest, 3), rest, dynamic,
            exercise.vowel, max(roots) + exercise.top, min(roots) + exercise.bottom,
        )  # fmt: skip
        self.reached = max(self.reached, step.top_midi)
        return [step]

    def _roots(self, exercise: Exercise, count: int, *, down: bool) -> list[int]:
        floor, ceiling = self._day.low - exercise.bottom, self._ceiling(exercise)
        last = ceiling - exercise.top
        if last < floor or (self.reached and floor + exercise.top > self.reached + limits.OPENING.value):
            return []
        if exercise.phase == "messa di voce":
            middle = max(floor, min(last, (self._day.low + self._day.upper) // 2))
            return _outward(exercise, middle, ceiling, count)
        if exercise.phase == "transitions":
            at = zone(self._facts, self._day)
            start = max(floor, min(at - exercise.top - 2, last - 2, self._opening(exercise)))
            return _outward(exercise, start, ceiling, count)
        start = max(floor, min(self._day.start, last - EASY_KEYS))
        if down:
            start = min(last, start + 3)
            return list(range(start, max(floor, start - count + 1) - 1, -1))
        start = max(start, min(last - count + 1, self._opening(exercise)))
        again = exercise.phase in ("semi-occluded", "five notes")
        return _outward(exercise, start, ceiling, count, again=again)

    def _opening(self, exercise: Exercise) -> int:
        """Highest root at which an exercise may open after what was sung."""
        if not self.reached:
            return self._day.start
        return self.reached + int(limits.OPENING.value) // 2 - exercise.top

    def _body(self, seconds: float) -> list[Step]:
        if not seconds:
            return []
        names = ("body", "breath") if seconds >= 40 else ("breath",)
        steps = []
        for name in names:
            exercise = EXERCISES[name]
            reason, bar = because(name, self._facts, self._day)
            steps.append(
                Step(
                    exercise.phase, name, exercise.title, exercise.instruction, reason, exercise.source, bar,
                    seconds=round(seconds / len(names), 3),
                )
            )  # fmt: skip
        return steps

    def _silence(self, seconds: float) -> Step:
        reason, bar = because("silence", self._facts, self._day)
        return Step(
            "break", "silence", "Be silent",
            "Do not sing, hum or whisper. Drink a little water, and sit or walk slowly; stay as quiet as you can until "
            "you record.",
            reason, limits.BREAK_S.source, bar, seconds=round(seconds, 3), rest_s=round(seconds, 3),
        )  # fmt: skip


def _fits(exercise: Exercise, seconds: float) -> int:
    """How many keys fit into the seconds."""
    first = repetition(exercise, 60, None, first=True, dynamic="soft").length_s
    more = repetition(exercise, 60, None, first=False, dynamic="soft").length_s
    return 0 if seconds < first else 1 + int((seconds - first + 1e-9) // more)


def _outward(exercise: Exercise, start: int, ceiling: int, count: int, *, again: bool = False) -> list[int]:
    """Up by semitones to the ceiling, with keys to spare back down, and up ``again`` if there is time."""
    up = keys_up(exercise, start, ceiling)
    keys = [*up, *reversed(up[:-1])]
    while again and len(up) > 1 and len(keys) < count:
        keys += [*up[1:], *reversed(up[:-1])]
    return keys[:count]
