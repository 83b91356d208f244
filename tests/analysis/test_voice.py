"""Range, tessitura, dose, breaths, high notes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.analysis.invented import table
from tutor.analysis.columns import sung_line
from tutor.analysis.findings import PhraseSpan, VoiceProfile
from tutor.analysis.voice import assumed_bpm, hertz, profile, quantile, quartiles, vowel
from tutor.music.pitch import Pitch
from tutor.music.table import NoteTable


def measured(song: NoteTable, phrases: tuple[PhraseSpan, ...] = ()) -> VoiceProfile:
    return profile(song, sung_line(song), phrases)


def test_the_worked_example_of_tessitura_and_dose() -> None:
    # Computed from the definitions: 32 beats at 120, first quartile 64, median 65, third quartile 67.
    song = table("C4:3 D4:4 E4:8 F4:4 G4:8 A4:3 C5:2", metre=(4, 4), bpm=120)
    got = measured(song)
    assert (got.low, got.high, got.span_semitones) == ("C4", "C5", 12)
    assert quartiles(got) == ("E4", "F4", "G4")
    assert got.dose.time_s == pytest.approx(16.0)
    assert got.dose.cycles == pytest.approx(5747.967, abs=2e-3)
    assert got.histogram["E4"] == 8.0
    assert got.seconds["E4"] == pytest.approx(4.0)
    assert not got.tempo_assumed


@pytest.mark.parametrize(("name", "seconds", "cycles"), [("A4", 10, 4400.0), ("C4", 60, 15697.534)])
def test_cycle_dose_is_frequency_times_seconds(name: str, seconds: int, cycles: float) -> None:
    song = table(f"{name}:{seconds}", bpm=60)
    assert measured(song).dose.cycles == pytest.approx(cycles, abs=2e-3)
    assert hertz(Pitch.parse(name).midi) * seconds == pytest.approx(cycles, abs=2e-3)


def test_repeats_count_in_sounding_order() -> None:
    song = table("C4:4 G4:4 E4:4", order=[(0, 8, 1), (0, 8, 2), (8, 12, 1)], bpm=60)
    got = measured(song)
    assert got.histogram == {"C4": 8.0, "E4": 4.0, "G4": 8.0}
    assert got.dose.time_s == 20.0


def test_a_tempo_change_counts_from_where_it_stands() -> None:
    song = table("C4:4 C4:4", bpm=60)
    two = NoteTable.loads(song.dumps().replace('"tempos":[{', '"tempos":[{"onset_quarters":4,"bpm":120,"text":""},{'))
    ordered = NoteTable.loads(two.dumps())
    tempos = tuple(sorted(ordered.tempos, key=lambda t: t.onset_quarters))
    assert [t.bpm for t in tempos] == [60, 120]
    from dataclasses import replace

    assert measured(replace(ordered, tempos=tempos)).dose.time_s == pytest.approx(6.0)


def test_a_missing_tempo_is_assumed_and_said() -> None:
    assert measured(table("C4:4")).tempo_assumed
    assert assumed_bpm(table("C4:4")) == 96
    assert assumed_bpm(table("C4:3", metre=(6, 8))) == pytest.approx(94.5)


def test_breaths_are_taken_in_rests_and_between_phrases() -> None:
    song = table("C4:4 D4:4 r:1 E4:3 F4:4", bpm=60)
    assert measured(song).longest_phrase_s == pytest.approx(8.0)
    phrases = (PhraseSpan(0, 0.0, 4.0, ("1", "1"), ""), PhraseSpan(1, 4.0, 16.0, ("2", "4"), ""))
    assert measured(song, phrases).longest_phrase_s == pytest.approx(7.0)


def test_high_notes_carry_syllable_and_vowel_through_a_melisma() -> None:
    song = table("C4:1=come C5:1=love B4:2 G4:2 B4:0.5=so C5:1.5")
    got = measured(song)
    assert [(h.pitch, h.syllable, h.vowel) for h in got.high_notes] == [
        ("C5", "love", "o"),
        ("B4", "love", "o"),
        ("C5", "so", "o"),
    ]
    assert [(leap.lower, leap.upper, leap.semitones) for leap in got.leaps] == [("C4", "C5", 12), ("G4", "B4", 4)]


@pytest.mark.parametrize(
    ("syllable", "found"),
    [
        ("love", "o"),
        ("you", "ou"),
        ("queen", "ee"),
        ("Schön", "ö"),
        ("my", "y"),
        ("sky,", "y"),
        ("hm", ""),
        ("eau", "eau"),
    ],
)
def test_vowels(syllable: str, found: str) -> None:
    assert vowel(syllable) == found


def test_the_climax_is_the_best_supported_of_the_highest_notes() -> None:
    song = table("C4:1 E5:1 C4:2 D4:4 C4:1 E5:3=high C4:4")
    climax = measured(song).climax
    assert climax is not None
    assert (climax.start, climax.pitch, climax.held_ql, climax.bar) == (9.0, "E5", 3.0, "3")
    assert climax.approach == "leap of a major tenth up from C4"
    assert "highest pitch of the song, sung 2 times" in climax.why
    assert "held longest of these" in climax.why


@given(st.dictionaries(st.integers(40, 80), st.floats(0.25, 8), min_size=1), st.floats(0.01, 1))
def test_a_quantile_is_a_sung_pitch_with_enough_below(weights: dict[int, float], share: float) -> None:
    point = quantile(weights, share)
    total = sum(weights.values())
    assert point in weights
    assert sum(w for m, w in weights.items() if m <= point) >= share * total - 1e-6
    assert sum(w for m, w in weights.items() if m < point) < share * total + 1e-6


@given(st.integers(-5, 7))
def test_transposing_moves_the_compass_and_nothing_else(semitones: int) -> None:
    base = [60, 64, 67, 72, 62]

    def sung(shift: int) -> VoiceProfile:
        return measured(table(" ".join(f"{Pitch.from_midi(m + shift)}:2" for m in base)))

    one, two = sung(0), sung(semitones)
    assert Pitch.parse(two.low).midi - Pitch.parse(one.low).midi == semitones
    assert one.span_semitones == two.span_semitones
    assert one.dose.time_s == two.dose.time_s
    assert [h.start for h in one.high_notes] == [h.start for h in two.high_notes]
