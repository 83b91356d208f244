"""Each screen with the keyboard alone: every key it names does what it says."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input, Static

from tests.tui import frozen
from tests.tui.conftest import Clock, Running, make_studio, settle, text_of
from tutor.errors import PortUnavailable
from tutor.practice.drill import Song
from tutor.studio import Studio
from tutor.tui.app import LarkstairApp
from tutor.tui.screens import names
from tutor.tui.screens.help import HelpScreen
from tutor.tui.screens.led import LedScreen
from tutor.tui.screens.practice import PracticeScreen
from tutor.tui.screens.song import SongScreen
from tutor.tui.screens.warmup import WarmupScreen
from tutor.tui.stage import Stage
from tutor.tui.widgets.climb import Climb
from tutor.tui.widgets.menu import Menu
from tutor.tui.widgets.piano import Piano
from tutor.tui.widgets.songmap import SongMap
from tutor.tui.widgets.tapper import Tapper


def frozen_song(studio: Studio) -> Song:
    song = studio.library.get(frozen.CARD.id)
    assert song is not None
    return song


async def show(app: LarkstairApp, pilot: Pilot[Any], screen: Stage) -> None:
    app.push_screen(screen)
    await settle(pilot)


async def ask(app: LarkstairApp, pilot: Pilot[Any], drill: str) -> PracticeScreen:
    app.studio.rehearsal.begin(app.studio.singer, count=5, skills=[(drill, "one")])
    screen = PracticeScreen()
    await show(app, pilot, screen)
    return screen


def state_of(screen: LedScreen) -> str:
    return screen.led.state


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


async def test_the_song_plays_loops_compares_and_transposes(running: Running, studio: Studio, clock: Clock) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        player = studio.outlets.player
        await pilot.press("t")
        assert "a semitone" in screen.foot.notice or "1 semitone" in screen.foot.notice
        for key in ("space", "l", "b"):
            before = len(player.played)  # type: ignore[attr-defined]
            await pilot.press(key)
            for _ in range(100):
                await pilot.pause(0.02)
                if len(player.played) > before:  # type: ignore[attr-defined]
                    break
            assert len(player.played) > before, key  # type: ignore[attr-defined]
            screen.hush()
            await pilot.pause(0.1)
        back = next(b.index for b in screen.bars if b.back is not None)
        screen._go(back)
        await pilot.press("equals_sign")
        assert "then bars" in screen.foot.notice


async def test_the_cursor_follows_the_sound(running: Running, studio: Studio, clock: Clock) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        await pilot.press("space")
        for _ in range(100):
            await pilot.pause(0.02)
            if screen._sounding:
                break
        clock.pass_s(4)
        await pilot.pause(0.2)
        assert screen.at >= 1


async def test_a_chord_is_corrected_and_the_correction_undone(running: Running, clock: Clock, tmp_path: Path) -> None:
    studio = Studio.open(tmp_path, silent_ports=True, clock=clock, seed=3)
    studio.set_voice("soprano")
    frozen.furnish(studio.store)
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio), at=4)
        await show(app, pilot, screen)
        was = screen.bars[4].chords[0].figure
        await pilot.press("c", *"bVI", "enter")
        await settle(pilot)
        assert screen.bars[4].chords[0].figure == "bVI", screen.foot.notice
        assert screen.bars[4].chords[0].corrected
        await pilot.press("u")
        await settle(pilot)
        assert screen.bars[4].chords[0].figure == was
        await pilot.press("c", *"nonsense", "enter")
        await settle(pilot)
        assert screen.foot.bad
        await pilot.press("escape")
        assert app.screen is screen
    studio.close()


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
        assert studio.singer.strained_at == (top,)
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


@pytest.mark.parametrize("rows", [3, 4])
async def test_a_hoarse_or_hurting_voice_gets_rest_and_not_a_plan(running: Running, studio: Studio, rows: int) -> None:
    async with running(studio) as (app, pilot):
        await show(app, pilot, WarmupScreen(song=frozen_song(studio)))
        await pilot.press(*["down"] * rows, "enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, WarmupScreen)
        assert screen.asking == "refused"
        assert not isinstance(app.screen, LedScreen)
        text = str(screen.query_one("#text", Static).render())
        assert "laryngologist" in text or "speech-language" in text


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
        assert "likely to be there" in text_of(app)


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
