"""Playing, tapping and singing judged."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.music.take import SungNote, Take
from tutor.practice.marking import played, sung, tapped

LINE = ((60, 0.0, 1.0), (62, 1.0, 1.0), (64, 2.0, 1.0), (60, 3.0, 1.0))
MIDIS = [60, 62, 64, 60]


def take(midis: list[float], *, beat_s: float = 0.6, late: tuple[float, ...] = (), start_s: float = 0.4) -> Take:
    offs = late or (0.0,) * len(midis)
    return Take(notes=tuple(SungNote(start_s + (i + o) * beat_s, beat_s * 0.9, m)
                            for i, (m, o) in enumerate(zip(midis, offs, strict=True))))  # fmt: skip


def test_all_right() -> None:
    assert played(MIDIS, MIDIS, in_order=True, any_octave=False).credit == 1.0


def test_another_octave_for_the_whole_line() -> None:
    assert played([m - 12 for m in MIDIS], MIDIS, in_order=True, any_octave=True).credit == 1.0
    assert played([m - 12 for m in MIDIS], MIDIS, in_order=True, any_octave=False).credit == 0.0
    # A single note turned down an octave breaks the line's direction and counts as wrong.
    assert played([60, 62, 52, 60], MIDIS, in_order=True, any_octave=True).credit == 0.75


def test_a_note_left_out_or_added_costs_its_share() -> None:
    assert played([60, 64, 60], MIDIS, in_order=True, any_octave=False).credit == 0.75
    extra = played([60, 62, 63, 64, 60], MIDIS, in_order=True, any_octave=False)
    assert extra.credit == 0.8
    assert extra.hits == (True, True, True, True)
    assert "one note too many" in extra.words


def test_order_matters_in_a_melody_and_not_in_a_chord() -> None:
    assert played([64, 62, 60], [60, 62, 64], in_order=True, any_octave=False).credit < 0.5
    assert played([64, 62, 60], [60, 62, 64], in_order=False, any_octave=False).credit == 1.0
    assert played([76, 62, 48], [60, 62, 64], in_order=False, any_octave=True).credit == 1.0


def test_nothing_played_earns_nothing() -> None:
    assert played([], MIDIS, in_order=True, any_octave=True).credit == 0.0


@given(st.lists(st.integers(48, 72), min_size=1, max_size=12), st.lists(st.integers(48, 72), min_size=1, max_size=12))
def test_credit_of_playing_stays_in_bounds(a: list[int], b: list[int]) -> None:
    for in_order in (True, False):
        for octave in (True, False):
            judged = played(a, b, in_order=in_order, any_octave=octave)
            assert 0 <= judged.credit <= 1
            assert len(judged.hits) == len(b)
    assert played(b, b, in_order=True, any_octave=False).credit == 1.0


def test_taps() -> None:
    places = [16.0, 32.0, 48.0]
    assert tapped([16.5, 31.0, 49.9], places).credit == 1.0
    assert tapped([16.0, 32.0], places).credit == pytest.approx(0.8)
    assert tapped([16.0, 24.0, 32.0, 48.0], places).credit == pytest.approx(6 / 7, abs=1e-4)
    assert tapped([], places).credit == 0.0
    assert tapped([18.1, 34.1, 50.1], places).credit == 0.0


def test_one_tap_serves_one_place() -> None:
    assert tapped([17.0], [16.0, 18.0]).credit == pytest.approx(2 / 3, abs=1e-4)


def test_sung_in_tune() -> None:
    judged = sung(take([60, 62, 64, 60]), LINE, bpm=100, rhythm=True)
    assert judged.credit == 1.0
    assert judged.hits == (True,) * 4


@pytest.mark.parametrize(
    ("cents", "border", "credit"),
    [(24, 50, 1.0), (49, 50, 1.0), (51, 50, 0.5), (79, 50, 0.5), (81, 50, 0.0), (24, 25, 1.0), (26, 25, 0.5)],
)
def test_cents_decide(cents: float, border: float, credit: float) -> None:
    for sign in (1, -1):
        judged = sung(take([60 + sign * cents / 100]), LINE[:1], bpm=100, cents=border)
        assert judged.credit == credit
        assert str(round(cents)) in judged.words


def test_both_borders_are_told() -> None:
    words = sung(take([60.4, 62, 64, 60]), LINE, bpm=100).words
    assert "4 of 4 notes lay within 50 cents" in words
    assert "3 of them within 25" in words


def test_octave_only_where_it_is_free() -> None:
    low = take([48, 50, 52, 48])
    assert sung(low, LINE, bpm=100, any_octave=True).credit == 1.0
    assert sung(low, LINE, bpm=100).credit == 0.0


def test_a_slower_steady_tempo_is_in_time() -> None:
    judged = sung(take([60, 62, 64, 60], beat_s=1.0), LINE, bpm=100, rhythm=True)
    assert judged.credit == 1.0


def test_a_late_note_costs_a_third_of_its_share() -> None:
    judged = sung(take([60, 62, 64, 60], late=(0, 0, 0.6, 0)), LINE, bpm=100, rhythm=True)
    assert judged.credit == pytest.approx(1 - 1 / 12, abs=0.001)
    assert judged.hits[2] is False


def test_a_missing_note_and_a_scoop() -> None:
    assert sung(take([60, 64, 60]), LINE, bpm=100).credit == 0.75
    scoop = Take(notes=(SungNote(0.0, 0.08, 58.0), *take([60, 62, 64, 60]).notes))
    assert sung(scoop, LINE, bpm=100).credit == 1.0


def test_singing_every_note_there_is_does_not_help() -> None:
    everything = take([float(m) for m in range(55, 75)])
    assert sung(everything, LINE, bpm=100).credit < 0.4


@pytest.mark.parametrize("problem", ["too quiet", "clipping", "no input"])
def test_a_problem_is_said_and_earns_nothing(problem: str) -> None:
    judged = sung(Take(problem=problem), LINE, bpm=100)
    assert judged.credit == 0
    assert "Nothing could be judged" in judged.words


def test_nobody_sang() -> None:
    assert sung(Take(), LINE, bpm=100).credit == 0


def test_noise_never_breaks_the_judge() -> None:
    rng = random.Random(2)
    for _ in range(200):
        notes = tuple(SungNote(rng.random() * 5, rng.random(), rng.uniform(36, 90)) for _ in range(rng.randrange(12)))
        judged = sung(Take(notes=notes), LINE, bpm=rng.uniform(40, 160), rhythm=True, any_octave=rng.random() < 0.5)
        assert 0 <= judged.credit <= 1
        assert not math.isnan(judged.credit)


def test_a_tone_cut_in_two_is_one_tone() -> None:
    cut = Take(notes=(SungNote(0.0, 0.6, 60.1), SungNote(0.7, 0.8, 60.0)))
    assert sung(cut, LINE[:1], bpm=60).credit == 1.0


def test_searching_for_the_note_costs() -> None:
    search = Take(notes=(SungNote(0.0, 0.8, 57.0), SungNote(1.0, 0.8, 60.0)))
    assert sung(search, LINE[:1], bpm=60).credit == 0.5
    slide = Take(notes=(SungNote(0.0, 0.12, 57.0), SungNote(0.15, 0.8, 60.0)))
    assert sung(slide, LINE[:1], bpm=60).credit == 1.0
