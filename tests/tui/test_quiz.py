"""Quizzes on the screen, from nothing to the answers, and gathering, by keyboard alone."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.widgets import Static

from tests.quiz.packs import pack
from tests.tui import frozen
from tests.tui.conftest import Running, settle, text_of
from tests.tui.quizzing import SIZES, right_key, type_in
from tutor.quiz.pack import dumps, loads
from tutor.quiz.sheet import Sheet, from_code, from_file, to_code, to_file
from tutor.studio import Studio, quizdesk
from tutor.tui.screens.quiz import QuizScreen
from tutor.tui.screens.quiz_edit import QuizEditScreen
from tutor.tui.screens.quiz_gather import QuizGatherScreen
from tutor.tui.screens.quiz_make import QuizMakeScreen
from tutor.tui.screens.quiz_take import QuizTakeScreen
from tutor.tui.screens.quiz_taken import QuizTakenScreen
from tutor.tui.screens.quiz_write import QuizWriteScreen


async def test_from_nothing_to_gathered_answers(
    running: Running, studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(studio.library, "open", lambda *_, **__: studio.library.get(frozen.CARD.id))
    async with running(studio) as (app, pilot):
        app.go("quiz")
        await settle(pilot)
        assert isinstance(app.screen, QuizScreen)
        await pilot.press("m")
        await settle(pilot)
        assert isinstance(app.screen, QuizMakeScreen)
        await pilot.press("enter")  # the songs
        await settle(pilot)
        await pilot.press("space", "escape")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, QuizMakeScreen)
        assert screen.wish.songs == (frozen.CARD.id,)
        assert frozen.CARD.title in screen.title_now
        await pilot.press("down", "down", *["left"] * 8)
        assert screen.wish.count == 2
        await pilot.press("u", "left")
        assert screen.wish.count == 2
        await pilot.press("m")
        await settle(pilot)
        edit = app.screen
        assert isinstance(edit, QuizEditScreen)
        assert len(edit.pack.items) == 2
        assert any(frozen.CARD.title in i.source for i in edit.pack.items)
        await pilot.press("w")
        await settle(pilot)
        assert isinstance(app.screen, QuizWriteScreen)
        await type_in(app, pilot, str(tmp_path / "out"))
        assert "Written into" in text_of(app)
        made = sorted(p.name for p in (tmp_path / "out").iterdir())
        assert [n.partition(".")[2] for n in made] == ["html", "qti.zip", "quiz.json", "sheet.html"]
        quiz = tmp_path / "out" / next(n for n in made if n.endswith(".quiz.json"))
        await pilot.press("enter")
        await settle(pilot)

        assert isinstance(app.screen, QuizScreen)
        assert "Go on making" not in text_of(app)
        await pilot.press("t")
        await type_in(app, pilot, str(quiz))
        taken = loads(quiz.read_text(encoding="utf-8"))
        assert isinstance(app.screen, QuizTakeScreen)
        await pilot.press("enter")
        await settle(pilot)
        for index in range(len(taken.items)):
            await pilot.press(right_key(taken, index))
            await settle(pilot)
            assert "Right" in text_of(app)
            await pilot.press("enter")
            await settle(pilot)
        result = app.screen
        assert isinstance(result, QuizTakenScreen)
        assert "2 of 2 right" in text_of(app)
        assert from_code(result.code).quiz == taken.id
        await pilot.press("n")
        await type_in(app, pilot, "Wren")
        await pilot.press("s")
        await type_in(app, pilot, str(tmp_path / "in"))
        saved = next((tmp_path / "in").iterdir())
        assert from_file(saved.read_text(encoding="utf-8")).nickname == "Wren"
        await pilot.press("escape")
        await settle(pilot)

        await pilot.press("g")
        await settle(pilot)
        await type_in(app, pilot, str(quiz))
        await type_in(app, pilot, str(tmp_path / "in"))
        assert isinstance(app.screen, QuizGatherScreen)
        assert "1 answer sheet" in text_of(app)
        assert "Nearly everybody heard everything" in text_of(app)


# -- gathering


async def test_codes_folders_and_refusals(running: Running, studio: Studio, tmp_path: Path) -> None:
    quiz = tmp_path / "tide.quiz.json"
    quiz.write_text(dumps(pack()), encoding="utf-8")
    answers = tmp_path / "answers"
    answers.mkdir()
    for number in range(6):
        sheet = Sheet(pack().id, (1 + number % 2, 1, 3, 2), f"{number:08x}")
        (answers / f"{number}.json").write_text(to_file(sheet), encoding="utf-8")
    (answers / "odd.txt").write_text("nonsense\n", encoding="utf-8")
    async with running(studio) as (app, pilot):
        app.push_screen(screen := QuizGatherScreen())
        await settle(pilot)
        await type_in(app, pilot, str(tmp_path / "nothing"))
        assert screen.foot.bad
        await type_in(app, pilot, str(quiz))
        await type_in(app, pilot, str(answers))
        assert screen.found is not None
        assert (screen.found.figures.sheets, screen.found.refused_count) == (6, 1)
        shown = str(screen.query_one("#figures", Static).render())
        for words in ("50%", "taken for “the root”", "KR-20", "odd.txt, line 1", "Inversions: triads"):
            assert words in shown
        await pilot.press("a")
        await settle(pilot)
        await type_in(app, pilot, to_code(Sheet(pack().id, (2, 1, 3, 2), "000000aa")))
        assert screen.found.figures.sheets == 7
        await pilot.press("u")
        await settle(pilot)
        assert screen.found.figures.sheets == 6
        await pilot.press("e")
        await settle(pilot)
        await type_in(app, pilot, str(tmp_path / "figures"))
        assert sorted(p.name for p in (tmp_path / "figures").iterdir()) == [
            "tide-chords.figures.csv", "tide-chords.figures.json",
        ]  # fmt: skip
        await pilot.press("a")
        await settle(pilot)
        await type_in(app, pilot, str(tmp_path / "no such folder"))
        assert screen.foot.bad
        assert screen.found.figures.sheets == 6


@pytest.mark.parametrize("size", SIZES[:1])
async def test_help_on_every_screen(running: Running, studio: Studio, size: tuple[int, int]) -> None:
    from tutor.tui.screens.help import HelpScreen

    draft, seat = quizdesk.begin_draft(studio, pack(), []), quizdesk.sit_down(studio, pack())
    async with running(studio, size=size) as (app, pilot):
        for screen in (QuizScreen(), QuizMakeScreen(), QuizEditScreen(draft, []), QuizWriteScreen(draft),
                       QuizTakeScreen(seat), QuizTakenScreen(seat.taking.finish()), QuizGatherScreen()):  # fmt: skip
            app.push_screen(screen)
            await settle(pilot)
            screen.action_help()
            await settle(pilot)
            assert isinstance(app.screen, HelpScreen)
            app.pop_screen()
            app.pop_screen()
