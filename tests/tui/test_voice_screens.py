"""The signs before singing, the led run, the range, the diary and the hours before a recording, by keyboard."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from queue import Queue
from typing import Any

import numpy as np
import pytest
from textual.pilot import Pilot

from tests.tui import frozen
from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.walking import frozen_song, show
from tutor.__main__ import main
from tutor.errors import PortUnavailable
from tutor.sound.ports import RATE, Block, Samples
from tutor.studio import Studio, diary
from tutor.tui.app import LarkstairApp
from tutor.tui.look import Glyphs
from tutor.tui.screens.agenda import AgendaScreen
from tutor.tui.screens.diary import DiaryScreen, week_lines
from tutor.tui.screens.gate import GateScreen
from tutor.tui.screens.led import LedScreen
from tutor.tui.screens.range import RangeScreen
from tutor.tui.screens.today import TodayScreen, gather
from tutor.tui.screens.today import rows as today_rows
from tutor.tui.screens.warmup import WarmupScreen
from tutor.tui.screens.welcome import WelcomeScreen
from tutor.tui.widgets.menu import Menu
from tutor.tui.widgets.path_field import PathField
from tutor.tui.widgets.pitch_meter import PitchMeter
from tutor.warmup import run as runs
from tutor.warmup.gate import QUESTIONS
from tutor.warmup.model import Plan
from tutor.warmup.rangefinder import Finder


async def gate(app: LarkstairApp, pilot: Pilot[Any], studio: Studio) -> GateScreen:
    await show(app, pilot, WarmupScreen(song=frozen_song(studio)))
    await settle(pilot)
    screen = app.screen
    assert isinstance(screen, GateScreen)
    return screen


async def planned(app: LarkstairApp, pilot: Pilot[Any], studio: Studio) -> WarmupScreen:
    await gate(app, pilot, studio)
    await pilot.press("enter")
    await settle(pilot)
    await pilot.press("enter")
    await settle(pilot)
    screen = app.screen
    assert isinstance(screen, WarmupScreen)
    return screen


async def leading(app: LarkstairApp, pilot: Pilot[Any], studio: Studio) -> LedScreen:
    await planned(app, pilot, studio)
    await pilot.press("enter")
    await settle(pilot)
    screen = app.screen
    assert isinstance(screen, LedScreen)
    return screen


# -- the signs


async def test_every_sign_is_asked_before_a_plan_and_only_once_a_day(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = await gate(app, pilot, studio)
        shown = " ".join(text_of(app).split())
        for question in QUESTIONS:
            assert question.text in shown
        assert "Pain" in shown, "all fits on eighty columns by twenty-four rows"
        await pilot.press("enter")
        await settle(pilot)
        assert "How many minutes" in text_of(app)
        await pilot.press("escape")
        await settle(pilot)
        screen = app.screen  # type: ignore[assignment]
        assert isinstance(screen, GateScreen)
        assert QUESTIONS[0].text not in text_of(app)
        assert "How does the voice feel" in text_of(app)
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, TodayScreen)
        clock.now = datetime(2026, 3, 4, 8, 30, tzinfo=UTC)
        await gate(app, pilot, studio)
        assert QUESTIONS[0].text in text_of(app)


@pytest.mark.parametrize("name", [q.name for q in QUESTIONS if q.kind == "warning"])
async def test_a_warning_sign_gives_no_plan_however_fresh_the_voice(
    running: Running, studio: Studio, name: str
) -> None:
    at = [q.name for q in QUESTIONS].index(name)
    async with running(studio) as (app, pilot):
        screen = await gate(app, pilot, studio)
        await pilot.press(*["up"] * (len(QUESTIONS) - at), "space")
        assert f"[x] {QUESTIONS[at].text[:30]}" in text_of(app)
        await pilot.press(*["down"] * (len(QUESTIONS) - at), "enter")
        await settle(pilot)
        assert screen.is_current
        assert screen.refused
        assert "see a doctor before you sing" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, TodayScreen)
        await gate(app, pilot, studio)
        assert QUESTIONS[0].text in text_of(app), "it is asked again after a sign"
        assert "[x]" not in text_of(app), "and the marks were not kept"


async def test_a_mark_can_be_taken_back(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await gate(app, pilot, studio)
        await pilot.press("up", "enter", "u")
        assert "[x]" not in text_of(app)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert "How many minutes" in text_of(app)


async def test_a_sign_of_tiredness_makes_the_plan_careful(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await gate(app, pilot, studio)
        await pilot.press("up", "space", "down", "enter")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, WarmupScreen)
        assert isinstance(screen.given, Plan)
        assert screen.given.condition == "tired"


async def test_a_hoarse_voice_is_asked_how_long_and_sent_on(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await gate(app, pilot, studio)
        await pilot.press("down", "down", "down", "enter")
        await settle(pilot)
        assert "How long has it been hoarse" in text_of(app)
        await pilot.press("end", "enter")
        await settle(pilot)
        assert screen.refused
        assert "laryngologist" in text_of(app)
        assert "more than two weeks" in text_of(app)


async def test_a_warm_up_left_yesterday_first_asks_how_the_voice_is(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        await leading(app, pilot, studio)
        await pilot.press("space", "escape")
        await settle(pilot)
        clock.now = datetime(2026, 3, 4, 8, 30, tzinfo=UTC)
        await show(app, pilot, WarmupScreen(resume=True))
        assert isinstance(app.screen, GateScreen)
        await pilot.press("down", "down", "enter")
        await settle(pilot)
        assert "Plan one for today" in text_of(app)
        assert studio.unfinished_run() is None


async def test_the_caution_stands_on_the_plan_and_before_the_first_step(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await planned(app, pilot, studio)
        assert "not a diagnosis" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert "not a diagnosis" in text_of(app)
        assert "Space begins" in text_of(app)


# -- the run


async def to_a_note(screen: LedScreen, pilot: Pilot[Any], least: int = 1) -> int:
    """Go to a turn that is sung, at least so high, and give its highest note."""
    return await to_where(screen, pilot, lambda run: run.top >= least)


async def to_where(screen: LedScreen, pilot: Pilot[Any], met: Callable[[runs.Run], bool]) -> int:
    """Begin and go on, turn by turn, to where something is so; the screen is told of the end of the way only."""
    await pilot.press("space")
    run = screen.led
    while not met(run):
        assert not run.over
        run = runs.next_(run) if run.singing or not run.top else runs.tick(run, 0.5)
    screen._move(run)
    await settle(pilot)
    return run.top


async def test_a_note_that_strains_is_remembered_and_the_next_plan_stays_below_it(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        assert max(s.top_midi or 0 for s in screen.led.plan.steps) > 74
        top = await to_where(screen, pilot, lambda run: run.top >= 74 and run.singing)
        await pilot.press("t")
        await settle(pilot)
        assert screen.led.state == "strained"
        assert "remembered" in text_of(app)
        assert studio.singer.strained_at == (top,)
        await pilot.press("end", "up", "enter")
        await settle(pilot)
        assert "How did it feel" in text_of(app)
        await pilot.press("4")
        await settle(pilot)
        assert isinstance(app.screen, TodayScreen)
        again = studio.warmup(frozen_song(studio), minutes=10)
        assert max((s.top_midi or 0 for s in getattr(again, "steps", ())), default=0) < top


async def test_a_slip_of_the_strain_key_is_forgotten(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_a_note(screen, pilot)
        before = screen.led
        await pilot.press("t")
        await settle(pilot)
        await pilot.press("end", "enter")
        await settle(pilot)
        assert studio.singer.strained_at == ()
        assert screen.led.strained == ()
        assert (screen.led.state, screen.led.step) == ("paused", before.step)


async def test_the_diary_keeps_how_it_felt_and_how_long_was_sung(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_a_note(screen, pilot)
        await pilot.press("n", "n", "t")
        await settle(pilot)
        await pilot.press("down", "down", "enter")
        await settle(pilot)
        await pilot.press("2")
        await settle(pilot)
        (entry,) = diary.entries(studio)
        assert (entry.before, entry.after) == ("easy", "all right")
        assert entry.time_s > 1
        assert 200 * entry.time_s < entry.cycles < 1000 * entry.time_s
        app.go("warmup")
        await settle(pilot)
        await pilot.press("d")
        await settle(pilot)
        shown = text_of(app)
        assert "1 warm-up" in shown
        assert "before it easy, after it all right" in " ".join(shown.split())


async def test_leaving_the_last_question_keeps_the_warm_up_without_a_feeling(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_a_note(screen, pilot)
        await pilot.press("n", "t")
        await settle(pilot)
        await pilot.press("down", "down", "enter")
        await settle(pilot)
        await pilot.press("escape")
        await settle(pilot)
        assert [e.after for e in diary.entries(studio)] == [None]
        assert isinstance(app.screen, TodayScreen)


async def test_a_jump_of_the_load_is_told(running: Running, studio: Studio, clock: Clock) -> None:
    for days, seconds in ((21, 700.0), (14, 700.0), (7, 700.0), (0, 2400.0)):
        at = (clock.now - timedelta(days=days)).isoformat()
        studio.store.keep_diary("Ada", {"at": at, "condition": "fresh", "feeling": "easy", "time_s": seconds})
    async with running(studio) as (app, pilot):
        await show(app, pilot, DiaryScreen())
        shown = " ".join(text_of(app).split())
        assert "You sang 40 minutes this week, against your usual 11½ minutes" in shown
        weeks = diary.loads(studio)
        assert [round(w.time_s) for w in weeks] == [700, 700, 700, 2400]
        lines = week_lines(weeks, Glyphs())
        assert lines[0].count("█") == 16
        assert lines[1].count("█") == 5


async def test_single_warm_ups_and_strained_notes_are_deleted_and_brought_back(
    running: Running, studio: Studio, clock: Clock
) -> None:
    for days in (9, 2, 1):
        at = (clock.now - timedelta(days=days)).isoformat()
        studio.store.keep_diary(
            "Ada", {"at": at, "song": f"Song {days}", "condition": "fresh", "feeling": "easy", "time_s": 300.0}
        )
    studio.remember_strain(76)
    before = studio.singer
    async with running(studio) as (app, pilot):
        await show(app, pilot, DiaryScreen())
        shown = " ".join(text_of(app).split())
        assert "E5 on 3 March; nothing above E♭5 until 24 March" in shown
        await pilot.press("x")
        await settle(pilot)
        assert studio.singer.strained_at == ()
        await pilot.press("down", "x")
        await settle(pilot)
        assert [e.song for e in diary.entries(studio)] == ["Song 9", "Song 1"]
        await pilot.press("u")
        await settle(pilot)
        assert [e.song for e in diary.entries(studio)] == ["Song 9", "Song 2", "Song 1"]
        await pilot.press("u")
        await settle(pilot)
        assert studio.singer == before
        assert "is back" in text_of(app)


# -- the range


class PushedEar:
    """A microphone that hears what a test pushes."""

    name = "pushed"

    def __init__(self) -> None:
        self._blocks: Queue[Block | None] = Queue()
        self._at_s = 0.0

    def listen(self) -> Iterator[Block]:
        """What was pushed, until it is closed."""
        while (block := self._blocks.get()) is not None:
            yield block

    def sing(self, *midis: float, seconds: float = 1.0, rest_s: float = 0.2) -> None:
        """Notes with a voice's overtones, a rest after each."""
        for midi in midis:
            time = np.arange(round(seconds * RATE)) / RATE
            hertz = 440.0 * 2 ** ((midi - 69) / 12)
            tone = sum(0.3 / k * np.sin(2 * np.pi * hertz * k * time) for k in (1, 2, 3))
            self.push(np.asarray(tone, dtype=np.float32) * np.minimum(1.0, time * 20).astype(np.float32))
            self.push(np.zeros(round(rest_s * RATE), dtype=np.float32))

    def push(self, samples: Samples) -> None:
        """Anything else."""
        for at in range(0, len(samples), 1024):
            block = samples[at : at + 1024]
            self._blocks.put(Block(block, self._at_s))
            self._at_s += len(block) / RATE

    def close(self) -> None:
        """End."""
        self._blocks.put(None)


async def until(pilot: Pilot[Any], met: Callable[[], bool], *, tries: int = 400) -> None:
    for _ in range(tries):
        await pilot.pause(0.02)
        if met():
            return
    raise AssertionError("it did not come to that")


async def measuring(app: LarkstairApp, pilot: Pilot[Any]) -> RangeScreen:
    screen = RangeScreen()
    await show(app, pilot, screen)
    assert "not a diagnosis" in text_of(app)
    await pilot.press("enter")
    await settle(pilot)
    assert isinstance(app.screen, GateScreen), "the signs are asked before the voice is measured"
    await pilot.press("enter")
    await settle(pilot)
    assert screen.is_current
    assert screen.finder is not None
    return screen


def finder_of(screen: RangeScreen) -> Finder:
    assert screen.finder is not None
    return screen.finder


async def test_the_range_is_found_by_keys_and_kept_with_its_date(running: Running, studio: Studio) -> None:
    before = studio.singer
    async with running(studio) as (app, pilot):
        screen = await measuring(app, pilot)
        first = finder_of(screen).asked
        await until(pilot, lambda: bool(studio.outlets.player.played))  # type: ignore[attr-defined]
        await pilot.press("e", "e", "e", "u")
        assert finder_of(screen).asked == first + 2
        await pilot.press(*["e"] * 8, "f")
        assert finder_of(screen).stage == "down", "the first effort ends the way up"
        await pilot.press(*["enter"] * 5, "f")
        assert finder_of(screen).stage == "transitions"
        await pilot.press("down", "right", "up", "enter")
        await settle(pilot)
        assert "comfortable range is" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        kept = studio.singer
        assert kept.measured_on == date(2026, 3, 3)
        assert (kept.low_midi, kept.high_midi) == (first - 5, first + 9)
        assert kept.first_transition == before.first_transition + 1
        await pilot.press("u")
        await settle(pilot)
        assert studio.singer == before


async def test_pain_stops_the_search_and_names_whom_to_see(running: Running, studio: Studio) -> None:
    before = studio.singer
    async with running(studio) as (app, pilot):
        screen = await measuring(app, pilot)
        await pilot.press("e", "h")
        assert finder_of(screen).stage == "stopped"
        assert "laryngologist" in text_of(app)
        await pilot.press("end")
        await settle(pilot)
        assert "not a diagnosis" in text_of(app), "all of it can be read on twenty-four rows"
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, TodayScreen)
        assert studio.singer == before


async def test_a_tired_voice_is_not_measured(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = RangeScreen()
        await show(app, pilot, screen)
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("down", "down", "enter")
        await settle(pilot)
        assert screen.finder is None
        assert "when it is rested" in text_of(app)


async def test_the_microphone_tells_the_note_but_is_deaf_while_the_program_plays(
    running: Running, studio: Studio, clock: Clock
) -> None:
    ear = PushedEar()
    studio.outlets.ear = ear
    async with running(studio) as (app, pilot):
        screen = await measuring(app, pilot)
        await pilot.press("m")
        asked = finder_of(screen).asked
        ear.sing(asked)
        await pilot.pause(0.3)
        assert not finder_of(screen).matched, "the program itself was sounding"
        await until(pilot, lambda: len(studio.outlets.player.played) > 1)  # type: ignore[attr-defined]
        clock.pass_s(4)
        await until(pilot, lambda: screen.query_one(PitchMeter).state == "your turn")
        ear.push(np.zeros(RATE, dtype=np.float32))
        ear.sing(asked + 3)
        await until(pilot, lambda: "nearer to" in finder_of(screen).hint)
        ear.sing(asked)
        await until(pilot, lambda: finder_of(screen).matched)
        assert finder_of(screen).asked == asked, "only the singer says how it was"
        ear.sing(asked - 12)
        await until(pilot, lambda: "octave" in finder_of(screen).hint)
        await pilot.press("e")
        assert finder_of(screen).asked == asked, "an octave lower is not taken for it at once"
        assert "answer again" in " ".join(text_of(app).split())
        await pilot.press("e")
        assert finder_of(screen).asked == asked + 1
        await pilot.press("escape")
        await settle(pilot)


async def test_without_a_microphone_the_keys_go_on(
    running: Running, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(device: str = "") -> None:
        raise PortUnavailable("there is no microphone", remedy="Connect one")

    monkeypatch.setattr("tutor.studio.outlets.open_ear", none)
    async with running(studio) as (app, pilot):
        screen = await measuring(app, pilot)
        asked = finder_of(screen).asked
        await pilot.press("m")
        await settle(pilot)
        assert "no microphone" in text_of(app)
        await pilot.press("e")
        assert finder_of(screen).asked == asked + 1


async def test_the_range_is_offered_once_the_singer_has_begun_and_no_longer_when_it_is_fresh(
    running: Running, studio: Studio, clock: Clock
) -> None:
    known = replace(gather(studio), known=3)
    assert "range" in [r.id for r in today_rows(known)]
    assert "range" not in [r.id for r in today_rows(replace(known, known=0))]
    studio.keep_singer(replace(studio.singer, measured_on=clock.now.date()))
    assert "range" not in [r.id for r in today_rows(replace(gather(studio), known=3))]
    clock.now += timedelta(days=100)
    assert "range" in [r.id for r in today_rows(replace(gather(studio), known=3))]


async def test_the_first_run_tells_of_hearing_and_offers_the_range(running: Running, empty_studio: Studio) -> None:
    async with running(empty_studio) as (app, pilot):
        await show(app, pilot, WelcomeScreen())
        await pilot.press("enter")
        await settle(pilot)
        shown = " ".join(text_of(app).split())
        assert "Do you hear" in shown
        assert "H.870" in shown
        assert "audiologist" in shown
        assert "No go on without sound" in shown, "the answers stay in sight"
        await pilot.press("enter")
        await settle(pilot)
        await pilot.press("end", "enter")
        await settle(pilot)
        await pilot.press("end", "up", "enter")
        await settle(pilot)
        assert isinstance(app.screen, RangeScreen)
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, WelcomeScreen)


async def test_setup_tells_of_hearing_at_the_sound_check_and_leads_to_the_range(
    running: Running, studio: Studio
) -> None:
    async with running(studio) as (app, pilot):
        app.go("setup")
        await settle(pilot)
        assert "H.870" not in text_of(app)
        screen = app.screen
        menu = screen.query_one(Menu)
        while menu.current is None or menu.current.id != "sound":
            await pilot.press("down")
        await settle(pilot)
        shown = text_of(app)
        assert "H.870" in shown
        assert "Sound check" in shown
        await pilot.press("up", "enter")
        await settle(pilot)
        assert isinstance(app.screen, RangeScreen)


# -- hands-free


async def test_the_run_goes_on_once_the_turn_was_heard(running: Running, studio: Studio, clock: Clock) -> None:
    ear = PushedEar()
    studio.outlets.ear = ear
    async with running(studio, size=(100, 45)) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_a_note(screen, pilot)
        await pilot.press("h")
        await pilot.pause(0.1)
        place = (screen.led.step, screen.led.repetition)
        clock.pass_s(60)
        await until(pilot, lambda: "Your turn" in text_of(app))
        assert (screen.led.step, screen.led.repetition) == place, "time alone does not go on"
        ear.push(np.zeros(RATE, dtype=np.float32))
        ear.sing(40, 41, seconds=0.6)
        await pilot.pause(0.5)
        clock.pass_s(1)
        await pilot.pause(0.3)
        assert (screen.led.step, screen.led.repetition) == place, "something else was sung"
        phrase = screen.led.phrase
        assert phrase is not None
        ear.sing(*[t.midi for t in phrase.tones if t.line == "voice"], seconds=0.5, rest_s=0.1)
        ear.push(np.zeros(2 * RATE, dtype=np.float32))
        await until(pilot, lambda: screen.led.heard_now or (screen.led.step, screen.led.repetition) != place)
        clock.pass_s(0.2)
        await until(pilot, lambda: (screen.led.step, screen.led.repetition) != place)
        await pilot.press("h")
        assert not screen.led.waits
        await pilot.press("escape")
        await settle(pilot)


async def test_without_a_microphone_the_run_goes_by_time(
    running: Running, studio: Studio, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(device: str = "") -> None:
        raise PortUnavailable("there is no microphone", remedy="Connect one")

    monkeypatch.setattr("tutor.studio.outlets.open_ear", none)
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_a_note(screen, pilot)
        place = (screen.led.step, screen.led.repetition)
        await pilot.press("h")
        await settle(pilot)
        assert "no microphone" in text_of(app)
        assert not screen.led.waits
        clock.pass_s(60)
        await until(pilot, lambda: (screen.led.step, screen.led.repetition) != place)


# -- what else the plan is made for, and writing it


async def test_minutes_recording_last_singing_and_margin_are_told_by_arrows(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await gate(app, pilot, studio)
        await pilot.press("enter")
        await settle(pilot)
        assert "I last sang" in text_of(app)
        await pilot.press("end", "right", "up", "right", "right", "up", *["right"] * 3)
        shown = " ".join(text_of(app).split())
        assert "I record in 45 minutes" in shown
        assert "I last sang a week ago" in shown
        assert "a semitone, lightly" in shown
        await pilot.press("home", "down", "right", "right", "enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, WarmupScreen)
        made = screen.given
        assert isinstance(made, Plan)
        assert made.minutes == 12
        assert made.today_top == studio.singer.high_midi + 1
        assert any("7 days" in n for n in made.notes)
        assert any("not at once" in n for n in made.notes)


async def test_a_newcomer_says_which_voice_it_is_before_the_plan(running: Running, empty_studio: Studio) -> None:
    frozen.furnish(empty_studio.store)
    async with running(empty_studio) as (app, pilot):
        await gate(app, pilot, empty_studio)
        await pilot.press("enter")
        await settle(pilot)
        assert "I am a baritone" in " ".join(text_of(app).split())
        await pilot.press("end", "up", "up", "up", "left", "home", "enter")
        await settle(pilot)
        assert empty_studio.singer.voice == "tenor"
        assert "beyond this voice" in text_of(app)
        assert "above your comfortable top" in " ".join(text_of(app).split()), "what is the matter is read first"
        await until(pilot, lambda: app.screen.query_one("#page").scroll_y == 0)


async def test_the_last_singing_comes_from_the_diary(running: Running, studio: Studio, clock: Clock) -> None:
    at = (clock.now - timedelta(days=16)).isoformat()
    studio.store.keep_diary("Ada", {"at": at, "condition": "fresh", "feeling": "easy", "time_s": 300.0})
    async with running(studio) as (app, pilot):
        await gate(app, pilot, studio)
        await pilot.press("enter")
        await settle(pilot)
        assert "two weeks ago or longer" in text_of(app)


async def test_the_plan_is_written_as_page_text_and_notes(running: Running, studio: Studio, tmp_path: Path) -> None:
    async with running(studio) as (app, pilot):
        screen = await planned(app, pilot, studio)
        for name, head in (("a", b"<!doctype html>"), ("b.md", b"# "), ("c.mid", b"MThd")):
            await pilot.press("w")
            screen.query_one(PathField).value = str(tmp_path / name)
            await pilot.press("enter")
            await settle(pilot)
            assert "Written to" in screen.foot.notice
            file = tmp_path / (name if "." in name else f"{name}.html")
            assert file.read_bytes().startswith(head)
        await pilot.press("w")
        screen.query_one(PathField).value = "~nobody-here/plan.md"
        await pilot.press("enter")
        await settle(pilot)
        assert "Choose another folder" in screen.foot.notice
        await pilot.press("escape")
        assert screen.query_one("#file").has_class("hidden")


# -- the hours before a recording


async def test_the_hours_before_a_recording_are_shown_and_written(
    running: Running, studio: Studio, tmp_path: Path
) -> None:
    async with running(studio) as (app, pilot):
        await planned(app, pilot, studio)
        await pilot.press("a")
        await settle(pilot)
        await pilot.press("end", "enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, AgendaScreen)
        shown = text_of(app)
        assert "not a diagnosis" in shown
        assert "Drink water" in shown
        file = tmp_path / "day.ics"
        for told in ("Written to", "a file of that name already"):
            await pilot.press("w")
            screen.query_one(PathField).value = str(file)
            await pilot.press("enter")
            await settle(pilot)
            assert told in screen.foot.notice
        text = file.read_bytes().decode()
        assert text.startswith("BEGIN:VCALENDAR\r\n")
        assert "SUMMARY:Warm up again\\, shorter" in text
        assert "DTSTART:20260303T143000Z" in text, "the recording, six hours on"
        await pilot.press("escape", "escape", "escape")
        await settle(pilot)
        assert isinstance(app.screen, WarmupScreen)


def test_the_command_writes_a_calendar_and_asks_for_the_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("LARKSTAIR_HOME", str(tmp_path / "home"))
    out = tmp_path / "day.ics"
    asked = ["warmup", "measure-twice", "--voice", "soprano", "--out", str(out)]
    assert main(asked) == 2
    assert "--recording-in" in capsys.readouterr().err
    assert not out.exists()
    code = main([*asked, "--recording-in", "180"])
    assert code == 0, capsys.readouterr().err
    assert out.read_bytes().count(b"BEGIN:VEVENT") >= 4
