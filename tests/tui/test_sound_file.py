"""Passages, questions and single exercises written from their screens."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import mido
import pytest
from textual.pilot import Pilot

from tests.tui import walks
from tests.tui.conftest import Running, settle, text_of
from tests.tui.walking import ask, frozen_song, show
from tutor.studio import Studio
from tutor.tui.app import LarkstairApp
from tutor.tui.screens.song import SongScreen
from tutor.tui.screens.sound_file import SoundFileScreen, file_name
from tutor.tui.screens.warmup import WarmupScreen
from tutor.tui.stage import Stage
from tutor.tui.widgets.path_field import PathField


async def written(app: LarkstairApp, pilot: Pilot[Any], path: Path, *choose: str) -> str:
    """Choose what to write, name the file, and tell what the screen says then."""
    screen = app.screen
    assert isinstance(screen, SoundFileScreen)
    await pilot.press(*choose)
    await settle(pilot)
    field = screen.query_one(PathField)
    assert field.has_focus
    field.value = str(path)
    await pilot.press("enter")
    await settle(pilot)
    below = app.screen
    assert isinstance(below, Stage)
    return below.foot.notice


def keys_of(path: Path) -> list[int]:
    """Notes of a MIDI file, as they begin."""
    return [m.note for m in mido.MidiFile(path) if m.type == "note_on" and m.velocity]


async def test_a_passage_is_written_as_it_sounds_now(running: Running, studio: Studio, tmp_path: Path) -> None:
    async with running(studio) as (app, pilot):
        screen = SongScreen(frozen_song(studio))
        await show(app, pilot, screen)
        for number, transpose in enumerate(((), ("t", "t", "v"))):
            screen._go(next(b.index for b in screen.bars if b.sung and b.section))
            await pilot.press(*transpose, "W")
            await settle(pilot)
            assert "This phrase" in text_of(app)
            assert "Written to" in await written(app, pilot, tmp_path / f"{number}.mid", "enter")
            assert app.screen is screen
        await pilot.press("W")
        await settle(pilot)
        assert "Written to" in await written(app, pilot, tmp_path / "section.mid", "down", "enter")
        await pilot.press("W")
        await settle(pilot)
        assert "Written to" in await written(app, pilot, tmp_path / "song.mid", "end", "enter")
    both, voice = keys_of(tmp_path / "0.mid"), keys_of(tmp_path / "1.mid")
    assert 0 < len(voice) < len(both), "the voice alone"
    assert {k + 2 for k in voice} <= set(both), "two semitones lower"
    assert len(voice) < len(keys_of(tmp_path / "section.mid")) < len(keys_of(tmp_path / "song.mid"))


async def test_a_question_becomes_what_its_ending_says(
    running: Running, still: None, studio: Studio, tmp_path: Path
) -> None:
    pytest.importorskip("soundfile")
    async with running(studio) as (app, pilot):
        screen = await ask(app, pilot, "choosing")
        await pilot.press("w")
        assert app.screen is screen, "not before it is answered"
        await pilot.press("1")
        await settle(pilot)
        for name, head in (("a", b"RIFF"), ("b.flac", b"fLaC"), ("c.ogg", b"OggS"), ("d.mid", b"MThd")):
            await pilot.press("w")
            await settle(pilot)
            assert "What you answered" in text_of(app)
            assert "Written to" in await written(app, pilot, tmp_path / name, "enter")
            assert app.screen is screen
            assert screen.phase == "answered"
            file = tmp_path / (name if "." in name else f"{name}.wav")
            assert file.read_bytes().startswith(head)


async def test_nothing_is_overwritten_and_a_step_back_is_a_step(
    running: Running, still: None, studio: Studio, tmp_path: Path
) -> None:
    (tmp_path / "mine.wav").write_text("mine")
    async with running(studio) as (app, pilot):
        screen = await ask(app, pilot, "choosing")
        await pilot.press("1")
        await settle(pilot)
        await pilot.press("w")
        await settle(pilot)
        assert "a file of that name already" in await written(app, pilot, tmp_path / "mine.wav", "enter")
        assert "End the name in" in await written(app, pilot, tmp_path / "mine.xyz")
        await pilot.press("escape")
        assert "What shall be written?" in text_of(app)
        await pilot.press("escape")
        assert app.screen is screen
    assert (tmp_path / "mine.wav").read_text() == "mine"


async def test_one_exercise_of_a_warm_up_is_written(
    running: Running, still: None, studio: Studio, tmp_path: Path
) -> None:
    async with running(studio) as (app, pilot):
        await walks.plan(pilot)
        screen = app.screen
        assert isinstance(screen, WarmupScreen)
        await pilot.press("W")
        await settle(pilot)
        assert "Written to" in await written(app, pilot, tmp_path / "one.mid", "enter")
        plan: Any = screen.given
        step = next(s for s in plan.steps if s.phrases)
    sung = [t.midi for p in step.phrases for t in p.tones if t.line == "voice"]
    assert set(sung) <= set(keys_of(tmp_path / "one.mid"))
    length = sum(p.length_s for p in step.phrases)
    assert mido.MidiFile(tmp_path / "one.mid").length == pytest.approx(length, abs=2.0)


@pytest.mark.parametrize(
    ("text", "name"), [("“Slack Water” bars 3–5", "slack-water-bars-3-5"), ("…", "music"), ("Là-bas", "là-bas")]
)
def test_names_of_files(text: str, name: str) -> None:
    assert file_name(text) == name
