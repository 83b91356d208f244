"""The playback engine against a clock that the test turns."""

from __future__ import annotations

import time
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tutor.music.phrase import Phrase
from tutor.sound.ahead import AheadSource
from tutor.sound.engine import Engine, Settings
from tutor.sound.ports import RATE, Samples
from tutor.sound.synth import Timeline, render, timeline_of, window
from tutor.sound.tape import TapePlayer
from tutor.sound.track import follow


class Clock:
    """Seconds that pass when the test says so."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        """Seconds."""
        return self.now


SCALE = Phrase.parse("C4:1 D4:1 E4:1 F4:1 G4:1 A4:1 B4:1 C5:1", bpm=60)


def engine(phrase: Phrase = SCALE, **settings: object) -> tuple[Engine, Clock, TapePlayer]:
    clock = Clock()
    player = TapePlayer(clock)
    made = Engine(player, Settings(**settings))  # type: ignore[arg-type]
    made.load(phrase)
    if "loop" in settings:
        made.set(loop=settings["loop"])
    return made, clock, player


def state(made: Engine) -> str:
    return made.state


def heard(player: TapePlayer, seconds: float, *, at_s: float = 0.0) -> Samples:
    """What the latest source gives, read as a device would, waiting for the worker."""
    source = player.sources[-1]
    assert isinstance(source, AheadSource)
    out = []
    for start in range(round(at_s * RATE), round((at_s + seconds) * RATE), 4800):
        late = source.late
        part = source.read(start, 4800)
        while source.late > late:
            late = source.late
            time.sleep(0.005)
            part = source.read(start, 4800)
        out.append(part)
    return np.concatenate(out)


def pitch(samples: Samples) -> float:
    """The pitch sung or played, hertz."""
    _, hertz, _, _ = follow(samples)
    return float(np.median(hertz[hertz > 0]))


def onsets(samples: Samples) -> list[float]:
    """Seconds at which clicks begin."""
    loud = np.abs(samples) > 0.02
    edges = np.flatnonzero(loud & ~np.concatenate(([False], loud[:-1])))
    starts = [e for i, e in enumerate(edges) if i == 0 or e - edges[i - 1] > 0.1 * RATE]
    return [s / RATE for s in starts]


def test_the_position_follows_the_stream_clock() -> None:
    made, clock, _ = engine()
    made.play()
    clock.now = 2.5
    assert state(made) == "playing"
    assert made.position_quarters == pytest.approx(2.5)
    made.pause()
    clock.now = 9.0
    assert state(made) == "paused"
    assert made.position_quarters == pytest.approx(2.5)
    made.play()
    clock.now = 10.0
    assert made.position_quarters == pytest.approx(3.5)
    made.stop()
    assert made.position_quarters == 0.0


def test_it_ends_by_itself_and_starts_again() -> None:
    made, clock, _ = engine()
    made.play()
    clock.now = 8.5
    assert made.state == "stopped"
    made.play()
    clock.now = 9.0
    assert made.position_quarters == pytest.approx(0.5)


@pytest.mark.parametrize("tempo", [0.4, 0.75, 1.0, 1.6])
def test_tempo_moves_the_notes_and_not_their_pitch(tempo: float) -> None:
    made, clock, player = engine(tempo=tempo)
    made.play(2.0)
    assert pitch(heard(player, 0.3, at_s=0.1)) == pytest.approx(329.63, abs=0.5)
    clock.now = 1.0
    assert made.position_quarters == pytest.approx(2.0 + tempo)
    made.set(tempo=9.0)
    assert made.settings.tempo == 1.6
    assert made.position_quarters == pytest.approx(2.0 + tempo)


def test_transposing_moves_what_is_heard() -> None:
    made, _, player = engine(semitones=-3)
    made.play()
    assert pitch(heard(player, 0.4, at_s=0.1)) == pytest.approx(220.0, abs=0.5)


def test_a_loop_comes_round() -> None:
    made, clock, player = engine(loop=(2.0, 4.0))
    made.play()
    assert made.position_quarters == pytest.approx(2.0)
    clock.now = 2.5
    assert made.position_quarters == pytest.approx(2.5)
    clock.now = 203.0
    assert made.state == "playing"
    assert made.position_quarters == pytest.approx(3.0)
    sound = heard(player, 6.0)
    for turn in range(3):
        assert pitch(sound[(2 * turn * RATE) + 4800 :][: RATE // 2]) == pytest.approx(329.63, abs=0.5)
        assert pitch(sound[((2 * turn + 1) * RATE) + 9600 :][: RATE // 2]) == pytest.approx(349.23, abs=0.5)


def test_count_in_gives_a_bar_of_clicks_first() -> None:
    made, clock, player = engine(count_in=1)
    made.play(4.0)
    clock.now = 3.0
    assert state(made) == "counting in"
    assert made.position_quarters == pytest.approx(3.0)
    clock.now = 5.0
    assert state(made) == "playing"
    assert made.position_quarters == pytest.approx(5.0)
    sound = heard(player, 5.0)
    assert onsets(sound[: round(3.9 * RATE)]) == pytest.approx([0, 1, 2, 3], abs=0.003)
    assert pitch(sound[round(4.2 * RATE) : round(4.8 * RATE)]) == pytest.approx(392.0, abs=0.5)


def test_the_metronome_beats_in_dotted_values_in_compound_time() -> None:
    phrase = Phrase(SCALE.tones, bpm=60, numerator=6, denominator=8)
    made, _, player = engine(phrase, metronome=True, mute=frozenset({"voice"}))
    made.play()
    assert onsets(heard(player, 5.9)) == pytest.approx([0, 1.5, 3.0, 4.5], abs=0.003)


def test_muting_and_solo() -> None:
    phrase = Phrase((*SCALE.tones, *Phrase.parse("C2:8", line="lower").tones), bpm=60)
    made, _, player = engine(phrase, solo=frozenset({"lower"}))
    made.play()
    alone = heard(player, 1.0)
    assert np.allclose(alone[6000:40000], render(phrase.only("lower")).samples[6000:40000], atol=1e-5)
    made.set(solo=frozenset(), mute=frozenset({"voice", "lower"}))
    assert not heard(player, 1.0).any()


def test_chunks_join_to_the_sample() -> None:
    phrase = Phrase.parse("C3+E4+G4:1.5 A3+C4+F4:2 r:0.5 G2+B3+D4+F4:3", bpm=97, line="upper")
    made, _, player = engine(phrase)
    made.play()
    whole = render(phrase).samples
    part = heard(player, 4.0)
    assert np.allclose(part, whole[: len(part)], atol=1e-5)


def test_starting_in_the_middle_of_a_held_note_does_not_click() -> None:
    made, _, player = engine(Phrase.parse("A3:8", bpm=60))
    made.play(3.37)
    start = heard(player, 0.1)
    assert abs(start[0]) < 1e-6
    assert np.max(np.abs(np.diff(start[:480]))) < 0.02


def test_any_bar_of_a_long_song_starts_at_once() -> None:
    text = " ".join(["C2+G3+E4+C5:1 G2+B3+D4+G4:1 A2+C4+E4+A4:1 F2+A3+C4+F4:1"] * 150)
    made, _, _ = engine(Phrase.parse(text, bpm=120, line="upper"))
    made.play(16.0)
    times = []
    for bar in range(20, 140, 8):
        begin = time.perf_counter()
        made.seek(bar * 4.0)
        times.append(time.perf_counter() - begin)
    made.close()
    assert sorted(times)[len(times) // 2] < 0.03


def test_windows_of_any_size_agree() -> None:
    phrase = Phrase.parse("C2+G2+C3+E3+G3+C4+E4+G4+C5+E5:2", bpm=120, line="upper")
    notes = timeline_of(phrase).notes
    loud = Timeline(notes.plus(notes).plus(notes))
    whole = window(loud, 0, 60000)
    cuts = [0, 1, 999, 12345, 12346, 40000, 60000]
    joined = np.concatenate([window(loud, a, b) for a, b in pairwise(cuts)])
    assert np.allclose(whole, joined, atol=1e-5)


ACTIONS = st.one_of(
    st.tuples(st.just("wait"), st.floats(0.0, 3.0)),
    st.tuples(st.just("play"), st.none()),
    st.tuples(st.just("pause"), st.none()),
    st.tuples(st.just("seek"), st.floats(-1.0, 9.0)),
    st.tuples(st.just("tempo"), st.floats(0.3, 2.0)),
    st.tuples(st.just("semitones"), st.integers(-6, 6)),
    st.tuples(st.just("metronome"), st.booleans()),
)


@given(st.lists(ACTIONS, max_size=12))
@settings(max_examples=120, deadline=None)
def test_the_place_is_always_where_the_sound_is(actions: list[tuple[str, float | None]]) -> None:
    made, clock, _ = engine()
    place, running = 0.0, False
    for what, value in actions:
        if what == "wait":
            clock.now += value or 0.0
            if running:
                place += (value or 0.0) * made.bpm / 60
                if place >= 8.0 + 0.4 * made.bpm / 60 - 1e-6:
                    assert state(made) == "stopped"
                    place, running = 0.0, False
        elif what == "play":
            made.play()
            place, running = (place, True) if running or place < 8.0 - 1e-6 else (0.0, True)
        elif what == "pause":
            made.pause()
            place, running = min(place, 8.0), False
        elif what == "seek":
            made.seek(value or 0.0)
            place = min(max(value or 0.0, 0.0), 8.0)
        else:
            made.set(**{what: value})
        assert made.position_quarters == pytest.approx(min(place, 8.0), abs=1e-3)
    made.close()
