"""Each screen with the keyboard alone: every key it names does what it says."""

from __future__ import annotations

from pathlib import Path

import pytest
from rich.text import Text
from textual import events
from textual.keys import _character_to_key
from textual.widgets import Input

from tests.tui import frozen
from tests.tui.conftest import Clock, Running, make_studio, settle, text_of
from tests.tui.walking import ask, frozen_song, show
from tutor.studio import Studio
from tutor.tui.app import LarkstairApp
from tutor.tui.in_turn import OVERDUE_S, InTurnApp
from tutor.tui.screens import names
from tutor.tui.screens.help import HelpScreen
from tutor.tui.screens.song import SongScreen
from tutor.tui.screens.today import part_of_day
from tutor.tui.stage import Stage
from tutor.tui.widgets.frame import Foot
from tutor.tui.widgets.menu import Menu


def burst(app: LarkstairApp, letters: str) -> None:
    """Keys that reach the program all at once."""
    for letter in letters:
        app.post_message(events.Key(_character_to_key(letter), letter))


# -- every screen


@pytest.mark.parametrize("name", [n for n in names.TITLES if n != "today"])
async def test_every_screen_has_help_and_a_way_out(running: Running, still: None, studio: Studio, name: str) -> None:
    async with running(studio) as (app, pilot):
        app.go(name)
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, Stage)
        assert len(screen.HELP) > 60
        await pilot.press("question_mark")
        await pilot.pause()
        assert type(app.screen).__name__ == "HelpScreen"
        assert "Keys everywhere" in text_of(app) or app.screen.query_one("VerticalScroll").max_scroll_y > 0
        await pilot.press("escape")
        assert type(app.screen) is not HelpScreen
        for _ in range(4):
            await pilot.press("escape")
            await settle(pilot)
        assert len(app.screen_stack) == 1


@pytest.mark.parametrize("size", [(80, 24), (60, 16), (200, 60)])
async def test_every_screen_survives_any_size(
    running: Running, still: None, studio: Studio, size: tuple[int, int]
) -> None:
    async with running(studio) as (app, pilot):
        for name in names.TITLES:
            app.go(name)
            await settle(pilot)
            await pilot.resize_terminal(*size)
            await pilot.pause()
            assert "? help" in text_of(app), name
            await pilot.resize_terminal(80, 24)


async def test_the_command_palette_finds_every_screen(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        titles = {c.title for c in app.get_system_commands(app.screen)}
        assert {title for title, _ in names.TITLES.values()} <= titles
        await pilot.press("ctrl+p", *"setup")
        await pilot.pause(0.3)
        await pilot.press("down", "enter")
        await pilot.pause(0.2)
        await settle(pilot)
        assert type(app.screen).__name__ == "SetupScreen"


# -- the other screens


async def test_setup_changes_hold_at_once_and_can_be_undone(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        app.go("setup")
        await settle(pilot)
        high = studio.singer.high_midi
        await pilot.press("down", "down", "down", "right", "right")
        assert studio.singer.high_midi == high + 2
        await pilot.press("u", "u")
        assert studio.singer.high_midi == high
        menu = app.screen.query_one(Menu)
        menu.show(menu.rows, "theme")
        await pilot.press("enter")
        assert app.theme == "larkstair-day"
        assert studio.store.setting("look")
        await pilot.press("u")
        assert app.theme == "larkstair-night"


async def test_the_chosen_light_is_there_the_next_time(studio: Studio) -> None:
    app = LarkstairApp(studio)
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        app.action_toggle_light()
        app.action_toggle_signs()
    again = LarkstairApp(studio)
    assert again.theme == "larkstair-day"
    assert again.look.ascii


async def test_a_song_taken_off_the_list_comes_back(running: Running, still: None, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        app.go("songs")
        await settle(pilot)
        await pilot.press("delete")
        await settle(pilot)
        assert not [s for s in studio.songs() if s.id == frozen.CARD.id]
        await pilot.press("u")
        await settle(pilot)
        assert [s for s in studio.songs() if s.id == frozen.CARD.id]


async def test_a_path_can_be_typed_or_pasted_at_once(running: Running, studio: Studio, tmp_path: Path) -> None:
    async with running(studio) as (app, pilot):
        app.go("songs")
        await settle(pilot)
        field = app.screen.query_one("#path", Input)
        await pilot.press("slash", "t")
        assert field.value == "/t"
        assert field.has_focus
        await pilot.press("down")
        app.post_message(events.Paste(f"{tmp_path}/song.mxl\n"))
        await settle(pilot)
        assert field.value == f"{tmp_path}/song.mxl"
        assert field.has_focus


@pytest.mark.parametrize("path", ["/scores/who will owe us.musicxml", "~/owl.mid", "'/scores/u o.mid'", "./u w o.xml"])
async def test_a_path_typed_in_one_burst_arrives_whole(running: Running, studio: Studio, path: str) -> None:
    async with running(studio) as (app, pilot):
        app.go("songs")
        await settle(pilot)
        await pilot.press("down")
        burst(app, path)
        await settle(pilot)
        assert app.screen.query_one("#path", Input).value == path


async def test_a_key_for_the_field_and_a_path_arrive_in_one_burst(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        app.go("songs")
        await settle(pilot)
        burst(app, "owow.mid")
        await settle(pilot)
        assert app.screen.query_one("#path", Input).value == "wow.mid"


@pytest.mark.parametrize("typed", ["o/scores/wow.mid", "oo/scores/wow.mid", "oowow.mid", "o~/p q?.xml"])
async def test_a_screen_its_field_and_a_path_arrive_in_one_burst(running: Running, studio: Studio, typed: str) -> None:
    async with running(studio) as (app, pilot):
        burst(app, typed)
        await settle(pilot)
        assert app.screen.query_one("#path", Input).value == typed.removeprefix("o").removeprefix("o")


async def test_a_key_and_what_is_pasted_after_it_arrive_in_order(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        burst(app, "oo")
        app.post_message(events.Paste("/scores/wow"))
        burst(app, ".mid")
        await settle(pilot)
        assert app.screen.query_one("#path", Input).value == "/scores/wow.mid"


async def test_keys_in_a_burst_open_and_leave_screens_as_slow_ones_do(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        for _ in range(3):
            app.post_message(events.Key("question_mark", "?"))
            app.post_message(events.Key("escape", None))
        app.post_message(events.Key("question_mark", "?"))
        await settle(pilot)
        assert isinstance(app.screen, HelpScreen)
        assert len(app.screen_stack) == 2


async def test_a_key_held_down_does_not_wait_for_its_own_repeats(
    running: Running, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with running(studio) as (app, pilot):
        monkeypatch.setattr(InTurnApp, "on_key_passed", lambda self, message: message.stop())
        for key in ("down", "down", "down", "up"):
            app.post_message(events.Key(key, None))
        await settle(pilot)
        assert [event.key for event in app._waiting if isinstance(event, events.Key)] == ["up"]
        assert app._turn == 3


async def test_a_key_whose_widget_never_answers_does_not_hold_up_the_next(
    running: Running, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with running(studio) as (app, pilot):
        monkeypatch.setattr(InTurnApp, "on_key_passed", lambda self, message: message.stop())
        burst(app, "ow")
        await settle(pilot)
        assert app._waiting, "the second key waits"
        monkeypatch.undo()
        await pilot.pause(OVERDUE_S + 0.1)
        await settle(pilot)
        assert not app._waiting
        await pilot.press("question_mark")
        await settle(pilot)
        assert isinstance(app.screen, HelpScreen)


async def test_a_path_typed_while_the_list_is_still_read_arrives_whole(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        app.go("songs")
        await pilot.pause()
        burst(app, "/scores/wow")
        await settle(pilot)
        assert app.screen.query_one("#path", Input).value == "/scores/wow"
        assert app.screen.query_one("#path", Input).has_focus


async def test_a_path_is_completed(running: Running, studio: Studio, tmp_path: Path) -> None:
    (tmp_path / "nightsong.musicxml").write_text("x")
    (tmp_path / "nightshift.txt").write_text("x")
    async with running(studio) as (app, pilot):
        app.go("songs")
        await settle(pilot)
        await pilot.press("o")
        field = app.screen.query_one(Input)
        field.value = f"{tmp_path}/night"
        field.cursor_position = len(field.value)
        await pilot.pause(0.2)
        assert "nightsong.musicxml" in app.screen.foot.notice  # type: ignore[attr-defined]
        assert "nightshift" not in app.screen.foot.notice  # type: ignore[attr-defined]
        await pilot.press("right")
        assert field.value == str(tmp_path / "nightsong.musicxml")


async def test_a_lesson_is_read_and_heard(running: Running, still: None, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        app.go("lessons")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert "which member is in the bass?" in text_of(app)
        before = len(studio.outlets.player.played)  # type: ignore[attr-defined]
        await pilot.press("space")
        await pilot.pause(0.3)
        assert len(studio.outlets.player.played) > before  # type: ignore[attr-defined]


async def test_progress_names_what_was_mixed_up(running: Running, still: None, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await ask(app, pilot, "choosing")
        for _ in range(2):
            await pilot.press("1")
            await settle(pilot)
            await pilot.press("enter")
            await settle(pilot)
        app.go("progress")
        await settle(pilot)
        assert "first inversion, taken for root position, 2 times" in text_of(app)
        assert "likely to go well" in text_of(app)


async def test_a_newcomer_sees_what_to_do_on_an_empty_progress_screen(running: Running, clock: Clock) -> None:
    studio = make_studio(clock)
    async with running(studio) as (app, pilot):
        app.go("progress")
        await settle(pilot)
        assert "Nothing was asked yet. Enter begins" in text_of(app)
    studio.close()


async def test_plain_signs_leave_nothing_but_ascii_on_any_screen(running: Running, still: None, studio: Studio) -> None:
    from textual.color import Color

    from tutor.tui.plain import PlainSigns

    async with running(studio, ascii=True) as (app, pilot):
        filters = [f for f in app.get_line_filters() if isinstance(f, PlainSigns)]
        assert filters
        for name in [*names.TITLES, "song"]:
            if name == "song":
                await show(app, pilot, SongScreen(frozen_song(studio)))
                await pilot.press("enter")
                await settle(pilot)
            else:
                app.go(name)
                await settle(pilot)
            for strip in app.screen._compositor.render_strips():
                shown = filters[0].apply(list(strip), Color.parse("black"))
                text = "".join(s.text for s in shown)
                assert text.isascii(), (name, text)
                assert "?" not in text.replace("? help", "").replace("?", "", 3), (name, text)


async def test_the_keys_at_the_foot_can_be_clicked(running: Running, still: None, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        line = text_of(app).splitlines()[-1]
        await pilot.click(offset=(line.index("w warm up") + 3, app.size.height - 1))
        await settle(pilot)
        assert type(app.screen).__name__ == "WarmupScreen"


async def test_a_long_notice_is_told_in_two_lines(running: Running, studio: Studio) -> None:
    said = "There is no loudspeaker here that this program may use. Connect one, then choose it under Setup, Sound."
    async with running(studio, size=(80, 24)) as (app, pilot):
        app.screen.query_one(Foot).notice = said
        await settle(pilot)
        told = app.screen.query_one(Foot).render()
        assert isinstance(told, Text)
        assert " ".join(told.plain.split()[1:]).startswith(said)
        assert app.screen.query_one(Foot).size.height == 4


def test_the_greeting_follows_the_clock() -> None:
    said = [part_of_day(hour) for hour in range(24)]
    assert said[4:12] == ["morning"] * 8
    assert said[12:18] == ["afternoon"] * 6
    assert set(said[18:] + said[:4]) == {"evening"}
