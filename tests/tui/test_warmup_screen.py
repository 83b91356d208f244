"""The signs before singing, the plan, its file, and the hours before a recording, by keyboard."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from textual import events

from tests.tui import frozen
from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.singing import gate, leading, planned, until
from tests.tui.walking import show
from tutor.__main__ import main
from tutor.studio import Studio
from tutor.tui.screens.agenda import AgendaScreen
from tutor.tui.screens.gate import GateScreen
from tutor.tui.screens.today import TodayScreen
from tutor.tui.screens.warmup import WarmupScreen
from tutor.tui.widgets.path_field import PathField
from tutor.warmup.gate import QUESTIONS
from tutor.warmup.model import Plan

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


async def test_the_key_for_the_file_and_its_name_arrive_in_one_burst(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await planned(app, pilot, studio)
        proposed = "~/warm-up-fifty-minutes-later.html"
        for key, letter in (("w", "w"), *(("backspace", None),) * 4, *zip("wow", "wow", strict=True)):
            app.post_message(events.Key(key, letter))
        await settle(pilot)
        assert app.screen.query_one(PathField).value == f"{proposed[:-4]}wow"


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
