"""The climb to the high note: lowered on an easy vowel, up to pitch, half voice, then full voice with rests."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tutor.analysis.columns import SMALL
from tutor.errors import plain
from tutor.music.phrase import Phrase
from tutor.warmup import limits
from tutor.warmup.facts import SongFacts
from tutor.warmup.lifted import Cut, lifted, tonic_midi
from tutor.warmup.model import Dynamic, Step
from tutor.warmup.today import Today
from tutor.warmup.words import count, interval

CLIMB_LEAST, CLIMB_MOST = 3, 7
"""Semitones under pitch at which the climb starts (a choice of ours)."""
UNDER_TRANSITION = 2
"""The climb starts with its top this far under the upper transition where the voice allows (a choice of ours)."""
BELOW = -1
"""Patterns that may not touch the song's top stay a semitone below it."""
EASY = "noo"
TOUCH_S, HALF_HELD_S, FULL_HELD_S = 1.0, 3.0, 8.0
"""Longest held note at each stage, seconds: first light and short, held later (R. Miller 1986, recalled)."""
CLIMB_REST_S, HALF_REST_S, LAST_REST_S = 15.0, 20.0, 20.0
"""Silence after the climb, after half voice, and after the last try, seconds (choices of ours)."""


@dataclass(frozen=True, slots=True)
class Route:
    """One way to make the approach; the planner takes the first that keeps every limit."""

    whole_phrase: bool
    """True for the phrase, False for the note before and the high note alone."""
    tries: int
    """Full-voice tries."""
    deeper: int
    """Semitones by which the climb starts lower than computed; negative: less low, for want of time."""
    above: int
    """Semitones that light patterns may go above the song's top; negative: they stay below it."""
    under: bool = False
    """True when every pattern stays under the upper transition, so that only the song goes above it."""
    approach: bool = True
    """False when today the song's own phrase is left alone."""

    @property
    def song(self) -> tuple[object, ...]:
        """What decides the song's own steps."""
        return self.whole_phrase, self.tries, self.deeper, self.approach


def routes(tries: int, above: int) -> list[Route]:
    """Every way to try, best first; the last ones always keep the limits."""
    found = [
        Route(whole, n, deeper, up, under)
        for whole in (True, False)
        for depths in ((0, 2, 4, 7), (-2,))
        for n in range(tries, -1, -1)
        for deeper in depths
        for up, under in dict.fromkeys(((above, False), (BELOW, False), (BELOW, True)))
    ]
    return [*found, Route(False, 0, 0, BELOW, under=True, approach=False)]


@dataclass(frozen=True, slots=True)
class Climb:
    """Where the approach starts and ends."""

    start: float
    end: float
    depth: int
    """Semitones under pitch at the first time."""
    rest: int
    """Semitones under pitch at the last time: 0 when the phrase arrives at pitch today."""


def climb_of(facts: SongFacts, day: Today, route: Route) -> Climb | None:
    """Compute the lowered start; None where the phrase cannot be lowered within this voice."""
    start = facts.start if route.whole_phrase else facts.interval_start
    end = facts.end if route.whole_phrase else facts.peak_end
    floor = day.low + CLIMB_LEAST
    if facts.compass(start, end)[0] < floor:
        start, end = _above(facts, start, end, floor)
    low, high = facts.compass(start, end)
    rest = max(0, high - day.top)
    wanted = min(CLIMB_MOST, max(CLIMB_LEAST, high - day.upper + UNDER_TRANSITION)) + route.deeper
    depth = min(max(wanted, rest + 2), low - day.low)
    return Climb(start, end, depth, rest) if depth >= rest else None


def _above(facts: SongFacts, start: float, end: float, floor: int) -> tuple[float, float]:
    """The stretch around the high note in which nothing lies under ``floor``, the high note at the least."""
    line, peak = facts.line, facts.peak.onset_quarters
    low = [i for i in line.inside(start, end) if int(line.midi[i]) + facts.transposed < floor]
    first = max((float(line.onset[i + 1]) for i in low if line.onset[i] < peak - SMALL), default=start)
    last = min((float(line.end[i - 1]) for i in low if line.onset[i] > peak + SMALL), default=end)
    return first, last


class Lifts:
    """The lifted phrases of one plan: each is made once, however many ways the planner tries.

    Args:
        facts: the song.
    """

    def __init__(self, facts: SongFacts) -> None:
        self.facts = facts
        self._made: dict[tuple[Cut, int, bool], Phrase] = {}

    def get(self, cut: Cut, below: int, *, leads_up: bool) -> Phrase:
        """The fragment once; see `lifted`."""
        key = (cut, below, leads_up)
        if key not in self._made:
            self._made[key] = lifted(self.facts, cut, below, leads_up=leads_up)
        return self._made[key]


def approach_steps(facts: SongFacts, day: Today, route: Route, lifts: Lifts | None = None) -> list[Step]:
    """The steps of the climb; empty where the route leaves the song alone.

    Args:
        facts: the song.
        day: the day's limits.
        route: the way to try.
        lifts: phrases lifted before.
    """
    climb = climb_of(facts, day, route) if route.approach else None
    if climb is None:
        return []
    lifts = lifts or Lifts(facts)
    steps = [_lowered(lifts, climb), _words(lifts, climb)]
    if climb.rest == 0:
        steps += [_full(lifts, climb, k, route.tries) for k in range(route.tries)]
    return steps


def _step(
    lifts: Lifts, climb: Climb, belows: list[int], sound: str, dynamic: Dynamic, held_s: float, rest_s: float
) -> Step:
    facts, cut = lifts.facts, Cut(climb.start, climb.end, sound, dynamic, held_s)
    phrases = tuple(lifts.get(cut, b, leads_up=b != belows[-1]) for b in belows)
    sung = [t.midi for p in phrases for t in p.tones if t.line == "voice"]
    seconds = sum(p.length_s for p in phrases) + rest_s
    return Step(
        phase="approach", exercise="", title="", instruction="", because="", source="", bar=facts.peak_bar,
        keys=tuple(tonic_midi(facts, belows[0]) + belows[0] - b for b in belows), phrases=phrases,
        count_in=sum(t.line == "click" for t in phrases[0].tones), seconds=round(seconds, 3), rest_s=rest_s,
        dynamic=dynamic, vowel=sound or _text(facts, climb), top_midi=max(sung), low_midi=min(sung),
    )  # fmt: skip


def _text(facts: SongFacts, climb: Climb) -> str:
    """The words of the fragment, syllables joined."""
    words = ""
    for i in facts.line.inside(climb.start, climb.end):
        row = facts.line.rows[i]
        words += plain(row.syllable) + ("" if row.syllabic in ("begin", "middle") else " ") if row.syllable else ""
    return " ".join(words.split()) or "ah"


def _named(step: Step, exercise: str, title: str, instruction: str, because: str, source: str) -> Step:
    return replace(step, exercise=exercise, title=title, instruction=instruction, because=because, source=source)


def _top(facts: SongFacts) -> str:
    return facts.spelled(facts.peak.pitch.name)


def _arrives(facts: SongFacts) -> str:
    """How the line gets to the high note, as a verb: 'leaps an octave up to'."""
    how, of, size = facts.approach.partition(" of ")
    return f"{how}s {size} to" if of and how in ("leap", "step") else "has"


def _lowered(lifts: Lifts, climb: Climb) -> Step:
    facts = lifts.facts
    belows = list(range(climb.depth, climb.rest - 1, -1))
    step = _step(lifts, climb, belows, EASY, "soft", TOUCH_S, CLIMB_REST_S)
    where = "pitch" if climb.rest == 0 else f"{interval(climb.rest)} under pitch"
    way = f"it starts {interval(climb.depth)} lower and rises by semitones to {where}"
    if climb.depth == climb.rest:
        way = f"it stays at {where}"
    return _named(
        step,
        "climax-climb",
        "The song's own phrase, from below",
        f"Sing the phrase around bar {facts.peak_bar} on “{EASY}”, lightly; {way}. Touch the top and let it go.",
        f"Because bar {facts.peak_bar} {_arrives(facts)} {_top(facts)}, the highest note of the song.",
        "excerpts last: Demorest and Ross, choral warm-up packet (2003), seen in a mirror; "
        "light before held: R. Miller (1986), recalled, not looked up",
    )


def _words(lifts: Lifts, climb: Climb) -> Step:
    facts = lifts.facts
    step = _step(lifts, climb, [climb.rest], "", "half voice", HALF_HELD_S, HALF_REST_S)
    at = "at pitch" if climb.rest == 0 else f"{interval(climb.rest)} under pitch"
    on = f"on “{facts.syllable}”" if facts.syllable else "on its own vowel"
    return _named(
        step,
        "climax-half",
        "With the words, half voice",
        f"Sing the phrase once {at} with its words, about half as loud as you will record it. Then rest, and drink.",
        f"Because {_top(facts)} in bar {facts.peak_bar} is sung {on}, and its vowel is easier to find at half voice.",
        "common practice",
    )


def _full(lifts: Lifts, climb: Climb, index: int, tries: int) -> Step:
    facts = lifts.facts
    last = index == tries - 1
    rest = LAST_REST_S if last else limits.TRY_REST_S.value
    step = _step(lifts, climb, [0], "", "full voice", FULL_HELD_S, rest)
    held = f", held for {count(max(1, round(facts.held_s)), 'second')}" if facts.held_s >= 1 else ""
    after = "Now keep silent for a moment." if last else "If it came well, you may skip the next try. Rest in silence."
    return _named(
        step,
        f"climax-full-{index + 1}",
        "Full voice" if tries == 1 else f"Full voice, try {index + 1} of at most {tries}",
        f"Sing the phrase once as you will record it. If it does not come, do not repeat it louder. {after}",
        f"Because bar {facts.peak_bar} asks for {_top(facts)}{held}, and recording asks for it once, not many times.",
        f"at most {limits.FULL_TRIES.value:g} tries with rests between: a choice of ours; {limits.TRY_REST_S.source}",
    )
