"""What this voice may do today."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from tutor.errors import PlanRefused
from tutor.music.voice import Condition, SingerProfile
from tutor.warmup import limits, strains
from tutor.warmup.words import count, note, span

FIFTH = 7
"""Semitones that a warm-up needs at the least."""


@dataclass(frozen=True, slots=True)
class Today:
    """Limits of one day, MIDI and seconds."""

    low: int
    """Comfortable bottom."""
    top: int
    """Highest note allowed today."""
    lower: int
    """Lower register transition."""
    upper: int
    """Upper register transition."""
    budget_s: float
    """Time for the whole plan."""
    tries: int
    """Full-voice tries allowed."""
    fresh: bool
    """True when nothing was taken away."""
    notes: tuple[str, ...]
    """What was taken away and why, for the singer."""

    @property
    def start(self) -> int:
        """Root of the first patterns: an easy way above the bottom (a sixth of the range, a choice of ours)."""
        return self.low + max(1, round((self.top - self.low) / 6))


def check_singer(singer: SingerProfile, margin: int) -> None:
    """Refuse a profile that makes no sense.

    Raises:
        PlanRefused: the range is upside down, too small or too large, or the margin is out of bounds.
    """
    size = singer.high_midi - singer.low_midi
    if size < limits.RANGE_LEAST.value:
        raise PlanRefused(
            f"the comfortable range of {singer.name} is only {count(max(size, 0), 'semitone')}",
            remedy="Measure it again with the range finder; a warm-up needs an octave",
        )
    if size > limits.RANGE_MOST.value:
        raise PlanRefused(
            f"the comfortable range of {singer.name} is {size} semitones, more than any voice measured",
            remedy="Measure it again with the range finder",
        )
    if not 0 <= margin <= limits.MARGIN_MOST.value:
        raise PlanRefused(
            f"a margin of {count(margin, 'semitone')} above the comfortable top is not allowed",
            remedy=f"Choose 0 to {limits.MARGIN_MOST.value:g}",
        )


def today(
    singer: SingerProfile,
    condition: Condition,
    minutes: float,
    until_recording_min: float | None,
    days_since_singing: int,
    margin: int,
    song_high: int,
    on: date | None = None,
) -> Today:
    """Work out the day's limits.

    Args:
        singer: the voice.
        condition: how it feels.
        minutes: time for everything.
        until_recording_min: minutes until recording; None when unknown.
        days_since_singing: whole days since the last singing.
        margin: semitones above the comfortable top that the singer allows.
        song_high: highest note of the song, MIDI.
        on: local day; None where it is not known, and then no note that strained comes back.

    Raises:
        PlanRefused: too little or too much time is asked for, or nearly every note strains.
    """
    if not limits.MINUTES_LEAST.value <= minutes <= limits.MINUTES_MOST.value:
        raise PlanRefused(
            f"a warm-up of {minutes:g} minutes cannot be planned",
            remedy=f"Ask for {limits.MINUTES_LEAST.value:g} to {limits.MINUTES_MOST.value:g} minutes",
        )
    if days_since_singing < 0:
        raise PlanRefused("the days since you last sang cannot be fewer than none", remedy="Give 0 or more days")
    if until_recording_min is not None and until_recording_min < limits.BARE_MINUTES.value:
        raise PlanRefused(
            "there is no time left to warm up before recording",
            remedy="Put the recording off by five minutes, or hum softly and leave the high note for a later take",
        )
    ease = limits.ease_of(condition, days_since_singing)
    notes: list[str] = []
    budget = minutes * ease.time_share
    if ease.time_share < 1:
        notes.append(f"Your voice is {condition}, so the warm-up is shortened to {span(budget * 60)}.")
    if until_recording_min is not None and until_recording_min < budget:
        budget = until_recording_min
        notes.append(f"Recording starts in {span(budget * 60)}, so the warm-up fits into that.")
    usual = singer.high_midi + margin
    top = usual - ease.lowered
    if condition == "tired":
        top = max(min(top, song_high - int(limits.TIRED_BELOW.value)), min(top, singer.low_midi + FIFTH))
    if top < usual:
        notes.append(f"Today's top is {note(top)}, {count(usual - top, 'semitone')} under your usual one.")
    tries = ease.tries
    strain = strains.lowest(singer, on, top)
    if strain is not None:
        top = strain.top
        if top < singer.low_midi + FIFTH:
            raise PlanRefused(
                f"you said that {note(strain.midi)} strains, and too few notes are left below it to warm up with",
                remedy="Rest, measure your range again on a good day, and show your teacher if low notes still strain",
            )
        notes.append(strains.sentence(strain))
        tries = min(tries, int(limits.STRAIN_TRIES.value)) if strain.back else tries
    if days_since_singing >= 7:
        notes.append(f"You have not sung for {days_since_singing} days, so the high note is tried fewer times.")
    lower, upper = sorted((singer.first_transition, singer.second_transition))
    return Today(singer.low_midi, top, lower, upper, budget * 60, tries, not notes, tuple(notes))
