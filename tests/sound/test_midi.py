"""MIDI without devices: gathering chords, timing of messages, files, and machines without MIDI."""

from __future__ import annotations

import importlib.util
import itertools
import subprocess
import threading
import time
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.errors import PortUnavailable
from tutor.music.phrase import Phrase
from tutor.sound import midi
from tutor.sound.ahead import Loop
from tutor.sound.chords import WINDOW_S, Gatherer
from tutor.sound.engine import Engine, Settings
from tutor.sound.instrument import InstrumentPlayer, messages
from tutor.sound.ports import RATE, Clip, KeyEvent
from tutor.sound.synth import Timeline, render, timeline_of
from tutor.sound.timeline import NO_NOTES


class Sent:
    """An instrument that remembers what it was sent."""

    name = "paper synthesizer"

    def __init__(self) -> None:
        self.got: list[tuple[int, ...]] = []
        self.calm = False
        self.gone = False

    def send(self, *message: int) -> None:
        """Remember."""
        if self.gone:
            raise PortUnavailable("The MIDI instrument 'paper synthesizer' has gone")
        self.got.append(message)

    def panic(self) -> None:
        """Remember that too."""
        self.calm = True

    def close(self) -> None:
        """As the real one does."""
        self.panic()

    @property
    def sounding(self) -> set[tuple[int, int]]:
        """Notes begun and not ended."""
        on: set[tuple[int, int]] = set()
        for status, note, _ in self.got:
            (on.add if status & 0xF0 == 0x90 else on.discard)((status & 0x0F, note))
        return on


def press(midi_: int, at_s: float, velocity: int = 80) -> KeyEvent:
    return KeyEvent(midi_, velocity, at_s)


def test_a_chord_ends_when_its_window_has_passed() -> None:
    gatherer = Gatherer()
    assert gatherer.feed(press(60, 1.0)) == ()
    assert gatherer.feed(press(64, 1.05)) == ()
    assert gatherer.feed(press(60, 1.06, 0)) == ()
    assert gatherer.feed(press(67, 1.14)) == ()
    assert gatherer.held == {64, 67}
    assert gatherer.poll(1.2) == ()
    assert gatherer.poll(1.3) == (60, 64, 67)
    assert gatherer.poll(9.0) == ()


def test_the_next_press_closes_the_chord_before_it() -> None:
    gatherer = Gatherer()
    gatherer.feed(press(60, 0.0))
    assert gatherer.feed(press(62, 0.5)) == (60,)
    assert gatherer.feed(press(64, 1.0)) == (62,)


@given(st.lists(st.tuples(st.integers(0, 127), st.floats(0.0, 0.5)), min_size=1, max_size=30))
def test_no_key_is_lost_and_none_is_doubled(steps: list[tuple[int, float]]) -> None:
    gatherer, now = Gatherer(), 0.0
    chords: list[tuple[int, ...]] = []
    for note, pause in steps:
        now += pause
        chords.append(gatherer.feed(press(note, now)))
    chords.append(gatherer.poll(now + 1.0))
    assert all(len(set(c)) == len(c) for c in chords)
    kept = [n for c in chords for n in c]
    heard = [n for i, (n, p) in enumerate(steps) if i == 0 or p > WINDOW_S or n != steps[i - 1][0]]
    assert set(kept) == {n for n, _ in steps}
    assert len(kept) <= len(heard)


def test_every_note_on_has_its_note_off_also_when_a_key_is_struck_again() -> None:
    phrase = Phrase.parse("C4+E4:2 C4:1 C4:1", bpm=120, line="upper")
    double = Phrase((*phrase.tones, *Phrase.parse("r:1 C4:4", line="upper").tones), bpm=120)
    on: set[tuple[int, int]] = set()
    last = 0.0
    for at, (status, note, _) in messages(timeline_of(double)):
        assert at >= last
        last = at
        key = (status & 0x0F, note)
        if status & 0xF0 == 0x90:
            assert key not in on, "struck again before it was released"
            on.add(key)
        else:
            on.discard(key)
    assert not on


def test_a_loop_of_messages_goes_on() -> None:
    turn = timeline_of(Phrase.parse("C4:1 D4:1", bpm=60))
    loop = Loop(Timeline(NO_NOTES), 0, turn, 2 * RATE)
    starts = [(round(at, 3), m[1]) for at, m in itertools.islice(messages(loop), 40) if m[0] & 0xF0 == 0x90]
    assert starts[:6] == [(0, 60), (1, 62), (2, 60), (3, 62), (4, 60), (5, 62)]


def test_stopping_releases_what_sounds() -> None:
    sent = Sent()
    player = InstrumentPlayer(sent)
    engine = Engine(player, Settings(tempo=1.0))
    engine.load(Phrase.parse("C4+E4+G4:8", bpm=60, line="upper"))
    engine.play()
    deadline = time.monotonic() + 3
    while len(sent.got) < 3 and time.monotonic() < deadline:
        time.sleep(0.005)
    assert len(sent.sounding) == 3
    assert engine.state == "playing"
    engine.pause()
    assert not sent.sounding
    engine.play()
    engine.load(Phrase.parse("C4:1"))
    assert not sent.sounding
    player.close()
    assert sent.calm


def test_an_instrument_that_goes_away_pauses_the_engine() -> None:
    sent = Sent()
    engine = Engine(InstrumentPlayer(sent))
    engine.load(Phrase.parse(" ".join(["C4:0.25"] * 40), bpm=240, line="upper"))
    engine.play()
    sent.gone = True
    deadline = time.monotonic() + 3
    while engine.state != "paused" and time.monotonic() < deadline:
        time.sleep(0.01)
    assert "has gone" in engine.problem


def test_an_instrument_refuses_recorded_sound() -> None:
    with pytest.raises(PortUnavailable, match="plays notes"):
        InstrumentPlayer(Sent()).play(Clip(render(Phrase.parse("C4:1")).samples))


def test_a_machine_without_midi_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> None:
        raise subprocess.CalledProcessError(3, "probe")

    monkeypatch.setattr(subprocess, "run", fails)
    with pytest.raises(PortUnavailable, match="no MIDI") as caught:
        midi.open_keys()
    assert "\n" not in caught.value.line
    assert midi.list_keys() == ()
    assert midi.list_instruments() == ()


def test_without_the_midi_library_it_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(PortUnavailable, match="python-rtmidi"):
        midi.open_keys()


def test_a_midi_file_holds_the_phrase(tmp_path: Path) -> None:
    phrase = Phrase(
        (*Phrase.parse("C4:1 r:1 D4:2").tones, *Phrase.parse("C3+G3:4", line="lower").tones), bpm=90, numerator=3
    )
    path = tmp_path / "phrase.mid"
    midi.write_midi(phrase, path)
    file = mido.MidiFile(path)
    assert file.length == pytest.approx(phrase.length_s, abs=0.01)
    assert [t.name for t in file.tracks[1:]] == ["voice", "lower"]
    notes = [(m.note, m.velocity > 0) for m in file if m.type in ("note_on", "note_off") and m.type == "note_on"]
    assert sorted(n for n, on in notes if on) == [48, 55, 60, 62]


def test_no_thread_is_left_after_close() -> None:
    before = threading.active_count()
    player = InstrumentPlayer(Sent())
    engine = Engine(player)
    engine.load(Phrase.parse("C4:8"))
    engine.play()
    engine.close()
    player.close()
    deadline = time.monotonic() + 3
    while threading.active_count() > before and time.monotonic() < deadline:
        time.sleep(0.01)
    assert threading.active_count() <= before
