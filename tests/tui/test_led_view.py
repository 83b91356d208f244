"""The led warm-up to look at: large letters, keyboard, stair, and what the foot names."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from textual.app import App, ComposeResult
from textual.widget import Widget

from tests.tui import frozen
from tests.tui.conftest import Clock, Running, settle, text_of
from tests.tui.singing import leading, to_a_note, to_where
from tutor.studio import Studio
from tutor.tui.look import NIGHT, variables
from tutor.tui.screens.led_words import big_words, instruction_words, sounding, step_clef
from tutor.tui.widgets.bigtype import TALL, BigType, lettering
from tutor.tui.widgets.climb import Climb, levels
from tutor.tui.widgets.keybed import Keybed
from tutor.tui.widgets.staff_layout import clef_of, lay_out
from tutor.warmup import run as runs


class Bench(App[None]):
    """One widget alone."""

    def __init__(self, widget: Widget) -> None:
        super().__init__()
        self.widget = widget

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """The stage's colours."""
        return variables(NIGHT)

    def compose(self) -> ComposeResult:
        """It."""
        yield self.widget


def test_letters_are_five_dots_high_and_accents_fall_away() -> None:
    rows = lettering("é♯4")
    assert len(rows) == TALL
    assert len({len(r) for r in rows}) == 1
    assert rows == lettering("E♯4")
    assert lettering("ß") == lettering("SS")
    assert [len(r) for r in lettering("A", 2)] == [2 * len(lettering("A")[0])] * 2 * TALL
    assert lettering("道") == [""] * TALL


async def test_what_does_not_fit_large_is_shown_plain() -> None:
    app = Bench(BigType())
    async with app.run_test(size=(40, 12)):
        big = app.query_one(BigType)
        big.text = "a long line of words"
        assert str(big.render()) == big.text
        big.text = "noo C♯4"
        assert "█" in str(big.render())


async def test_the_keyboard_marks_the_pattern_and_names_each_c() -> None:
    app = Bench(Keybed())
    async with app.run_test(size=(70, 12)):
        keys = app.query_one(Keybed)
        keys.compass, keys.notes, keys.now = (47, 71), frozenset({60, 62, 63, 66}), 62
        black, white = str(keys.render()).split("\n")
        assert black.count("●") == 2, "E flat and F sharp"
        assert (white.count("●"), white.count("◆")) == (1, 1)
        assert "C3" in white
        assert all(m >= 48 or m == 47 for m in keys.whites())
        assert len(black) <= 70


@given(st.lists(st.integers(50, 90), max_size=5), st.integers(40, 60), st.integers(0, 30), st.integers(4, 14))
def test_every_line_that_matters_has_its_own_row(lines: list[int], low: int, above: int, rows: int) -> None:
    found = levels(lines, low, low + above, rows)
    assert len(found) == rows
    assert all(a > b for a, b in pairwise(found))
    assert set(list(dict.fromkeys(lines))[:rows]) <= set(found)


async def test_the_stair_names_both_register_changes_the_song_and_today(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        shown = text_of(app)
        plan = screen.led.plan
        for word in ("change", "song", "today"):
            assert word in shown
        lines = screen.query_one(Climb)._lines(runs.ascent(screen.led))
        assert plan.target.midi in lines
        assert plan.today_top in lines


@pytest.mark.parametrize("size", [(80, 24), (140, 45)])
async def test_large_letters_and_keyboard_follow_the_turn(
    running: Running, studio: Studio, clock: Clock, size: tuple[int, int]
) -> None:
    async with running(studio, size=size) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_where(screen, pilot, lambda run: run.repetition > 0)
        big, keys = screen.query_one(BigType), screen.query_one(Keybed)
        assert big.display
        assert big.text.endswith(
            screen.led.current.top_names[screen.led.repetition].replace("b", "♭").replace("#", "♯")
        )
        phrase = screen.led.phrase
        assert phrase is not None
        assert max(keys.notes) == screen.led.top
        assert keys.display
        first = next(t for t in phrase.tones if t.line == "voice")
        assert sounding(phrase, first.onset_quarters + 0.01) == first.midi
        assert sounding(phrase, first.onset_quarters - 0.01) == 0
        await pilot.press("t")
        await settle(pilot)
        assert not big.display
        await pilot.press("end", "enter")
        await settle(pilot)
        await pilot.press("escape")
        await settle(pilot)


async def test_the_foot_names_every_key_of_the_run_at_eighty_columns(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        assert "Space begin" in text_of(app)
        await to_a_note(screen, pilot)
        foot = text_of(app).splitlines()[-1]
        for words in ("Space pause", "t strains", "l lower", "r again", "s skip", "h listen", "Esc back", "? help"):
            assert words in foot
        screen._move(runs.tick(screen.led, screen.led.left_s))
        while screen.led.state != "resting":
            screen._move(runs.tick(screen.led, screen.led.left_s))
        await settle(pilot)
        assert "n end the rest" in text_of(app).splitlines()[-1]
        assert big_words(screen.led).startswith("0:")


async def test_before_the_cool_down_the_run_waits_for_the_recording(
    running: Running, studio: Studio, clock: Clock
) -> None:
    async with running(studio) as (app, pilot):
        screen = await leading(app, pilot, studio)
        await to_where(screen, pilot, lambda run: run.state == "recording")
        assert "Record now" in text_of(app)
        assert "Space cool down" in text_of(app)
        clock.pass_s(3600)
        await pilot.pause(0.15)
        assert screen.led.state == "recording"
        await pilot.press("t", "l", "space")
        await settle(pilot)
        assert (screen.led.state, screen.led.current.phase) == ("going", "cool-down")
        assert studio.singer.strained_at == ()


def test_a_long_text_is_cut_to_the_syllable_of_the_high_note() -> None:
    run = runs.begin(runs.start(frozen.plan()))
    while run.current.exercise != "climax-half":
        run = runs.skip(run)
    phrase = run.phrase
    assert phrase is not None
    words = big_words(run)
    assert len(words) < 20
    assert any(t.syllable and t.syllable in words for t in phrase.tones)


def test_a_step_keeps_one_clef_through_all_its_keys() -> None:
    plan = frozen.plan()
    moved = replace(plan, steps=tuple(replace(s, phrases=tuple(runs.lowered(p, 14) for p in s.phrases))
                                      for s in plan.steps))  # fmt: skip
    alone: set[int] = set()
    for at, step in enumerate(moved.steps):
        clef = step_clef(replace(runs.start(moved), step=at))
        drawn = [lay_out(p.only("voice"), clef=clef).blocks for p in step.phrases]
        assert len(set(drawn)) <= 1
        alone.add(len({clef_of([t.pitch for t in p.only("voice").tones]) for p in step.phrases}))
    assert 2 in alone, "by its own notes some key would stand in another clef"


def test_after_a_strain_the_words_say_stop_and_then_downward() -> None:
    run = runs.begin(runs.start(frozen.plan()))
    while run.repetition < 2 or not run.singing:
        run = runs.tick(run, 0.5)
    held = runs.strains(run)
    assert "Stop singing" in instruction_words(held)
    assert run.current.instruction not in instruction_words(held)
    assert "Downward" in instruction_words(runs.go_on(held))
