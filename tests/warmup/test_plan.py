"""What a plan contains, how the day changes it, and when there is none."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.warmup.songs import LANTERN, reading_of, singers, songs, table_of
from tutor.errors import PlanRefused
from tutor.music.table import NoteTable
from tutor.music.voice import VOICES, Condition, SingerProfile, VoiceType
from tutor.warmup.exercises import PHASES
from tutor.warmup.model import BeyondVoice, Plan, RestAdvice
from tutor.warmup.plan import plan

TABLE = table_of(LANTERN, fifths=1)
READING = reading_of(TABLE)
TENOR = SingerProfile.default("Robin", "tenor")
ROOMY = replace(TENOR, high_midi=73)
SOME = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def made(singer: SingerProfile = ROOMY, minutes: float = 12, **rest: object) -> Plan:
    found = plan(TABLE, READING, singer, minutes=minutes, **rest)  # type: ignore[arg-type]
    assert isinstance(found, Plan)
    return found


def test_phases_come_in_pedagogical_order() -> None:
    order = [PHASES.index(s.phase) for s in made(minutes=20).steps]
    assert order == sorted(order)
    assert {"body and breath", "semi-occluded", "five notes", "octave", "approach", "cool-down"} <= {
        s.phase for s in made().steps
    }


def test_the_approach_starts_low_on_an_easy_vowel_and_ends_at_pitch_in_full_voice() -> None:
    steps = [s for s in made().steps if s.phase == "approach"]
    climb, half, *full = steps
    assert climb.tops[0] < 69 == climb.tops[-1]
    assert climb.vowel == "noo"
    assert (half.dynamic, half.tops) == ("half voice", (69,))
    assert 1 <= len(full) <= 3
    assert all(s.dynamic == "full voice" and s.tops == (69,) for s in full)
    assert all(s.rest_s >= 60 for s in full[:-1])
    assert "high" in half.vowel


def test_the_lifted_phrase_is_the_songs_own() -> None:
    full = next(s for s in made().steps if s.dynamic == "full voice")
    sung = [t.midi for t in full.phrases[0].tones if t.line == "voice"]
    assert sung == [57, 57, 57, 69, 67, 64, 62]
    assert [t.midi for t in full.phrases[0].tones if t.mark == "target"] == [69]
    climb = next(s for s in made().steps if s.exercise == "climax-climb")
    for key, phrase in zip(climb.keys, climb.phrases, strict=True):
        below = climb.keys[-1] - key
        assert [t.midi for t in phrase.tones if t.line == "voice"] == [m - below for m in sung]


@pytest.mark.parametrize("minutes", [5, 8, 12, 20, 30])
def test_reasons_name_bars_of_the_song_and_sources_are_named(minutes: float) -> None:
    bars = {m.number for m in TABLE.measures}
    for step in made(minutes=minutes).steps:
        assert step.because.startswith("Because ")
        assert step.because.endswith(".")
        assert f"bar {step.bar}" in step.because
        assert step.bar in bars
        assert step.source


def test_patterns_follow_what_the_song_asks_for() -> None:
    steps = {s.exercise: s for s in made(minutes=20).steps}
    assert "leaps an octave up to A4" in steps["octave-leap"].because
    assert "starts low, on E3 in bar 1" in steps["five-note-down"].because
    assert "holds A4" in steps["closed-to-open"].because
    assert "quick-words" not in steps
    words = ("tum", "ble", "down", "the", "nar", "row", "stair", "and")
    quick = table_of([(60 + i % 5, 0.25, words[i % 8]) for i in range(48)] + [(67, 1.0, "stop")], bpm=96)
    found = plan(quick, reading_of(quick), ROOMY, minutes=20)
    assert isinstance(found, Plan)
    names = [s.exercise for s in found.steps]
    assert "quick-words" in names
    assert "octave-leap" not in names
    assert "closed-to-open" not in names


@pytest.mark.parametrize("condition", ["hoarse", "pain"])
@SOME
@given(table=songs(), singer=singers(), minutes=st.floats(5, 30))
def test_hoarse_or_hurting_voices_get_no_singing(
    condition: Condition, table: NoteTable, singer: SingerProfile, minutes: float
) -> None:
    found = plan(table, reading_of(table), singer, minutes=minutes, condition=condition)
    assert isinstance(found, RestAdvice)
    assert "two weeks" in " ".join(found.lines) or "laryngologist" in " ".join(found.lines)
    assert "158(1S)" in found.source  # Stachler et al. 2018 (seen)
    assert any("emergency" in line for line in found.urgent)


def test_tired_shortens_and_lowers() -> None:
    fresh, tired = made(), made(condition="tired")
    assert tired.seconds < fresh.seconds
    assert tired.today_top <= fresh.today_top - 3
    assert tired.top_midi <= 67 < fresh.top_midi
    assert not tired.reaches_target
    climb, half = (s for s in tired.steps if s.phase == "approach")
    assert (climb.tops[-1], half.tops) == (67, (67,))
    assert "a tone under pitch" in climb.instruction
    assert tired.full_tries == 0
    little = made(condition="a little tired")
    assert tired.seconds <= little.seconds <= fresh.seconds
    assert little.full_tries <= 1


def test_time_away_costs_full_voice() -> None:
    assert made(days_since_singing=20).full_tries <= 1
    assert made(days_since_singing=20).today_top == made().today_top - 1


@SOME
@given(
    table=songs(), singer=singers(), condition=st.sampled_from(["a little tired", "tired"]), minutes=st.floats(5, 30)
)
def test_a_tired_voice_never_gets_more(
    table: NoteTable, singer: SingerProfile, condition: Condition, minutes: float
) -> None:
    reading = reading_of(table)
    fresh = plan(table, reading, singer, minutes=minutes)
    less = plan(table, reading, singer, minutes=minutes, condition=condition)
    if isinstance(fresh, Plan) and isinstance(less, Plan):
        assert less.today_top <= fresh.today_top
        assert less.top_midi <= fresh.top_midi
        assert less.full_tries <= fresh.full_tries or fresh.full_tries == 0
        assert less.minutes < fresh.minutes


def test_with_less_time_the_edges_give_way_first() -> None:
    long, short = made(minutes=12), made(minutes=9)
    for minutes in (9, 10, 15, 20, 30):
        assert [s for s in made(minutes=minutes).steps if s.phase == "approach"] == [
            s for s in long.steps if s.phase == "approach"
        ]
    assert short.seconds_of("body and breath") < long.seconds_of("body and breath")
    assert short.seconds_of("cool-down") < long.seconds_of("cool-down")
    share = [made(minutes=m).seconds_of("approach") / made(minutes=m).seconds for m in (5, 8, 12, 20)]
    assert share[1] > share[2] >= share[3]
    assert share[0] > share[3]


@SOME
@given(table=songs(), singer=singers(), minutes=st.tuples(st.floats(5, 30), st.floats(5, 30)))
def test_the_share_of_the_approach_does_not_shrink_with_the_time(
    table: NoteTable, singer: SingerProfile, minutes: tuple[float, float]
) -> None:
    reading = reading_of(table)
    short, long = (plan(table, reading, singer, minutes=m) for m in sorted(minutes))
    if isinstance(short, Plan) and isinstance(long, Plan):
        edges = [p.seconds - p.seconds_of("approach") for p in (short, long)]
        assert edges[0] <= edges[1] + 30
        kept = [s.exercise for s in short.steps if s.phase == "approach"]
        if short.full_tries == long.full_tries and kept:
            assert short.seconds_of("approach") / short.seconds >= long.seconds_of("approach") / long.seconds - 0.12


@SOME
@given(table=songs(), singer=singers())
def test_a_song_beyond_the_voice_names_keys_that_fit(table: NoteTable, singer: SingerProfile) -> None:
    reading = reading_of(table)
    found = plan(table, reading, singer)
    if not isinstance(found, BeyondVoice):
        return
    high = max(n.midi for n in table.notes if n.part == 0) > singer.high_midi
    assert ("comfortable top" if high else "comfortable bottom") in found.lines[0]
    span = reading.voice.span_semitones
    too_wide = span > singer.high_midi - singer.low_midi
    assert too_wide == ("No key holds the whole song" in found.lines[1])
    assert all(f.lower_reserve >= 0 for f in found.keys) or too_wide
    for fit in found.keys:
        assert fit.upper_reserve >= 0
    if found.offer is not None:
        moved = plan(table, reading, singer, transpose=found.offer)
        assert isinstance(moved, Plan)
        assert moved.transposed == found.offer


def test_a_note_that_strained_is_respected() -> None:
    found = made(replace(ROOMY, strained_at=(70,)))
    assert found.top_midi <= 69
    lower = made(replace(ROOMY, strained_at=(68,)))
    assert lower.top_midi <= 67
    assert not lower.reaches_target
    assert lower.full_tries == 0
    assert any("strained" in n for n in lower.notes)


def test_recording_later_asks_for_silence_and_recording_soon_for_haste() -> None:
    later = made(until_recording_min=120)
    assert any(s.phase == "break" for s in later.steps)
    assert any("not at once" in n for n in later.notes)
    assert later.full_tries <= 1 < made().full_tries, "the voice is kept for the recording"
    soon = made(until_recording_min=6)
    assert soon.seconds <= 360.5
    assert not any(s.phase == "break" for s in soon.steps)


@pytest.mark.parametrize(
    ("singer", "options"),
    [
        (TENOR, {"minutes": 4}),
        (TENOR, {"minutes": 31}),
        (TENOR, {"margin_semitones": 3}),
        (TENOR, {"margin_semitones": -1}),
        (TENOR, {"days_since_singing": -1}),
        (TENOR, {"until_recording_min": 1}),
        (replace(TENOR, strained_at=(TENOR.low_midi + 4,)), {}),
        (replace(TENOR, high_midi=TENOR.low_midi + 8), {}),
        (replace(TENOR, high_midi=TENOR.low_midi + 60), {}),
    ],
)
def test_senseless_wishes_are_refused_in_one_line(singer: SingerProfile, options: dict[str, float]) -> None:
    with pytest.raises(PlanRefused) as refused:
        plan(TABLE, READING, singer, **options)  # type: ignore[arg-type]
    assert "\n" not in refused.value.line
    assert refused.value.remedy


def test_a_leap_is_prepared_by_a_pattern_that_has_room_for_it_and_no_more() -> None:
    for size, name in ((5, "fourth-leap"), (7, "fifth-leap"), (9, "sixth-leap"), (12, "octave-leap")):
        table = table_of([(57, 1, "up"), (57 + size, 1, "you"), (55, 1, "go"), (0, 1, ""), (57, 4, "home")], fifths=1)
        found = plan(table, reading_of(table), ROOMY, minutes=20)
        assert isinstance(found, Plan)
        assert name in [s.exercise for s in found.steps]


def test_no_reason_says_that_the_high_note_was_sung_where_the_plan_stays_below_it() -> None:
    tired = {s.exercise: s.because for s in made(condition="tired", minutes=30).steps}
    assert "below it first" in tired["octave-arpeggio"]
    assert "climbed toward A4" in tired["cool-hum"]


def test_a_man_is_first_offered_the_treble_clef_an_octave_lower() -> None:
    table = table_of([(67, 1, "low"), (72, 1, "and"), (74, 2, "high"), (69, 4, "now")])
    found = plan(table, reading_of(table), TENOR)
    assert isinstance(found, BeyondVoice)
    assert found.offer == -12
    assert "an octave lower than it is printed" in " ".join(found.lines)
    woman = plan(table, reading_of(table), SingerProfile("Robin", "alto", 53, 70, 60, 67))
    assert isinstance(woman, BeyondVoice)
    assert woman.offer != -12


def test_the_same_wish_gives_the_same_plan() -> None:
    assert made() == made()


@pytest.mark.parametrize("condition", ["fresh", "a little tired", "tired"])
@pytest.mark.parametrize("voice", VOICES)
def test_a_slide_across_a_change_crosses_one_and_a_hum_has_keys_to_go_through(
    voice: VoiceType, condition: Condition
) -> None:
    singer = SingerProfile.default("Robin", voice)
    for top in range(singer.low_midi + 12, singer.high_midi + 1, 3):
        table = table_of([(top - 9, 1, "la"), (top - 5, 2, "la"), (top, 3, "la"), (top - 7, 2, "la")])
        made = plan(table, reading_of(table), singer, minutes=12, condition=condition)
        assert isinstance(made, Plan)
        for step in made.steps:
            if step.phase == "transitions":
                assert any(step.low_midi <= at + 1 and at - 1 <= step.top_midi for at in made.transitions)
            if step.phase == "semi-occluded":
                assert len(set(step.keys)) >= 3


def test_the_lifted_phrase_is_not_cut_before_its_last_word() -> None:
    line = [
        (57, 1, "Climb"),
        (59, 1, "up"),
        (60, 1, "and"),
        (69, 6, "look"),
        (67, 1, "in"),
        (65, 1, "my"),
        (64, 4, "face"),
    ]
    for slow, last in ((66.0, "face"), (40.0, "look")):
        table = table_of(line, bpm=slow)
        found = plan(table, reading_of(table), ROOMY, minutes=12)
        assert isinstance(found, Plan)
        half = next(s for s in found.steps if s.exercise == "climax-half")
        assert half.vowel.split()[-1] == last
