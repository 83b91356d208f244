"""One screen for every drill: choices, notes, taps and singing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.walking import ask
from tutor.errors import PortUnavailable
from tutor.studio import Studio
from tutor.tui.widgets.piano import Piano
from tutor.tui.widgets.tapper import Tapper

# -- practice


async def test_choices_by_number_and_by_arrow(running: Running, still: None, studio: Studio, clock: Clock) -> None:
    async with running(studio) as (app, pilot):
        screen = await ask(app, pilot, "choosing")
        clock.pass_s(4)
        await pilot.press("2")
        await settle(pilot)
        assert "✓ Right: first inversion" in text_of(app)
        assert studio.reviews()[-1].seconds == pytest.approx(4)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert "✗ Not this time" in text_of(app)
        assert "you said root" in text_of(app)
        assert "bar 9" in text_of(app)
        assert screen.foot.lamps[:2] == ("hit", "miss")


async def test_a_clue_undo_and_dispute(running: Running, still: None, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await ask(app, pilot, "choosing")
        await pilot.press("c")
        assert "Clue: Sing the lowest note" in text_of(app)
        await pilot.press("1")
        await settle(pilot)
        await pilot.press("u")
        await settle(pilot)
        assert screen.phase == "asking"
        assert studio.reviews() == ()
        await pilot.press("1")
        await settle(pilot)
        await pilot.press("d")
        await settle(pilot)
        assert screen.foot.lamps[0] == "out"
        assert studio.reviews() == ()
        assert len(studio.store.reviews("Ada")) == 1, "it is kept, and counts nowhere"


async def test_what_is_right_and_what_was_answered_can_be_compared(
    running: Running, still: None, studio: Studio
) -> None:
    async with running(studio) as (app, pilot):
        await ask(app, pilot, "choosing")
        await pilot.press("1")
        await settle(pilot)
        player = studio.outlets.player
        for key in ("space", "m", "b"):
            before = len(player.played)  # type: ignore[attr-defined]
            await pilot.press(key)
            await pilot.pause(0.2)
            assert len(player.played) > before, key  # type: ignore[attr-defined]


async def test_notes_are_played_on_the_computer_keyboard(running: Running, still: None, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await ask(app, pilot, "playing")
        assert screen.query_one(Piano).octave == 4
        await pilot.press("g", "u", "backspace", "u", "h", "enter")
        await settle(pilot)
        assert "Right" in text_of(app)


async def test_notes_are_played_on_a_music_keyboard(running: Running, still: None, studio: Studio) -> None:
    from tutor.sound.ports import KeyEvent
    from tutor.tui.app import KeyHeard

    async with running(studio) as (app, pilot):
        screen = await ask(app, pilot, "playing")
        for midi in (67, 70, 69):
            app.post_message(KeyHeard(KeyEvent(midi, 80, 0.0)))
            app.post_message(KeyHeard(KeyEvent(midi, 0, 0.1)))
        await pilot.pause(0.1)
        assert screen.query_one(Piano).notes == (67, 70, 69)


async def test_sections_are_tapped_as_they_pass(running: Running, still: None, studio: Studio, clock: Clock) -> None:
    async with running(studio) as (app, pilot):
        screen = await ask(app, pilot, "tapping")
        assert "Space starts the music" in text_of(app)
        await pilot.press("space")
        for _ in range(100):
            await pilot.pause(0.02)
            if screen.query_one(Tapper).now is not None:
                break
        clock.pass_s(2.0 * 60 / 96)
        await pilot.pause(0.2)
        await pilot.press("space")
        assert screen.query_one(Tapper).marks == (2.0,)
        await pilot.press("enter")
        await settle(pilot)
        assert "Right" in text_of(app)


async def test_without_a_microphone_the_notes_are_played(
    running: Running, still: None, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(device: str = "") -> None:
        raise PortUnavailable("there is no microphone", remedy="Connect one")

    monkeypatch.setattr("tutor.studio.outlets.open_ear", none)
    async with running(studio) as (app, pilot):
        screen = await ask(app, pilot, "singing")
        await pilot.press("r")
        await settle(pilot)
        assert "no microphone" in screen.foot.notice
        assert screen.mode == "notes"
        await pilot.press("g", "u", "h", "enter")
        await settle(pilot)
        assert "Right" in text_of(app)


async def test_singing_is_recorded_and_judged(running: Running, still: None, studio: Studio) -> None:
    import numpy as np

    from tutor.sound.ports import RATE
    from tutor.sound.tape import TapeEar

    time = np.arange(RATE) / RATE
    studio.outlets.ear = TapeEar((0.3 * np.sin(2 * np.pi * 440 * time)).astype(np.float32))
    async with running(studio) as (app, pilot):
        screen = await ask(app, pilot, "singing")
        await pilot.press("r")
        await settle(pilot)
        assert screen.taken is not None
        assert [round(n.midi) for n in screen.taken.notes] == [69]
        assert "1 note heard" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert screen.phase == "answered"


async def test_without_sound_the_question_is_shown_instead(running: Running, still: None, studio: Studio) -> None:
    studio.outlets.player_trouble = "No sound: there is no loudspeaker. Connect one."
    async with running(studio) as (app, pilot):
        await ask(app, pilot, "playing")
        assert "no sound here" in text_of(app)
        assert "▌▐" in text_of(app)


async def test_thirty_frames_of_pitch_cost_less_than_half_a_core(running: Running, still: None, studio: Studio) -> None:
    import time

    from tutor.music.take import TrackPoint
    from tutor.tui.widgets.pitch_meter import PitchMeter

    async with running(studio, size=(120, 32)) as (app, pilot):
        screen = await ask(app, pilot, "singing")
        screen.hush()
        meter = screen.query_one(PitchMeter)
        started = time.process_time()
        for frame in range(90):
            meter.feed([TrackPoint(frame / 30 + k / 90, 400.0 + frame + k, 0.9) for k in range(3)])
            await pilot.pause()
        spent = time.process_time() - started
        assert spent < 1.5, f"{spent:.2f} s of a core for three seconds of trace"


async def test_what_is_asked_and_the_choices_stand_in_sight_though_the_music_does_not_fit(
    running: Running, still: None, studio: Studio
) -> None:
    async with running(studio, size=(80, 20)) as (app, pilot):
        screen = await ask(app, pilot, "choosing")
        assert screen.question is not None
        long = tuple(replace(e, caption=c) for e in screen.question.seen[:1] for c in ("One", "Two"))
        question = replace(screen.question, seen=long)
        screen.page.ask(question.prompt, "fresh music", question.heard, question.seen)
        await settle(pilot)
        shown = text_of(app)
        assert question.prompt in shown
        assert all(c.text.partition(" (")[0] in shown for c in question.choices)
        before = screen.page.scroll_y
        await pilot.press("pagedown")
        await settle(pilot)
        assert screen.page.scroll_y > before
