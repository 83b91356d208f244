"""Whole songs from any bar, against a clock that the test turns."""

from __future__ import annotations

import numpy as np
import pytest

from tests.studio.players import heard, loudest_hz, made, song, state
from tutor.music.phrase import Line
from tutor.music.pitch import Pitch
from tutor.music.table import OrderRow, TempoRow
from tutor.studio.playback import piece, spans, tempo_step

REPEATED = (OrderRow(0.0, 16.0, 1), OrderRow(0.0, 8.0, 2), OrderRow(16.0, 32.0, 1))
"""Bars 1 to 4, then 1 and 2 again, then 5 to 8."""


# -- laying out


def test_repeats_are_laid_out_and_lead_back_to_the_page() -> None:
    laid = piece(song(order=REPEATED))
    sung = [t.midi for t in laid.phrase.tones if t.line == "voice"]
    assert sung == [60, 61, 62, 63, 60, 61, 64, 65, 66, 67]
    assert laid.phrase.length_quarters == pytest.approx(40.0)
    assert [laid.written(at) for at in (0.0, 15.0, 16.0, 21.0, 24.0, 39.0)] == [0.0, 15.0, 0.0, 5.0, 16.0, 31.0]
    assert laid.heard(4.0) == 4.0
    assert laid.heard(4.0, near=23.0) == 20.0
    printed = piece(song(order=REPEATED), in_order=False)
    assert printed.phrase.length_quarters == pytest.approx(32.0)
    assert printed.written(20.0) == 20.0


def test_a_stretch_that_runs_on_is_not_cut() -> None:
    rows = (OrderRow(0.0, 16.0, 1), OrderRow(16.0, 32.0, 2))
    assert spans(song(order=rows), in_order=True) == [(0.0, 32.0)]
    assert spans(song(), in_order=True) == [(0.0, 32.0)]


def test_a_change_of_tempo_is_heard_and_its_place_found() -> None:
    slow = song(tempos=(TempoRow(0.0, 120.0), TempoRow(16.0, 60.0)))
    laid = piece(slow)
    assert laid.phrase.bpm == 120.0
    assert laid.phrase.length_s == pytest.approx(16 / 2 + 16)
    assert laid.heard(20.0) == pytest.approx(24.0)
    assert laid.written(24.0) == pytest.approx(20.0)
    assert laid.written(8.0) == pytest.approx(8.0)
    there = piece(slow, at=20.0)
    assert there.phrase.bpm == 60.0
    assert there.phrase.length_s == pytest.approx(24.0)


def test_the_metronome_follows_the_metre() -> None:
    clicks = [t for t in piece(song(4, waltz_from=2)).phrase.tones if t.line == "click"]
    assert [t.onset_quarters for t in clicks] == [float(n) for n in range(14)]
    assert [t.onset_quarters for t in clicks if t.pitch.octave == 6] == [0.0, 4.0, 8.0, 11.0]


# -- playing


def test_it_plays_from_any_bar_to_the_end_of_the_song() -> None:
    playback, clock, player = made(song(order=REPEATED))
    playback.set(mute=("upper", "lower"))
    playback.play(12.0)
    partial = loudest_hz(heard(player, 1.0, 0.2)) / Pitch.from_midi(63).hz
    assert round(partial) >= 1
    assert partial == pytest.approx(round(partial), abs=0.03)
    clock.now = 3.0
    assert playback.place == pytest.approx(15.0)
    clock.now = 5.0
    assert playback.place == pytest.approx(1.0), "the repeat begins"
    clock.now = 27.5
    assert playback.running
    assert playback.place == pytest.approx(31.5)
    clock.now = 29.0
    assert playback.state == "stopped"
    playback.close()


def test_it_goes_on_where_it_was_paused_and_seeks_while_it_plays() -> None:
    playback, clock, _ = made(song())
    playback.play(4.0)
    clock.now = 1.5
    playback.pause()
    clock.now = 100.0
    assert playback.state == "paused"
    assert playback.place == pytest.approx(5.5)
    playback.resume()
    clock.now = 101.0
    assert playback.place == pytest.approx(6.5)
    playback.seek(20.0)
    clock.now = 101.5
    assert playback.running
    assert playback.place == pytest.approx(20.5)
    playback.close()


def test_a_passage_goes_round_and_is_left_by_going_elsewhere() -> None:
    playback, clock, _ = made(song(order=REPEATED))
    playback.set(count_in=1)
    playback.loop(8.0, 16.0)
    assert state(playback) == "counting in"
    clock.now = 4.0 + 9.0
    assert playback.place == pytest.approx(9.0)
    playback.seek(12.0)
    clock.now += 5.0
    assert playback.place == pytest.approx(9.0), "still inside the loop"
    playback.seek(20.0)
    clock.now += 1.0
    assert state(playback) == "playing", "not counted in again"
    assert playback.place == pytest.approx(21.0)
    assert playback.settings.count_in == 1
    clock.now += 10.0
    assert playback.place == pytest.approx(31.0)
    playback.close()


def test_counting_in_takes_the_tempo_and_metre_of_the_place() -> None:
    playback, clock, _ = made(song(tempos=(TempoRow(0.0, 60.0), TempoRow(16.0, 120.0)), waltz_from=4))
    playback.set(count_in=1)
    playback.play(19.0)
    clock.now = 1.4
    assert state(playback) == "counting in"
    clock.now = 1.5 + 0.5
    assert state(playback) == "playing"
    assert playback.place == pytest.approx(20.0)
    playback.close()


def test_tempo_lines_and_clicks_change_while_it_plays() -> None:
    playback, clock, player = made(song())
    playback.play(0.0)
    clock.now = 1.0
    playback.set(tempo=0.5)
    clock.now = 3.0
    assert playback.place == pytest.approx(2.0)
    playback.set(mute=("upper", "lower", "voice"))
    assert np.max(np.abs(heard(player, 0.4, 0.2))) < 1e-4
    playback.set(metronome=True)
    assert np.max(np.abs(heard(player, 2.1))) > 0.02
    playback.set(metronome=False, mute=())
    assert np.max(np.abs(heard(player, 0.4, 0.2))) > 0.02
    sources = len(player.sources)
    playback.set(mute=(), tempo=0.5)
    assert len(player.sources) == sources, "nothing changed, nothing begins anew"
    playback.close()


@pytest.mark.parametrize(("mute", "line"), [(("upper", "lower"), "voice"), (("voice",), "lower")])
def test_voice_and_piano_are_heard_alone(mute: tuple[Line, ...], line: str) -> None:
    playback, _, player = made(song())
    playback.set(mute=mute)
    playback.play(0.0)
    partial = loudest_hz(heard(player, 1.0, 0.2)) / Pitch.from_midi(60 if line == "voice" else 36).hz
    assert partial == pytest.approx(round(partial), abs=0.03)
    alone = piece(song()).phrase.only("voice", "lower")
    assert {t.line for t in alone.tones if t.line not in mute} == {line}
    playback.close()


def test_tempo_moves_by_tenths_within_limits() -> None:
    assert tempo_step(1.0, -1) == 0.9
    assert tempo_step(0.4, -1) == 0.4
    assert tempo_step(1.6, 1) == 1.6
