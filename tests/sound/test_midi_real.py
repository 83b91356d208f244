"""Keyboards and instruments through a real MIDI system."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from itertools import pairwise

import pytest

from tests.sound.midi_loop import Gear
from tutor.errors import PortUnavailable
from tutor.music.phrase import Phrase
from tutor.sound.chords import Gatherer
from tutor.sound.diagnose import diagnose
from tutor.sound.engine import Engine
from tutor.sound.instrument import InstrumentPlayer
from tutor.sound.midi import list_instruments, list_keys, open_instrument, open_keys
from tutor.sound.ports import KeyEvent

pytestmark = [pytest.mark.device, pytest.mark.usefixtures("ports")]


@pytest.fixture
def gear() -> Iterator[Gear]:
    """A keyboard with sounds, plugged in."""
    made = Gear("upright")
    yield made
    made.unplug()


def wait(until: Callable[[], object], seconds: float = 10.0) -> bool:
    """Whether something becomes true in time."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if until():
            return True
        time.sleep(0.01)
    return False


def test_keys_are_heard_in_order(gear: Gear) -> None:
    heard: list[KeyEvent] = []
    keys = open_keys()
    keys.listen(heard.append)
    assert "upright" in keys.name
    sent = [(0x90, 40 + n % 40, 1 + n % 127) for n in range(100)]
    gear.play(*sent, (0x90, 40, 0), (0x80, 41, 64), (0xB0, 64, 127))
    assert wait(lambda: len(heard) == 102)
    assert [(e.midi, e.velocity) for e in heard[:100]] == [(m, v) for _, m, v in sent]
    assert [(e.midi, e.velocity) for e in heard[100:]] == [(40, 0), (41, 0)]
    assert all(a.at_s <= b.at_s for a, b in pairwise(heard))
    keys.close()
    keys.close()


def test_a_chord_played_together_is_one_answer(gear: Gear) -> None:
    gatherer = Gatherer()
    chords: list[tuple[int, ...]] = []
    keys = open_keys("upright")

    def hear(event: KeyEvent) -> None:
        done = gatherer.feed(event)
        if done:
            chords.append(done)

    keys.listen(hear)
    gear.play((0x90, 52, 90), (0x90, 55, 90), (0x90, 60, 90))
    assert wait(lambda: gatherer.held == {52, 55, 60})
    assert wait(lambda: gatherer.poll(time.monotonic()) == (52, 55, 60), 1)
    keys.close()


def test_a_keyboard_may_be_pulled_out_and_put_in(gear: Gear) -> None:
    heard: list[KeyEvent] = []
    keys = open_keys()
    keys.listen(heard.append)
    gear.play((0x90, 60, 80))
    assert wait(lambda: heard)
    gear.unplug()
    assert wait(lambda: not keys.connected)
    assert keys.name == "no keyboard connected"
    assert (heard[-1].midi, heard[-1].velocity) == (60, 0), "a key held while the plug is pulled is released"
    again, second = Gear("upright"), Gear("grand")
    try:
        assert wait(lambda: len(keys.connected) == 2)
        again.play((0x90, 61, 80))
        second.play((0x90, 62, 80))
        assert wait(lambda: {61, 62} <= {e.midi for e in heard})
    finally:
        keys.close()
        again.unplug()
        second.unplug()


def test_ports_are_listed_and_diagnosed(gear: Gear) -> None:
    assert list_keys() == ("upright:keys",)
    assert list_instruments() == ("upright-synth:in",)
    found = {line.what: line for line in diagnose()}
    assert found["MIDI keyboard"].verdict == "works"
    assert "upright" in found["MIDI instrument"].text


def test_an_instrument_plays_a_phrase_and_no_note_is_left(gear: Gear) -> None:
    player = InstrumentPlayer(open_instrument())
    engine = Engine(player)
    engine.load(Phrase.parse("C4+E4:0.5 D4:0.5", bpm=120, line="upper"))
    engine.play()
    got = gear.received(6)
    assert got == [(0x91, 60, 89), (0x91, 64, 89), (0x81, 60, 0), (0x81, 64, 0), (0x91, 62, 89), (0x81, 62, 0)]
    engine.load(Phrase.parse("C4+E4+G4:8", bpm=60, line="lower"))
    engine.play()
    assert [m[:2] for m in gear.received(3)] == [(0x92, 60), (0x92, 64), (0x92, 67)]
    engine.stop()
    assert sorted(gear.received(3)) == [(0x82, 60, 0), (0x82, 64, 0), (0x82, 67, 0)]
    player.close()
    after = gear.received(2 * 131)
    assert [m[:2] for m in after[:6]] == [(0xB1, 64), (0xB1, 123), (0xB1, 120), (0xB2, 64), (0xB2, 123), (0xB2, 120)]
    assert all(m[0] & 0xF0 == 0x80 for m in after[6:])


def test_a_note_left_by_hand_ends_with_the_instrument(gear: Gear) -> None:
    instrument = open_instrument()
    instrument.send(0x90, 60, 90)
    instrument.close()
    assert gear.received(2) == [(0x90, 60, 90), (0x80, 60, 0)]


def test_the_way_there_and_back_is_short(gear: Gear) -> None:
    arrived: list[float] = []
    keys = open_keys()
    keys.listen(lambda e: arrived.append(time.monotonic()))
    waits = []
    for n in range(60):
        begin, count = time.monotonic(), len(arrived)
        gear.play((0x90, 40 + n, 80))
        if wait(lambda count=count: len(arrived) > count, 0.5):  # type: ignore[misc]
            waits.append(arrived[-1] - begin)
    keys.close()
    assert len(waits) >= 57, "a busy machine may lose a message on its way, no more"
    assert sorted(waits)[len(waits) // 2] < 0.08, "one period of the server is 21 ms"


def test_a_wrong_name_is_told_in_one_line(gear: Gear) -> None:
    with pytest.raises(PortUnavailable, match="harpsichord"):
        open_instrument("harpsichord")
