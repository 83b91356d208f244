"""Random keys: no crash, no answer lost. ``python -m tests.bench.monkey`` presses them by the thousand."""

from __future__ import annotations

import random
from typing import Any

import pytest

from tests.tui.conftest import Clock, Running, settle
from tutor.studio import Studio

KEYS = (
    "up", "down", "left", "right", "enter", "enter", "enter", "space", "escape", "tab", "shift+tab", "home", "end",
    "pageup", "pagedown", "backspace", "delete", "question_mark", "ctrl+p", "comma", "full_stop", "minus", "plus",
    "equals_sign", "left_square_bracket", "right_square_bracket", *"0123456789", *"abcdefghijklmnoprstuvwxyz", "N", "T",
)  # fmt: skip
"""Everything but the key that leaves."""
SIZES = [(80, 24), (60, 18), (40, 10), (140, 45), (200, 60), (80, 24)]


@pytest.mark.parametrize("seed", [1, 2])
async def test_random_keys_break_nothing(
    running: Running, studio: Studio, clock: Clock, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    await press_at_random(running, studio, clock, monkeypatch, seed, 360)


async def press_at_random(
    running: Running, studio: Studio, clock: Clock, monkeypatch: pytest.MonkeyPatch, seed: int, steps: int
) -> None:
    """Press random keys, resize and change screens at random, and count the answers.

    Raises:
        AssertionError: an answer was lost, or hardly any screen was seen.
    """
    dice = random.Random(seed)
    kept: list[str] = []
    keep, take_back = studio.store.keep_answer, studio.store.take_back

    def counted(*given: Any, **more: Any) -> None:
        keep(*given, **more)
        kept.append("answer")

    def taken_back(*given: Any) -> None:
        take_back(*given)
        kept.pop()

    studio.store.keep_answer, studio.store.take_back = counted, taken_back  # type: ignore[method-assign,assignment]
    for name in ("forget_singer", "forget_everything"):  # what is deleted on purpose is not lost
        monkeypatch.setattr(f"tutor.studio.keeping.{name}", lambda *_: None)
    seen: set[str] = set()
    async with running(studio) as (app, pilot):
        for step in range(0, steps, 6):
            clock.pass_s(dice.choice([0.0, 0.1, 2.0]))
            await pilot.press(*dice.choices(KEYS, k=6))
            seen.add(type(app.screen).__name__)
            if step % 60 == 54:
                await settle(pilot)
                app.go(dice.choice(["practice", "songs", "warmup", "lessons", "progress", "setup", "today"]))
            if step % 150 == 144:
                await pilot.resize_terminal(
                    *dice.choice([(80, 24), (60, 18), (40, 10), (140, 45), (200, 60), (80, 24)])
                )
        await settle(pilot)
    assert len(seen) >= 6, seen
    assert sum(len(studio.store.reviews(s.name)) for s in studio.store.singers()) == len(kept)


async def test_random_answers_are_all_kept(running: Running, studio: Studio, clock: Clock) -> None:
    """Stay in practice and answer with whatever comes."""
    dice = random.Random(11)
    studio.rehearsal.begin(studio.singer, songs=[s.id for s in studio.songs() if s.opened_at], count=12)
    from tutor.tui.screens.dispute import DisputeScreen
    from tutor.tui.screens.practice import PracticeScreen

    async with running(studio) as (app, pilot):
        app.push_screen(PracticeScreen())
        await settle(pilot)
        while isinstance(app.screen, PracticeScreen | DisputeScreen):
            clock.pass_s(1)
            if isinstance(app.screen, DisputeScreen):
                await pilot.press("d")
                await settle(pilot)
                continue
            await pilot.press(
                dice.choice([*"0123asdfg", "enter", "enter", "space", "backspace", "comma", "c", "m", "b"])
            )
            await settle(pilot)
        session = studio.rehearsal.session
        assert session is not None
        assert session.over
        kept = studio.store.reviews(studio.singer.name)
        assert len(kept) == len(session.done) == 12
        assert [(r.drill, r.skill, r.answered) for r in kept] == [
            (d.review.drill, d.review.skill, d.review.answered) for d in session.done
        ]
