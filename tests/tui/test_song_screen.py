"""The song and the warm-up, with the keyboard alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.studio.players import LossyPlayer, Paper
from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.walking import frozen_song, show, state_of
from tutor.sound.instrument import InstrumentPlayer
from tutor.sound.tape import TapePlayer
from tutor.studio import Studio
from tutor.studio.nearby import narrowed
from tutor.tui import songview
from tutor.tui.screens.gate import GateScreen
from tutor.tui.screens.led import LedScreen
from tutor.tui.screens.outputs import OutputsScreen
from tutor.tui.screens.practice import PracticeScreen
from tutor.tui.screens.setup import SetupScreen
from tutor.tui.screens.song import SongScreen
from tutor.tui.screens.warmup import WarmupScreen
from tutor.tui.widgets.climb import Climb
from tutor.tui.widgets.frame import Foot
from tutor.tui.widgets.menu import Menu
from tutor.tui.widgets.score import Score
from tutor.tui.widgets.songmap import SongMap
from tutor.tui.widgets.words import Words


def tape_of(studio: Studio) -> TapePlayer:
    """The loudspeaker of the test."""
    player = studio.outlets.player
    assert isinstance(player, TapePlayer)
    return player


# -- song


async def test_the_song_is_walked_by_bar_phrase_section_and_finding(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        await pilot.press("right", "right", "left")
        assert screen.at == 1
        await pilot.press("right_square_bracket")
        assert screen.bars[screen.at].section != screen.bars[1].section
        await pilot.press("down")
        assert screen.bars[screen.at].phrase != screen.bars[screen.at - 1].phrase
        await pilot.press("home", "n")
        bar = screen.bars[screen.at]
        assert bar.borrowed or bar.rubs or bar.changes or bar.climax
        await pilot.press("end")
        assert screen.at == len(screen.bars) - 1
        await pilot.press("enter")
        assert screen.query_one(SongMap).mini
        await pilot.press("d")
        await pilot.pause()
        assert "Bar 36" in text_of(app)


async def test_moving_through_a_song_lays_nothing_out_anew(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        assert app.size == (80, 24)
        laid_out: list[object] = []
        rows: set[int] = set()
        screen.screen_layout_refresh_signal.subscribe(screen, laid_out.append)
        words = screen.query_one(Words)
        for index in range(0, len(screen.bars), 3):
            screen._go(index)
            await pilot.pause()
            rows.add(words.get_content_height(words.size, app.size, words.size.width))
        assert len(rows) > 2
        assert laid_out == []


async def test_a_tall_screen_shows_all_words_on_a_bar_above_the_staff(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await pilot.resize_terminal(140, 45)
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        words = screen.query_one(Words)
        for index in range(0, len(screen.bars), 4):
            screen._go(index)
            await pilot.pause()
            rows = words.get_content_height(words.size, app.size, words.size.width)
            assert words.size.height == max(4, rows)
            assert screen.query_one(Score).region.y == words.region.bottom


async def test_the_rest_of_the_words_on_a_bar_comes_with_page_down(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        words = screen.query_one(Words)
        assert not screen.check_action("words", (1,))
        screen.say("A notice of two lines, which takes two rows from the words on the bar, as long as it stands. " * 2)
        await pilot.press("n", "n")
        await pilot.pause()
        assert words.turns
        last = songview.details(screen.song, screen.bars[screen.at])[-1]
        assert last not in text_of(app)
        await pilot.press("pagedown")
        assert last in text_of(app)
        await pilot.press("pageup")
        assert "PgDn" in text_of(app)


async def test_the_song_plays_loops_compares_and_transposes(running: Running, studio: Studio, clock: Clock) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        player = tape_of(studio)
        await pilot.press("t")
        assert "1 semitone lower" in screen.foot.notice
        for key in ("space", "l", "L"):
            before = len(player.sources)
            await pilot.press(key)
            assert len(player.sources) > before, key
            assert screen._sounding
            assert studio.playback.settings.semitones == -1
            screen.hush()
            await pilot.pause()
            assert not studio.playback.running
        await pilot.press("b")
        for _ in range(100):
            await pilot.pause(0.02)
            if player.played:
                break
        assert player.played
        back = next(b.index for b in screen.bars if b.back is not None)
        screen._go(back)
        await pilot.press("equals_sign")
        assert "then bars" in screen.foot.notice


async def test_the_song_plays_to_its_end_and_the_cursor_goes_along(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        await pilot.press("space")
        clock.pass_s(4 * 4 * 60 / 92 + 0.5)
        await pilot.pause(0.2)
        assert screen.at == 4
        assert screen.query_one(Score).staff.now is not None or not screen.staff_shown
        section = screen.bars[screen.at].section
        clock.pass_s(20 * 4 * 60 / 92)
        await pilot.pause(0.2)
        assert screen.at == 24
        assert screen.bars[screen.at].section != section, "it does not stop at the section's end"
        clock.pass_s(60)
        await pilot.pause(0.2)
        assert not screen._sounding
        assert screen.at == 24, "the cursor stays where it was last seen"


async def test_space_pauses_and_goes_on_and_the_music_follows_the_cursor(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        bar_s = 4 * 60 / 92
        await pilot.press("space")
        clock.pass_s(2.5 * bar_s)
        await pilot.pause(0.15)
        assert "Space pause" in text_of(app)
        await pilot.press("space")
        assert not screen._sounding
        assert "Space play" in text_of(app)
        clock.pass_s(30)
        await pilot.press("space")
        assert studio.playback.place == pytest.approx(10.0, abs=0.01)
        await pilot.press("right_square_bracket")
        there = screen.bars[screen.at].start
        assert there > 12
        assert studio.playback.place == pytest.approx(there, abs=0.01)
        clock.pass_s(bar_s)
        await pilot.pause(0.15)
        assert studio.playback.place == pytest.approx(there + 4, abs=0.01)
        assert screen.bars[screen.at].start == pytest.approx(there + 4)
        await pilot.press("space", "left", "space")
        assert studio.playback.place == pytest.approx(there, abs=0.01), "moved in the pause: it begins at the cursor"


async def test_how_it_sounds_is_changed_while_it_plays(running: Running, studio: Studio, clock: Clock) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        await pilot.press("i", "space")
        assert "One bar is counted in" in screen.foot.notice
        assert studio.playback.state == "counting in"
        clock.pass_s(4 * 60 / 92 + 0.1)
        await pilot.pause(0.15)
        assert str(studio.playback.state) == "playing"
        assert screen.at == 0
        await pilot.press("minus", "minus")
        assert "80%" in screen.foot.notice
        assert studio.playback.settings.tempo == pytest.approx(0.8)
        await pilot.press("m")
        assert "click" not in studio.playback.settings.mute
        await pilot.press("v")
        assert studio.playback.settings.mute == {"upper", "lower"}
        await pilot.press("v", "v", "m", "plus", "plus")
        assert studio.playback.settings.mute == {"click"}
        assert "At the tempo of the page" in screen.foot.notice
        assert screen._sounding


async def test_a_loop_goes_round_and_shows_where(running: Running, studio: Studio, clock: Clock) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        await pilot.press("down", "l")
        loop = screen.query_one(SongMap).loop
        assert loop is not None
        assert loop[0] == screen.at
        bars = loop[1] - loop[0] + 1
        clock.pass_s((bars + 0.5) * 4 * 60 / 92)
        await pilot.pause(0.15)
        assert screen.at == loop[0]
        await pilot.press("end")
        assert screen.query_one(SongMap).loop is None
        assert screen._sounding
        await pilot.press("l")
        assert screen.query_one(SongMap).loop is not None, "what plays on goes round from now on"
        await pilot.press("l")
        assert not screen._sounding


async def test_a_lost_device_is_one_line_and_space_goes_on_when_it_is_back(
    running: Running, studio: Studio, clock: Clock
) -> None:
    player = LossyPlayer(lambda: clock.sound_s)
    studio.outlets.player = player
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        await pilot.press("space")
        clock.pass_s(4.5 * 4 * 60 / 92)
        await pilot.pause(0.15)
        player.problem = "The sound output 'box' has gone. Connect it again."
        await pilot.pause(0.15)
        assert screen.foot.bad
        assert "has gone" in screen.foot.notice
        assert screen.at == 4
        await pilot.press("space")
        await settle(pilot)
        assert screen.foot.bad
        assert not screen._sounding
        player.mended = True
        await pilot.press("space")
        await settle(pilot)
        assert screen._sounding
        assert studio.playback.place == pytest.approx(18.0, abs=0.01)


async def test_leaving_the_song_leaves_silence(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        await pilot.press("space")
        assert studio.playback.running
        await pilot.press("escape")
        await settle(pilot)
        assert app.screen is not screen
        assert not studio.playback.running


async def test_where_it_sounds_is_chosen_in_setup(
    running: Running, studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    paper = Paper()
    monkeypatch.setattr(Studio, "outputs", lambda self: (("paper synthesizer",), ()))
    monkeypatch.setattr("tutor.studio.open_instrument", lambda name: InstrumentPlayer(paper))
    async with running(studio) as (app, pilot):
        studio._silent = False
        app.push_screen(SetupScreen())
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, SetupScreen)
        screen.on_menu_chosen(Menu.Chosen(screen.query_one(Menu), "through"))
        await settle(pilot)
        assert isinstance(app.screen, OutputsScreen)
        await pilot.press("down", "enter")
        await settle(pilot)
        assert studio.store.setting("instrument") == "paper synthesizer"
        assert "From now on: paper synthesizer" in text_of(app)
        bad = tmp_path / "bad.sf2"
        bad.write_bytes(b"no")
        await pilot.press("end", "enter", *str(bad), "enter")
        await settle(pilot)
        assert app.screen.query_one(Foot).bad
        assert "bad.sf2" in text_of(app)
        await pilot.press("escape")
        await settle(pilot)
        assert "paper synthesizer" in text_of(app)
        studio._silent = True


# -- warm-up


async def test_a_warm_up_is_led_paused_lowered_and_stopped_at_a_strain(
    running: Running, still: None, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        await show(app, pilot, WarmupScreen(song=frozen_song(studio)))
        await pilot.press("enter", "enter")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, LedScreen)
        assert "Space begins" in screen.foot.notice
        await pilot.press("space")
        assert state_of(screen) == "going"
        while not screen.led.current.keys:
            await pilot.press("s")
        await pilot.press("space")
        assert state_of(screen) == "paused"
        clock.pass_s(60)
        await pilot.pause(0.3)
        assert state_of(screen) == "paused", "nothing moves in a pause"
        await pilot.press("space", "n", "n")
        top = screen.led.top
        await pilot.press("t")
        await settle(pilot)
        assert state_of(screen) == "strained"
        assert studio.singer.strained_at == screen.led.strained == (top - 1,), "the turn of the top note had not begun"
        await pilot.press("enter")
        await settle(pilot)
        assert screen.led.top < top
        await pilot.press("l")
        assert screen.led.lowered in (0, 1, 2)
        assert screen.query_one(Climb).ascent is not None
        for _ in range(40):
            await pilot.press("s")
            await settle(pilot)
            if screen.led.over:
                break
        assert "How did it feel" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert studio.store.diary("Ada")[-1]["feeling"] == "easy"
        assert studio.unfinished_run() is None


async def test_a_hurting_voice_gets_rest_and_not_a_plan(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await show(app, pilot, WarmupScreen(song=frozen_song(studio)))
        await pilot.press(*["down"] * 4, "enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, GateScreen)
        assert screen.refused
        assert "laryngologist" in text_of(app) or "speech-language" in text_of(app)


async def test_a_drill_begins_with_what_stands_under_the_cursor(running: Running, studio: Studio) -> None:
    song = frozen_song(studio)
    bars = songview.bars_of(song)
    asked, notices = {}, {}
    async with running(studio) as (app, pilot):
        for kind in ("borrowed", "what-changed"):
            bar = next(b for b in bars if songview.worth_asking(b)[0] == kind)
            await show(app, pilot, SongScreen(song, bar.index))
            await pilot.press("x")
            await settle(pilot)
            assert isinstance(app.screen, PracticeScreen), kind
            now = studio.rehearsal.current
            assert now is not None
            asked[kind], notices[kind] = now.item, app.screen.foot.notice
            studio.rehearsal.stop()
            app.go("today")
            await settle(pilot)
    for kind, item in asked.items():
        # The frozen reading is sure of no borrowed tone: what is asked in its place is told.
        assert item.drill == kind or "Nothing sure enough" in notices[kind]
    assert sum(item.drill == kind for kind, item in asked.items()) == 1
    assert {item.song_id for item in asked.values()} == {song.id}


def test_a_narrowed_song_keeps_its_notes_and_only_the_findings_of_the_place(studio: Studio) -> None:
    song = frozen_song(studio)
    start, end = song.reading.borrowed[0].start, song.reading.borrowed[0].end
    near = narrowed(song, start, end)
    assert near.table is song.table
    assert near.reading.chords == song.reading.chords
    assert song.reading.borrowed[0] in near.reading.borrowed
    assert all(start <= b.start < end for b in near.reading.borrowed)
    assert len(near.reading.rubs) < len(song.reading.rubs)
