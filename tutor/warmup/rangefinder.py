"""Finding the comfortable range, carefully: a pure state machine.

It asks one note at a time, a semitone further each time, from an easy middle note upward and then downward. The first
note that takes effort ends that direction; nobody is asked to show a limit. A pain ends everything.

::

    up --effort--> down --effort--> transitions --accept--> done
    any --pain--> stopped
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from tutor.music.voice import VOICES, SingerProfile, VoiceType
from tutor.warmup.limits import RANGE_LEAST
from tutor.warmup.model import CAUTION, RestAdvice
from tutor.warmup.rest import rest_advice
from tutor.warmup.strains import day_words
from tutor.warmup.words import note

Stage = Literal["up", "down", "transitions", "done", "stopped"]
Comfort = Literal["easy", "effort", "pain"]

BEYOND = 5
"""Semitones past the typical range of the voice type at which asking ends by itself (a choice of ours)."""
CENTS = 60.0
"""A sung note within this many cents of the one asked counts as that note (a choice of ours)."""
BREATHER = 6
"""Notes after which a breath is offered (a choice of ours)."""
BACK = 3
"""Semitones lower when even the first note takes effort (a choice of ours)."""
FRESH_DAYS = 90
"""Days after which a range is measured again (a choice of ours)."""
_SOURCE = "first and last note that were comfortable; a semitone at a time; common practice"


@dataclass(frozen=True, slots=True)
class Finder:
    """Where the search stands."""

    name: str
    voice: VoiceType
    on: date
    """Day of measuring."""
    stage: Stage
    asked: int
    """Note asked now, MIDI."""
    first: int
    """Note the search began with, MIDI."""
    low: int = 0
    """Lowest easy note so far, MIDI; 0 before any."""
    high: int = 0
    """Highest easy note so far, MIDI; 0 before any."""
    matched: bool = False
    """True when the microphone heard the asked note."""
    hint: str = ""
    """One line about what was heard, or a breath offered."""
    other: bool = False
    """True when the last note the microphone heard was not the one asked."""
    answers: int = 0
    first_transition: int = 0
    second_transition: int = 0

    @property
    def prompt(self) -> str:
        """What the singer is asked."""
        if self.stage in ("up", "down"):
            way = "lightly" if self.stage == "up" else "softly, without pressing"
            return f"Sing {note(self.asked)} on “oo”, {way}. Was it easy?"
        if self.stage == "transitions":
            row = VOICES[self.voice]
            return (
                f"Where does your voice change register? Often taught for a {self.voice}: near "
                f"{note(row.first_transition)} and {note(row.second_transition)}, give or take a semitone. "
                "Set your own if you know them."
            )
        if self.stage == "done":
            return f"Your comfortable range is {note(self.low)} to {note(self.high)}."
        return "The search has stopped."

    @property
    def caution(self) -> str:
        """Shown on the first screen."""
        return CAUTION

    @property
    def source(self) -> str:
        """How the range is defined."""
        return _SOURCE

    @property
    def advice(self) -> RestAdvice | None:
        """What to do after a pain."""
        return rest_advice("pain") if self.stage == "stopped" and self.hint == _PAIN else None


_PAIN = "It hurt: stop singing for today."
_NOT_TODAY = "Even low notes take effort today. Rest, and measure on another day."
_TOO_SMALL = "Too few notes were easy to plan with. Rest, and measure on another day."


def begin(name: str, voice: VoiceType, on: date) -> Finder:
    """Begin near where one speaks, a fifth of the typical range above its bottom (a choice of ours)."""
    row = VOICES[voice]
    first = row.low + round((row.high - row.low) / 5)
    return Finder(
        name, voice, on, "up", first, first,
        first_transition=row.first_transition, second_transition=row.second_transition,
    )  # fmt: skip


def heard(finder: Finder, midi: float) -> Finder:
    """The microphone heard a held note; it only says whether the note was the one asked, never whether it was easy.

    Args:
        finder: the search.
        midi: fractional MIDI number of what was sung.
    """
    if finder.stage not in ("up", "down"):
        return finder
    off = midi - finder.asked
    if abs(off) * 100 <= CENTS:
        return replace(finder, matched=True, other=False, hint=f"Heard {note(finder.asked)}.")
    octaves = round(off / 12)
    if octaves and abs(off - 12 * octaves) * 100 <= CENTS:
        found = f"That was {note(finder.asked + 12 * octaves)}, in another octave."
    else:
        found = f"That was nearer to {note(round(midi))}. Listen, and try again."
    return replace(finder, matched=False, other=True, hint=found)


def answer(finder: Finder, comfort: Comfort) -> Finder:
    """The singer says how the asked note was.

    An easy note that was heard as another one is asked once more: a range taken an octave off would do harm.
    """
    if finder.stage not in ("up", "down"):
        return finder
    if comfort == "pain":
        return replace(finder, stage="stopped", hint=_PAIN, matched=False)
    if comfort == "easy" and finder.other:
        return replace(finder, other=False, hint=f"{finder.hint} Or answer again, if it was {note(finder.asked)}.")
    finder = replace(finder, matched=False, other=False, hint="", answers=finder.answers + 1)
    if finder.answers % BREATHER == 0:
        finder = replace(finder, hint="Take a breath and a sip of water.")
    return _easy(finder) if comfort == "easy" else _effort(finder)


def _easy(finder: Finder) -> Finder:
    row, at = VOICES[finder.voice], finder.asked
    finder = replace(finder, low=min(finder.low or at, at), high=max(finder.high, at))
    if finder.stage == "up":
        return _turn(finder) if at >= row.high + BEYOND else replace(finder, asked=at + 1)
    return _close(finder) if at <= row.low - BEYOND else replace(finder, asked=at - 1)


def _effort(finder: Finder) -> Finder:
    if finder.stage == "down":
        return _close(finder)
    if finder.high:
        return _turn(finder)
    lower = finder.asked - BACK
    if lower < VOICES[finder.voice].low - BEYOND:
        return replace(finder, stage="stopped", hint=_NOT_TODAY)
    return replace(finder, asked=lower, first=lower, hint="Then let us begin lower.")


def _turn(finder: Finder) -> Finder:
    """From the way up to the way down."""
    return replace(finder, stage="down", asked=finder.low - 1, hint="That is high enough. Breathe; now downward.")


def _close(finder: Finder) -> Finder:
    if finder.high - finder.low < RANGE_LEAST.value:
        return replace(finder, stage="stopped", hint=_TOO_SMALL)
    return replace(finder, stage="transitions", hint="")


def transitions(finder: Finder, first: int | None = None, second: int | None = None) -> Finder:
    """Keep the suggested register transitions, or set the singer's own.

    Args:
        finder: the search, at its last question.
        first: lower transition, MIDI; None keeps the suggestion.
        second: upper transition, MIDI; None keeps the suggestion.
    """
    if finder.stage != "transitions":
        return finder
    lower, upper = sorted((first or finder.first_transition, second or finder.second_transition))
    return replace(finder, stage="done", first_transition=lower, second_transition=upper)


def profile(finder: Finder) -> SingerProfile | None:
    """The measured profile once the search is done; a new measurement forgets the notes that strained."""
    if finder.stage != "done":
        return None
    return SingerProfile(
        finder.name, finder.voice, finder.low, finder.high, finder.first_transition, finder.second_transition, finder.on
    )


def dated(day: date) -> str:
    """'3 March 2026'."""
    return f"{day_words(day)} {day.year}"


def due(singer: SingerProfile, today: date) -> str:
    """Why the range should be measured again, in one sentence; empty when it need not be."""
    if singer.measured_on is None:
        return f"This range is typical of a {singer.voice} and not yet yours: measure it when the voice is rested."
    if (today - singer.measured_on).days > FRESH_DAYS:
        return f"Your range was measured on {dated(singer.measured_on)}: measure it again when the voice is rested."
    if singer.strained_at:
        last = singer.strains[-1]
        when = f"on {day_words(last.on)}" if last.on else "lately"
        return f"{note(last.midi)} strained {when}: measure your range again when the voice is rested."
    return ""
