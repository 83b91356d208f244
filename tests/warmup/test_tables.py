"""Tables, frequencies, reserves and doses against published or exact values; each test names its source."""

from __future__ import annotations

from itertools import pairwise

import pytest

from tests.warmup.songs import reading_of, table_of
from tutor.music.pitch import Pitch
from tutor.music.voice import VOICES, SingerProfile, VoiceType
from tutor.warmup import limits
from tutor.warmup.exercises import EXERCISES, keys_up, semitones
from tutor.warmup.fit import keys_that_fit, reserves, sits
from tutor.warmup.load import dose


@pytest.mark.parametrize(
    ("name", "count", "last"),
    [("five-note", 11, "Bb4"), ("octave-arpeggio", 6, "F4")],
)
def test_keys_from_c4_under_f5(name: str, count: int, last: str) -> None:
    """Exact: 77 - 7 - 60 + 1 = 11 keys, 77 - 12 - 60 + 1 = 6 keys."""
    keys = keys_up(EXERCISES[name], 60, 77)
    assert len(keys) == count
    assert keys[-1] == Pitch.parse(last).midi


@pytest.mark.parametrize(("name", "notes", "span"), [("five-note", 9, 7), ("octave-arpeggio", 7, 12)])
def test_patterns_by_definition(name: str, notes: int, span: int) -> None:
    """By definition of the patterns 1-2-3-4-5-4-3-2-1 and 1-3-5-8-5-3-1; the root is the target less the span."""
    exercise = EXERCISES[name]
    assert (len(exercise.pattern), exercise.span) == (notes, span)
    assert keys_up(exercise, 60, 60 + span) == [60]


def test_degrees_of_the_major_scale() -> None:
    """By definition of the major scale."""
    assert [semitones(d) for d in range(1, 11)] == [0, 2, 4, 5, 7, 9, 11, 12, 14, 16]


def test_reserves_and_tessitura_shift() -> None:
    """Herbst, Duus, Jers and Švec, Int. J. Research in Choral Singing 4(1), 2012 (seen): TS = (LR - UR) / 2."""
    assert reserves(60, 81, 53, 84) == (7, 3, 2.0)
    assert reserves(48, 67, 40, 76) == (8, 9, -0.5)


def test_doses() -> None:
    """Titze, Švec and Popolo, JSLHR 46(4), 2003 (names seen, formulas recalled): exact values of the definitions."""
    assert dose([(Pitch.parse("A4").hz, 10)]) == pytest.approx((10, 4400))
    assert dose([(Pitch.parse("C4").hz, 60)])[1] == pytest.approx(15697.534, abs=5e-4)
    song = [(60, 3), (62, 4), (64, 8), (65, 4), (67, 8), (69, 3), (72, 2)]
    time_s, cycles = dose((Pitch.from_midi(m).hz, beats / 2) for m, beats in song)
    assert time_s == 16
    assert cycles == pytest.approx(5747.967, abs=5e-4)
    assert cycles / time_s == pytest.approx(359.248, abs=5e-4)


PASSAGGI = {
    "soprano": ("Eb4", "F#5"), "mezzo-soprano": ("E4", "E5"), "alto": ("G4", "D5"), "tenor": ("D4", "G4"),
    "baritone": ("B3", "E4"), "bass": ("A3", "D4"),
}  # fmt: skip
"""R. Miller, The Structure of Singing, 1986, register tables (recalled, not looked up): soprano, mezzo-soprano,
contralto, lyric tenor, lyric baritone, basso cantante."""


@pytest.mark.parametrize("voice", sorted(PASSAGGI))
def test_transitions_against_the_recalled_table(voice: VoiceType) -> None:
    """R. Miller 1986, recalled; sources differ, so a semitone either way is accepted."""
    first, second = (Pitch.parse(name).midi for name in PASSAGGI[voice])
    assert abs(VOICES[voice].first_transition - first) <= 1
    assert abs(VOICES[voice].second_transition - second) <= 1


@pytest.mark.parametrize("voice", ["tenor", "baritone", "bass"])
def test_male_zones_are_a_fourth_wide(voice: VoiceType) -> None:
    """R. Miller 1986, recalled: every male zone is a perfect fourth."""
    assert VOICES[voice].second_transition - VOICES[voice].first_transition == 5


def test_ranges_in_the_order_of_the_voices() -> None:
    """Soprano C4-C6 (liquisearch.com/soprano, seen) and mezzo-soprano A3-A5 (myoperas.com, seen); the rest by order."""
    assert (VOICES["soprano"].low, VOICES["soprano"].high) == (60, 84)
    assert (VOICES["mezzo-soprano"].low, VOICES["mezzo-soprano"].high) == (57, 81)
    order: list[VoiceType] = ["soprano", "mezzo-soprano", "alto", "tenor", "baritone", "bass"]
    rows = [VOICES[v] for v in order]
    assert all(r.low < r.first_transition <= r.second_transition < r.high for r in rows)
    assert all(a.low > b.low and a.high > b.high for a, b in pairwise(rows))


def test_semi_occluded_time_stays_in_the_common_ground() -> None:
    """Straw studies (69 and 55 people, abstracts seen): 3 to 5 minutes is the common ground, discomfort rose at 10."""
    assert 180 <= limits.SEMI_OCCLUDED_S.value <= limits.SEMI_OCCLUDED_MOST_S.value <= 300


def test_every_limit_names_its_source_and_its_status() -> None:
    """Our own rule: a choice says that it is one."""
    assert len(limits.LIMITS) > 20
    for limit in limits.LIMITS:
        assert limit.source
        assert limit.unit
        assert limit.status in ("seen", "recalled", "choice")


def test_every_exercise_names_its_source() -> None:
    """Our own rule: a source, or 'common practice'."""
    for exercise in EXERCISES.values():
        assert exercise.source
        assert exercise.instruction.endswith(".")
        assert len(exercise.sounds) in (0, 1, len(exercise.pattern))


def test_fit_puts_roomy_and_central_keys_first() -> None:
    """Two semitones of upper reserve come first (a choice of ours, leaning on Herbst et al. 2012)."""
    table = table_of([(60, 2, ""), (64, 2, ""), (67, 2, ""), (72, 2, "")])
    reading = reading_of(table)
    singer = SingerProfile("Kim", "baritone", 45, 67, 59, 64)
    keys = keys_that_fit(reading, singer)
    assert keys[0].upper_reserve >= 2
    assert [k.semitones for k in keys if k.upper_reserve < 2] == [k.semitones for k in keys][-2:]
    assert all(k.semitones >= -15 and 72 + k.semitones <= 67 for k in keys)
    assert sits(reading, singer, -5).upper_reserve == 0
    assert sits(reading, singer, -5).key == "G major"
    assert sits(reading, singer, -2).interval == "a tone down"
