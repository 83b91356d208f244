"""Finding a start, progress, assignments, and disputes with the engine's evidence."""

from __future__ import annotations

import json
import random
from datetime import UTC, datetime
from pathlib import Path

import pytest
from textual.widgets import Input

from tests.tui import frozen
from tests.tui.conftest import Clock, Running, make_studio, settle, text_of
from tests.tui.walking import practised, show
from tutor.__main__ import main
from tutor.analysis.findings import Corrections, KeySpan, Section
from tutor.errors import SidecarError
from tutor.music.pitch import pretty
from tutor.sound.tape import TapePlayer
from tutor.store.store import Store
from tutor.studio import Studio
from tutor.studio.outlets import Outlets
from tutor.tui import figures, plots
from tutor.tui.look import SIGNS
from tutor.tui.screens.assignment import AssignmentScreen
from tutor.tui.screens.begin import BeginScreen
from tutor.tui.screens.dispute import DisputeScreen, chords_asked, claims
from tutor.tui.screens.placement import PlacedScreen, PlacementScreen
from tutor.tui.screens.practice import PracticeScreen
from tutor.tui.widgets.path_field import PathField

# -- finding a start


async def test_a_start_is_found_and_every_answer_kept(running: Running, clock: Clock) -> None:
    studio = make_studio(clock)
    async with running(studio) as (app, pilot):
        await show(app, pilot, BeginScreen())
        await pilot.press(*["down"] * 4, "enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, PlacementScreen)
        for n in range(1, 9):
            asked = screen.placing.current
            assert asked is not None
            right = asked.drill.right(asked.item).choice
            labels = [c.label for c in asked.question.choices]
            await pilot.press(str(labels.index(right or "") + 1))
            await settle(pilot)
            assert len(studio.reviews()) == n, "kept at once"
            await pilot.press("enter")
            await settle(pilot)
        before = {p.drill: p.at for p in screen.placing.placement.probes}
        await pilot.press("0")
        await settle(pilot)
        await pilot.press("u")
        await settle(pilot)
        assert len(studio.reviews()) == 8
        assert {p.drill: p.at for p in screen.placing.placement.probes} == before
        await pilot.press("0")
        await settle(pilot)
        await pilot.press("d")
        await settle(pilot)
        assert len(studio.reviews()) == 8
        assert {p.drill: p.at for p in screen.placing.placement.probes} == before
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, PlacedScreen)
        assert "This is where you begin, so far." in text_of(app)
        assert "far along: " in text_of(app)
        begun = {c.key: c.level for c in studio.cards()}
        assert all(begun[c.key] == c.level for c in screen.placing.placement.cards())
    studio.close()


async def test_a_placement_left_at_once_changes_nothing(running: Running, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        await show(app, pilot, BeginScreen())
        await pilot.press(*["down"] * 4, "enter")
        await settle(pilot)
        assert isinstance(app.screen, PlacementScreen)
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, BeginScreen)
        assert studio.cards() == ()


async def test_the_first_visit_offers_it(running: Running, empty_studio: Studio) -> None:
    async with running(empty_studio) as (app, pilot):
        for _ in range(4):
            await pilot.press("enter")
            await settle(pilot)
        assert isinstance(app.screen, PlacementScreen)
        await pilot.press("0")
        await settle(pilot)
        await pilot.press("escape")
        await settle(pilot)
        assert "This is where you begin" in text_of(app)
        await pilot.press("enter")
        await settle(pilot)
        assert "Which song shall we begin with" in text_of(app)


# -- progress


async def test_progress_tells_skills_confusions_and_days(
    running: Running, still: None, studio: Studio, clock: Clock
) -> None:
    await practised(running, studio, clock, "2112")
    async with running(studio) as (app, pilot):
        app.go("progress")
        await settle(pilot)
        assert "4 answers so far, on 4 days." in text_of(app)
        await pilot.press("2")
        await settle(pilot)
        assert "2 of 4 right, 4.0 s" in text_of(app)
        await pilot.press("right")
        await settle(pilot)
        assert "[2]" in text_of(app), "twice the first inversion was heard rightly"
        assert "Columns: what you answered" in text_of(app)
        await pilot.press("4")
        await settle(pilot)
        assert "Practised on 4 of the last seven days; 4 days in a row" in text_of(app)
        assert "Skills that come due" in text_of(app)
        assert "█" in text_of(app)


async def test_progress_is_written_and_never_over_a_file(
    running: Running, still: None, studio: Studio, clock: Clock, tmp_path: Path
) -> None:
    await practised(running, studio, clock, "21")
    async with running(studio) as (app, pilot):
        app.go("progress")
        await settle(pilot)
        for _ in range(2):
            await pilot.press("e")
            await settle(pilot)
            app.screen.query_one(PathField).value = str(tmp_path)
            await pilot.press("enter")
            await settle(pilot)
        names = sorted(p.name for p in tmp_path.iterdir())
        assert len(names) == 4
        assert {n.rpartition(".")[2] for n in names} == {"csv", "json"}
        raw = json.loads(next(tmp_path.glob("*.json")).read_text(encoding="utf-8"))
        assert [r["credit"] for r in raw["reviews"]] == [1.0, 0.0]
        await pilot.press("e")
        await settle(pilot)
        app.screen.query_one(PathField).value = str(tmp_path / "nowhere")
        await pilot.press("enter")
        await settle(pilot)
        assert "there is no such folder" in text_of(app)


async def test_progress_without_answers_says_what_to_do(running: Running, still: None, studio: Studio) -> None:
    async with running(studio) as (app, pilot):
        app.go("progress")
        await settle(pilot)
        for key, words in (("2", "once it was asked"), ("3", "Nothing was mixed up"), ("4", "will stand here")):
            await pilot.press(key)
            await settle(pilot)
            assert words in text_of(app)


def test_labels_are_told_in_words_and_bars_are_no_labels() -> None:
    from tutor.practice.catalogue import drill_named
    from tutor.practice.schedule import Review

    quality = drill_named("chord-quality")
    bent = drill_named("borrowed")
    assert quality is not None
    assert bent is not None
    at = datetime(2026, 3, 3, tzinfo=UTC)
    answers = [
        Review("Ada", "chord-quality", quality.skills[0], at, 3, 0, 1, answered="minor", expected="diminished"),
        Review("Ada", "borrowed", "song-bar", at, 3, 0, 1, answered="31", expected="32"),
    ]
    said = figures.mixed_up(answers, [quality, bent])
    assert [n for _, _, n in said] == [1]
    assert figures.skill_words(bent, "song-bar") == "the bar of your song with a foreign tone"


def test_columns_stand_on_their_names() -> None:
    lines = plots.columns([0, 2, 4], ["1", "2", "3"], SIGNS, height=2).splitlines()
    assert lines[-1].split() == ["1", "2", "3"]
    assert lines[-2] == "    ███ ███"
    assert lines[0].split() == ["4"]


# -- a teacher's assignment

TASKS = """
title = "Week 3"
teacher = "M. Ohlin"
due = 2026-12-04
songs = ["fifty-minutes-later", "nowhere.musicxml"]

[[task]]
drill = "inversions"
skills = ["triads-close"]
count = 2

[[task]]
drill = "chord-quality"
count = 1
"""


async def test_an_assignment_is_opened_worked_on_and_done(running: Running, clock: Clock, tmp_path: Path) -> None:
    studio = make_studio(clock)
    name = studio.songs()[0].path
    file = tmp_path / "week-3.toml"
    file.write_text(TASKS.replace("fifty-minutes-later", name), encoding="utf-8")
    async with running(studio) as (app, pilot):
        await show(app, pilot, BeginScreen())
        await pilot.press(*["down"] * 5, "enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, AssignmentScreen)
        screen.query_one(PathField).value = str(file)
        await pilot.press("enter")
        await settle(pilot)
        for words in ("Week 3", "M. Ohlin", "due Friday 4 December 2026", "0 of 2", "Not found here: nowhere.musicxml"):
            assert words in text_of(app), words
        await pilot.press("enter")
        await settle(pilot)
        session = studio.rehearsal.session
        assert session is not None
        assert sorted(session.plan)[-1] == ("inversions", "triads-close")
        assert [s.title for s in session.material.songs] == [studio.songs()[0].title]
        clock.pass_s(5)
        await pilot.press("0")
        await settle(pilot)
        await pilot.press("escape")
        await settle(pilot)
        assert app.screen is screen
        assert "1 of 3 done" in text_of(app)
        for _ in range(2):
            current = studio.rehearsal.current
            assert current is not None
            clock.pass_s(5)
            studio.rehearsal.answer(current.drill.right(current.item), 5)
        await show(app, pilot, AssignmentScreen(file))
        assert "All of it is done" in text_of(app)
        assert "Enter begin" not in text_of(app)
    studio.close()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('title = 3\n[[task]]\ndrill = "inversions"', "title must"),
        ("{", "not a readable"),
        ('[[task]]\ndrill = "x"', "there is no drill"),
        ("", "tasks"),
    ],
)
def test_a_bad_assignment_is_one_clear_line(
    text: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "bad.toml"
    file.write_text(text, encoding="utf-8")
    assert main(["assignment", str(file)]) == 2
    told = capsys.readouterr().err
    assert words in told
    assert told.count("\n") == 1
    assert main(["assignment", str(tmp_path / "none.toml")]) == 2
    assert "cannot be opened" in capsys.readouterr().err


async def test_a_bad_assignment_leaves_the_field_open(
    running: Running, still: None, studio: Studio, tmp_path: Path
) -> None:
    file = tmp_path / "bad.json"
    file.write_text("[]", encoding="utf-8")
    async with running(studio) as (app, pilot):
        await show(app, pilot, AssignmentScreen(file))
        assert "not an assignment" in text_of(app)
        assert app.screen.query_one(PathField).has_focus
        await pilot.press("escape")
        await settle(pilot)
        assert not isinstance(app.screen, AssignmentScreen)


# -- disputes


async def _answered_from_a_song(studio: Studio, drill: str, skill: str) -> None:
    song = studio.open_song(studio.songs()[0].path)
    studio.rehearsal.begin(studio.singer, songs=[song.id], count=4, skills=[(drill, skill)])


async def test_a_dispute_shows_the_evidence_and_takes_a_correction(
    running: Running, clock: Clock, tmp_path: Path
) -> None:
    studio = Studio(Store.open(tmp_path / "data", clock), clock, random.Random(7), Outlets(TapePlayer()))
    await _answered_from_a_song(studio, "inversions", "song")
    async with running(studio) as (app, pilot):
        await show(app, pilot, PracticeScreen())
        await pilot.press("1")
        await settle(pilot)
        await pilot.press("d")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, DisputeScreen)
        chord = chords_asked(screen.song, screen.question_source)[0]
        for words in (f"bar {chord.bar}, beat {chord.beat:g}", chord.figure, pretty(chord.tones[0])):
            assert words in text_of(app), words
        await pilot.press("escape")
        await settle(pilot)
        assert len(studio.reviews()) == 1, "nothing was changed"
        await pilot.press("d")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        field = app.screen.query_one("#correction", Input)
        field.value = "no such thing"
        await pilot.press("enter")
        await settle(pilot)
        assert "is no Roman numeral" in text_of(app)
        field.value = "bVI"
        await pilot.press("enter")
        await settle(pilot)
        assert "Corrected beside the song, and set aside" in text_of(app)
        assert studio.reviews() == ()
        song = studio.library.get(screen.song.id)
        assert song is not None
        mended = next(c for c in song.reading.chords if abs(c.start - chord.start) < 1e-6)
        assert (mended.figure, mended.corrected) == ("bVI", True)
        session = studio.rehearsal.session
        assert session is not None
        assert session.material.songs[0].reading is song.reading, "the next questions follow the correction"
        await pilot.press("enter")
        await settle(pilot)
        assert "2 of 4" in text_of(app)
    studio.close()


async def test_a_dispute_can_set_aside_alone(running: Running, clock: Clock) -> None:
    studio = make_studio(clock)
    await _answered_from_a_song(studio, "chord-quality", "song")
    async with running(studio) as (app, pilot):
        await show(app, pilot, PracticeScreen())
        await pilot.press("1")
        await settle(pilot)
        await pilot.press("d")
        await settle(pilot)
        await pilot.press("d")
        await settle(pilot)
        assert isinstance(app.screen, PracticeScreen)
        assert studio.reviews() == ()
        assert "Set aside" in text_of(app)
    studio.close()


def test_the_chords_of_the_bars_asked_about_are_shown(studio: Studio) -> None:
    song = studio.library.get(frozen.CARD.id)
    assert song is not None
    some = chords_asked(song, f"Bars 9–10 of “{song.title}”")
    assert some
    assert {c.bar for c in some} <= {"8", "9", "10"}
    assert chords_asked(song, f"“{song.title}”") == song.reading.chords


def test_sections_and_keys_can_be_corrected_too(studio: Studio) -> None:
    song = studio.library.get(frozen.CARD.id)
    assert song is not None
    found = claims(song, f"“{song.title}”")
    section = next(c for c in found if isinstance(c.of, Section))
    assert isinstance(section.of, Section)
    mended = section.corrected(Corrections(), song, section.value.replace(f"={section.of.name}", "=C"))
    assert [(s.label, s.bars) for s in mended.sections] == [("C", section.of.bars)]
    key = next(c for c in found if isinstance(c.of, KeySpan))
    mended = key.corrected(Corrections(), song, key.value.partition("=")[0] + "=E minor")
    assert [k.name for k in mended.keys] == ["E minor"]
    with pytest.raises(SidecarError, match="no key"):
        key.corrected(Corrections(), song, "1-2=H minor")
