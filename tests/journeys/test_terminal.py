"""The main job from start to finish in a real terminal, as a newcomer walks it."""

from __future__ import annotations

import sys
from contextlib import closing
from pathlib import Path

import pytest

from tests.journeys.terminal import Terminal, larkstair

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="a pseudo-terminal is needed")


def answer(screen: Terminal) -> None:
    """Say "I don't know", read why, go on."""
    screen.until("don't know")
    screen.press("0")
    screen.until("The answer is", "Not this time", "Nearly", "Right")
    screen.press("enter")


def test_a_newcomer_practises_quits_resumes_and_warms_up(tmp_path: Path) -> None:
    home = str(tmp_path)
    with closing(larkstair(home)) as screen:
        screen.until("Begin here")
        screen.press("enter")
        screen.until("Which voice are you?")
        screen.press("down", "enter")
        screen.until("Do you hear")
        screen.press("enter")
        screen.until("find where you stand")
        screen.press("down", "enter")
        screen.until("Which song shall we begin with?")
        screen.press("enter")
        screen.until("1 of 10", most_s=120)
        for number in (2, 3, 4):
            answer(screen)
            screen.until(f"{number} of 10")
        screen.press("escape")
        screen.until("question 4 of 10")
        screen.press("q")
        assert screen.code() == 0

    with closing(larkstair(home)) as screen:
        screen.until("question 4 of 10 waits")
        screen.press("enter")
        screen.until("4 of 10")
        for number in range(5, 11):
            answer(screen)
            screen.until(f"{number} of 10")
        answer(screen)
        screen.until("of 10 right")
        screen.press("escape")
        screen.until("Setup")
        screen.press("w")
        screen.until("Which song will you sing?")
        screen.press("enter")
        screen.until("How does the voice feel", most_s=120)
        screen.press("enter")
        screen.until("How many minutes")
        screen.press("enter")
        seen = screen.until("not a diagnosis", "beyond this voice", most_s=60)
        if seen == "beyond this voice":
            screen.press("enter")
            screen.until("not a diagnosis", most_s=60)
        screen.press("enter")
        screen.until("Space begins")
        screen.press("space")
        screen.until("left", "turn 1")
        screen.press("escape")
        screen.until("Go on warming up")
        screen.press("ctrl+q")
        assert screen.code() == 0


def test_a_song_is_opened_from_the_command_line_and_read(tmp_path: Path) -> None:
    with closing(larkstair(str(tmp_path), "open", "measure-twice")) as screen:
        screen.until("25 bars", most_s=120)
        screen.until("voice A4")
        screen.press("enter")
        screen.until("▌▐")
        screen.press("?")
        screen.until("At the top the whole song")
        screen.press("escape", "ctrl+q")
        assert screen.code() == 0


@pytest.mark.parametrize("size", [(80, 24), (132, 50)])
def test_it_starts_without_colour(tmp_path: Path, size: tuple[int, int]) -> None:
    with closing(larkstair(str(tmp_path), size=size, NO_COLOR="1", COLORTERM="", TERM="xterm")) as screen:
        screen.until("Begin here")
        assert "▌ Begin here" in screen.text, "the row in the light is told by its shape"
        screen.press("q")
        assert screen.code() == 0
