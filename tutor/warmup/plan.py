"""Reading + singer + minutes → a warm-up that arrives at the song's high note, or a kind refusal."""

from __future__ import annotations

from datetime import date
from itertools import groupby, product

from tutor.analysis.findings import Reading
from tutor.errors import PlanRefused, plain
from tutor.music.pitch import Pitch
from tutor.music.table import NoteTable
from tutor.music.voice import Condition, SingerProfile
from tutor.warmup import limits
from tutor.warmup.approach import BELOW, Lifts, Route, approach_steps, routes
from tutor.warmup.beyond import beyond_voice
from tutor.warmup.check import broken
from tutor.warmup.facts import SongFacts, song_facts, spelled_interval
from tutor.warmup.fit import keys_that_fit, seat, sits
from tutor.warmup.model import CAUTION, Given, Plan, Step, Target
from tutor.warmup.phases import Builder, allot, wanted
from tutor.warmup.rest import rest_advice
from tutor.warmup.today import Today, check_singer, today
from tutor.warmup.words import clock, count, interval, moved, note

AT_ONCE_MIN = 10.0
"""Recording within this many minutes of the warm-up's end counts as at once (a choice of ours)."""


def plan(
    table: NoteTable,
    reading: Reading,
    singer: SingerProfile,
    *,
    minutes: float = limits.MINUTES_DEFAULT.value,
    condition: Condition = "fresh",
    until_recording_min: float | None = None,
    days_since_singing: int = 0,
    margin_semitones: int = 0,
    transpose: int = 0,
    on: date | None = None,
) -> Given:
    """Plan a warm-up.

    Args:
        table: the song's notes.
        reading: the engine's reading of the same song.
        singer: the voice, measured or told.
        minutes: time for everything, 5 to 30.
        condition: how the voice feels today.
        until_recording_min: minutes until recording; None when unknown.
        days_since_singing: whole days since the last singing.
        margin_semitones: semitones above the comfortable top that the singer allows, 0 to 2.
        transpose: semitones by which the song is sung away from the printed key.
        on: local day, by which a note that strained comes back; None where it is not known.

    Returns:
        A Plan; RestAdvice for a hoarse or hurting voice; BeyondVoice for a song that goes beyond the voice.

    Raises:
        PlanRefused: the minutes, the margin or the profile make no sense.
        ScoreError: nothing in the score is sung.
    """
    if condition not in limits.EASE:
        return rest_advice(condition)
    check_singer(singer, margin_semitones)
    facts = song_facts(table, reading, transpose)
    day = today(singer, condition, minutes, until_recording_min, days_since_singing, margin_semitones, facts.high, on)
    centre = Pitch.parse(reading.voice.tessitura.centre).midi + facts.transposed
    if facts.high > singer.high_midi + margin_semitones or centre < singer.low_midi:
        return beyond_voice(reading, singer, facts, margin_semitones)
    later = until_recording_min is not None and until_recording_min > day.budget_s / 60 + AT_ONCE_MIN
    reserve = day.top - facts.high
    tries = min(day.tries, 2) if reserve < limits.RESERVE.value else day.tries
    tries = min(tries, int(limits.LATER_TRIES.value)) if later else tries
    climbs: dict[tuple[object, ...], list[Step]] = {}
    most = limits.APPROACH_SHARE.value * day.budget_s
    lifts = Lifts(facts)
    for song, ways in groupby(routes(tries, _above(day, reserve)), key=lambda r: r.song):
        found = list(ways)
        if song not in climbs:
            climbs[song] = approach_steps(facts, day, found[0], lifts)
        climb = climbs[song]
        if (found[0].approach and not climb) or sum(s.seconds for s in climb) > most:
            continue
        for pause, route in product(dict.fromkeys((later, False)), found):
            made = _make(facts, reading, day, route, climb, singer, condition, later=later, pause=pause)
            if not broken(made, day.low):
                return made
    raise PlanRefused(f"no warm-up keeps every limit in {clock(day.budget_s)}", remedy="Give it a few more minutes")


def _above(day: Today, reserve: int) -> int:
    """Semitones that light patterns may go above the song's top: none where the voice has little to spare above it."""
    if not day.fresh:
        return BELOW
    return int(limits.ABOVE_SONG.value) if reserve >= limits.RESERVE.value else 0


def _make(
    facts: SongFacts,
    reading: Reading,
    day: Today,
    route: Route,
    climb: list[Step],
    singer: SingerProfile,
    condition: Condition,
    *,
    later: bool,
    pause: bool,
) -> Plan:
    left = day.budget_s - sum(s.seconds for s in climb)
    given = allot(wanted(facts, day, break_after=pause), left)
    builder = Builder(facts, day, route)
    steps = (*builder.before(given), *climb, *builder.after(given))
    reaches = any(s.top_midi >= facts.target for s in climb)
    return Plan(
        title=facts.title,
        singer=plain(singer.name),
        condition=condition,
        minutes=round(day.budget_s / 60, 3),
        steps=steps,
        seconds=round(sum(s.seconds for s in steps), 3),
        caution=CAUTION,
        facts=song_sentences(facts, reading, singer),
        target=_target(facts),
        reaches_target=reaches,
        today_top=day.top,
        transitions=(day.lower, day.upper),
        bottom=day.low,
        transposed=facts.transposed,
        notes=(
            *day.notes,
            *_notes(facts, day, reading, singer, steps_s=sum(s.seconds for s in steps), reaches=reaches, later=later),
        ),
    )


def _target(facts: SongFacts) -> Target:
    return Target(
        spelled_interval(facts.peak.pitch, facts.transposed, facts.fifths).name,
        facts.target,
        facts.peak_bar,
        facts.approach,
        facts.syllable,
        facts.held_s,
    )


def song_sentences(facts: SongFacts, reading: Reading, singer: SingerProfile) -> tuple[str, ...]:
    """What the plan used of the song, one sentence each."""
    peak = facts.spelled(facts.peak.pitch.name)
    tessitura = reading.voice.tessitura
    found = [
        f"The song runs from {facts.spelled(facts.compass_names[0])} to {facts.spelled(facts.compass_names[1])}.",
        f"Most of it lies between {facts.spelled(tessitura.low)} and {facts.spelled(tessitura.high)}; it "
        f"{seat(sits(reading, singer, facts.transposed).shift)}.",
        f"Its high note is {peak} in bar {facts.peak_bar} ({facts.approach}).",
    ]
    if facts.transposed:
        found.insert(0, f"It is sung {moved(facts.transposed)} from the printed key.")
    if facts.leap:
        leap = facts.leap
        found.append(f"Bar {leap.bar} leaps {interval(leap.semitones)} up to {facts.spelled(leap.upper)}.")
    if facts.long_note:
        held = facts.long_note
        found.append(f"Bar {held.bar} holds {facts.spelled(held.pitch)} for {held.seconds:.1f} seconds.")
    if facts.low_start:
        found.append(f"It starts low in its range, on {facts.spelled(facts.low_start[1])} in bar {facts.low_start[0]}.")
    if facts.quick:
        found.append(f"Its words run quickly in bar {facts.quick}.")
    if facts.long_phrase:
        found.append(f"The phrase from bar {facts.long_phrase[0]} lasts {facts.long_phrase[1]:.0f} seconds.")
    return tuple(found)


def _higher(reading: Reading, singer: SingerProfile) -> str:
    """The best key that holds a song which goes too low as it is."""
    keys = keys_that_fit(reading, singer)
    if not keys:
        return ""
    name = f" ({keys[0].key})" if keys[0].key else ""
    return f" The whole song fits you {keys[0].interval}{name}."


def _notes(
    facts: SongFacts,
    day: Today,
    reading: Reading,
    singer: SingerProfile,
    *,
    steps_s: float,
    reaches: bool,
    later: bool,
) -> tuple[str, ...]:
    """What else the singer should know."""
    found = []
    peak = facts.spelled(facts.peak.pitch.name)
    if singer.measured_on is None:
        found.append(
            f"It takes {note(singer.low_midi)} to {note(singer.high_midi)} as your easy range, which was not measured "
            "here: stop wherever it is not easy for you."
        )
    if not reaches:
        found.append(f"Today the warm-up stays below {peak}: leave that note for another day, or sing the song lower.")
    reserve = day.top - facts.high
    if reaches and reserve < limits.RESERVE.value:
        room = "nothing" if reserve == 0 else count(reserve, "semitone")
        found.append(f"{peak} leaves you {room} to spare: take the rests seriously and be content with one good try.")
    if facts.high > singer.high_midi:
        over = count(facts.high - singer.high_midi, "semitone")
        found.append(f"{peak} lies {over} above your comfortable top, as you allowed: leave it where it does not come.")
    if facts.low < singer.low_midi:
        found.append(
            f"The song goes down to {facts.spelled(facts.compass_names[0])}, below your comfortable "
            f"{note(singer.low_midi)}; the warm-up leaves those notes out.{_higher(reading, singer)}"
        )
    if later:
        found.append("Recording is not at once: keep silent in between and warm up again, shorter, just before it.")
    if steps_s < day.budget_s - 60:
        found.append(f"It ends after {clock(steps_s)}: more singing before recording would not help.")
    return tuple(found)
