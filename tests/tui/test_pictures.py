"""Engraved pictures: what a terminal answers, what it is sent, and characters wherever it shows no pictures."""

from __future__ import annotations

import base64
import io
import os
import re
import sys
import threading
from typing import Any

import numpy as np
import pytest
from rich.cells import cell_len
from textual.app import App, ComposeResult
from textual.screen import ModalScreen

from tests.tui.conftest import Running, settle
from tutor.music.phrase import Phrase
from tutor.score import raster
from tutor.studio import Studio
from tutor.tui.look import NIGHT, variables
from tutor.tui.pictures import detect, kitty
from tutor.tui.pictures.detect import Ability, understood
from tutor.tui.pictures.engraver import Engraver
from tutor.tui.pictures.sixel import sixel
from tutor.tui.screens.setup import SetupScreen
from tutor.tui.widgets.menu import Menu
from tutor.tui.widgets.staff import Staff
from tutor.tui.widgets.staff_layout import lay_out

SIXEL = b"\x1b[6;18;9t\x1b[?63;1;2;4;22c"
OK = b"\x1b_Gi=31;OK\x1b\\"
CELL = b"\x1b[6;20;10t\x1b[?62;22c"
KITTY = OK + b"\x1bP>|kitty(0.35.2)\x1b\\" + CELL
NEITHER = b"\x1b[6;20;10t\x1b[?1;2c"
INK = raster.Ink(NIGHT.house, NIGHT.body, NIGHT.line, NIGHT.lamp)
PHRASE = Phrase.parse("C4:1 E4:1 G4:2").marked("bass", [60])
drawing = pytest.mark.skipif(not raster.available(), reason="the extra for pictures is not installed")


# -- asking


@pytest.mark.parametrize(
    ("answer", "cell", "wanted"),
    [
        (SIXEL, (0, 0), Ability("sixel", 9, 18)),
        (KITTY, (0, 0), Ability("kitty", 10, 20)),
        (OK + SIXEL, (0, 0), Ability("sixel", 9, 18)),
        (OK + b"\x1bP>|ghostty 1.0.1\x1b\\" + CELL, (0, 0), Ability("kitty", 10, 20)),
        (OK + b"\x1bP>|kitty(0.26.5)\x1b\\" + CELL, (0, 0), None),
        (OK + b"\x1bP>|other 3.1\x1b\\" + CELL, (0, 0), None),
        (OK + CELL, (0, 0), None),
        (b"\x1b[?62;4c", (8, 16), Ability("sixel", 8, 16)),
        (b"\x1b[?62;4c", (0, 0), None),
        (b"\x1b[6;9999;9999t\x1b[?62;4c", (0, 0), None),
        (NEITHER, (0, 0), None),
        (b"\x1b[?4;22c", (8, 16), None),
        (b"\x1b[?64;14;24c", (8, 16), None),
        (b"\x1b_Gi=31;ENOTSUPPORTED\x1b\\" + NEITHER, (0, 0), None),
        (b"", (8, 16), None),
    ],
)
def test_what_a_terminal_answers_is_understood(answer: bytes, cell: tuple[int, int], wanted: Ability | None) -> None:
    assert understood(answer, cell) == wanted


@pytest.mark.skipif(sys.platform == "win32", reason="a pseudo-terminal is needed")
@pytest.mark.parametrize(("answer", "wanted"), [(SIXEL, Ability("sixel", 9, 18)), (NEITHER, None), (b"", None)])
def test_a_terminal_is_asked_and_left_as_it_was(
    monkeypatch: pytest.MonkeyPatch, answer: bytes, wanted: Ability | None
) -> None:
    import pty
    import termios

    for name in ("TMUX", "STY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    far, near = pty.openpty()
    heard = b""

    def terminal() -> None:
        nonlocal heard
        while not heard.endswith(b"\x1b[c"):
            heard += os.read(far, 256)
        os.write(far, answer[:7])
        os.write(far, answer[7:])

    before = termios.tcgetattr(near)
    thread = threading.Thread(target=terminal)
    thread.start()
    assert detect.ask(near, 0.3) == wanted
    thread.join()
    assert heard == detect.QUESTION
    assert termios.tcgetattr(near) == before
    os.close(far)
    os.close(near)


@pytest.mark.parametrize(
    "environment", [{"TMUX": "socket,1,0"}, {"STY": "1.pts"}, {"TERM": "screen-256color"}, {"TERM": "tmux"}]
)
def test_nothing_is_asked_inside_tmux_and_screen(monkeypatch: pytest.MonkeyPatch, environment: dict[str, str]) -> None:
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert detect.multiplexed(os.environ)
    reading, writing = os.pipe()
    assert detect.ask(writing, 0.05) is None
    os.set_blocking(reading, False)
    with pytest.raises(BlockingIOError):
        os.read(reading, 1)
    os.close(reading)
    os.close(writing)


def test_starting_without_pictures_loads_none_of_it(studio: Studio) -> None:
    import subprocess

    code = (
        "import sys, tutor.tui.app, tutor.tui.screens.song, tutor.tui.widgets.staff\n"
        "sys.exit(any(m.startswith(('tutor.tui.pictures', 'resvg_py', 'PIL', 'verovio')) for m in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# -- encoding


def decoded(sequence: str) -> np.ndarray[Any, Any]:
    """The colours of a sixel sequence, shape (height, width, 3), in hundredths."""
    head = re.match(r'\x1bP\d*;\d*;\d*q"1;1;(\d+);(\d+)', sequence)
    assert head
    width, height = int(head[1]), int(head[2])
    out = np.full((-(-height // 6) * 6, width, 3), -1)
    palette: dict[int, tuple[int, ...]] = {}
    colour = (0, 0, 0)
    x = top = 0
    assert sequence.endswith("\x1b\\")
    for token in re.findall(r"#\d+(?:;2;\d+;\d+;\d+)?|!\d+.|[$-]|[?-~]", sequence[head.end() : -2]):
        if token.startswith("#"):
            number, *values = token[1:].split(";")
            if values:
                palette[int(number)] = tuple(map(int, values[1:]))
            else:
                colour = palette[int(number)]  # type: ignore[assignment]
        elif token == "$":
            x = 0
        elif token == "-":
            x, top = 0, top + 6
        else:
            times, char = (int(token[1:-1]), token[-1]) if token[0] == "!" else (1, token)
            for row in range(6):
                if (ord(char) - 63) >> row & 1:
                    out[top + row, x : x + times] = colour
            x += times
    return out[:height]


@pytest.mark.parametrize("height", [1, 6, 13, 18, 20])
def test_a_sixel_picture_decodes_to_what_was_drawn(height: int) -> None:
    dice = np.random.default_rng(height)
    indices = np.repeat(dice.integers(0, 5, (height, 12), dtype=np.uint8), 5, axis=1)
    palette = [(0, 0, 0), (255, 255, 255), (255, 0, 0), (0, 102, 204), (51, 51, 51)]
    wanted = np.array([[round(v * 100 / 255) for v in c] for c in palette])[indices]
    assert (decoded(sixel(indices, palette)) == wanted).all()
    bare = decoded(sixel(indices, palette, ground=2))
    assert (bare[indices != 2] == wanted[indices != 2]).all()
    assert (bare[indices == 2] == -1).all()


def test_a_kitty_picture_is_sent_whole_and_placed_row_by_row() -> None:
    png = bytes(range(256)) * 40
    sent = kitty.transmission(png, 77, 30, 12)
    parts = re.findall(r"\x1b_G([^;]*);([^\x1b]*)\x1b\\", sent)
    assert base64.standard_b64decode("".join(data for _, data in parts)) == png
    assert "i=77" in parts[0][0]
    assert "c=30,r=12" in parts[0][0]
    assert "q=2" in parts[0][0], "no answer may fall among the keys"
    assert [keys[-1] for keys, _ in parts] == ["1"] * (len(parts) - 1) + ["0"]
    assert all(len(data) <= 4096 for _, data in parts)
    assert cell_len(kitty.placeholders(3, 30)) == 30
    assert len({kitty.placeholders(r, 30) for r in range(kitty.MOST_ROWS)}) == kitty.MOST_ROWS
    assert len(set(kitty.MARKS)) == len(kitty.MARKS)


# -- drawing


@drawing
def test_a_phrase_is_drawn_in_the_colours_of_the_theme_on_whole_cells() -> None:
    from PIL import Image

    picture = raster.draw(PHRASE, INK, width=700, cell=(9, 18))
    height, width = picture.indices.shape
    assert width % 9 == height % 18 == 0
    assert width <= 700
    seen = {picture.palette[int(i)] for i in np.unique(picture.indices)}
    for colour in (INK.paper, INK.notes, INK.marked):
        assert tuple(bytes.fromhex(colour[1:])) in seen, colour
    with Image.open(io.BytesIO(picture.png)) as image:
        assert image.size == (width, height)


class Alone(App[None]):
    """A staff alone, and what was written to the terminal besides the screen."""

    def __init__(self, engraver: Engraver | None) -> None:
        super().__init__()
        self.engraver = engraver
        self.staff = Staff(PHRASE)

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Our colour names."""
        return variables(NIGHT)

    def compose(self) -> ComposeResult:
        """The staff."""
        yield self.staff


@drawing
async def test_a_staff_becomes_a_sixel_picture_and_makes_way_for_what_lies_above() -> None:
    app = Alone(Engraver(Ability("sixel", 9, 18)))
    async with app.run_test(size=(80, 24)) as pilot:
        staff, engraver = app.staff, app.engraver
        assert engraver is not None
        characters = staff.size.height
        assert "█" in text_of(staff), "characters until the picture is there"
        while not engraver._kept:
            await pilot.pause(0.05)
        await pilot.pause(0.1)
        lines = [staff.render_line(y) for y in range(staff.size.height)]
        assert all(line.cell_length == staff.size.width for line in lines)
        painted = [line.render(app.console) for line in lines]
        assert all(p.count("\x1bP9;1;0q") == 1 for p in painted)
        assert all(p.count("\x1b7") == p.count("\x1b8") == 1 for p in painted)
        heights = [decoded(re.findall(r"\x1bP.*?\x1b\\", p, re.S)[0]).shape[0] for p in painted]
        assert set(heights) == {18}
        assert staff.description.startswith("4/4")
        assert staff.size.height != characters or len(lines) == characters
        staff.now = 1.0
        assert "\x1bP" not in "".join(staff.render_line(y).text for y in range(5)), "the pointer needs characters"
        staff.now = None
        app.push_screen(ModalScreen())
        await pilot.pause()
        assert "\x1bP" not in "".join(staff.render_line(y).text for y in range(5))


@drawing
async def test_a_staff_becomes_a_kitty_picture_that_is_sent_once(monkeypatch: pytest.MonkeyPatch) -> None:
    app = Alone(Engraver(Ability("kitty", 10, 20)))
    async with app.run_test(size=(80, 24)) as pilot:
        sent: list[str] = []
        assert app._driver is not None
        monkeypatch.setattr(app._driver, "write", sent.append)
        assert app.engraver is not None
        while not app.engraver._kept:
            await pilot.pause(0.05)
        await pilot.pause(0.1)
        rows = [app.staff.render_line(y) for y in range(app.staff.size.height)]
        assert all(kitty.PLACEHOLDER in row.text for row in rows)
        assert all(row.cell_length == app.staff.size.width for row in rows)
        number = int(re.findall(r"i=(\d+),c=\d+,r=(\d+)", "".join(sent))[0][0])
        colours = {s.style.color.get_truecolor() for row in rows for s in row if kitty.PLACEHOLDER in s.text}  # type: ignore[union-attr]
        assert [(c.red << 16) + (c.green << 8) + c.blue for c in colours] == [number]
        assert "".join(sent).count("a=T") == 1


def text_of(staff: Staff) -> str:
    return "\n".join(staff.render_line(y).text for y in range(staff.size.height))


@pytest.mark.parametrize(("why", "words"), [("packages", "pip install"), ("terminal", "shows no pictures"), ("", "")])
async def test_setup_turns_pictures_on_only_where_they_are_shown(
    running: Running, studio: Studio, monkeypatch: pytest.MonkeyPatch, why: str, words: str
) -> None:
    import contextlib

    for name in ("TMUX", "STY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setattr(raster, "available", lambda: why != "packages")
    monkeypatch.setattr(detect, "ask", lambda: None if why == "terminal" else Ability("sixel", 9, 18))
    async with running(studio) as (app, pilot):
        monkeypatch.setattr(app, "suspend", contextlib.nullcontext)
        app.go("setup")
        await settle(pilot)
        assert isinstance(app.screen, SetupScreen)
        menu = app.screen.query_one(Menu)
        menu.show(menu.rows, "pictures")
        await pilot.press("enter")
        assert app.look.pictures == (app.engraver is not None) == (not why)
        assert words in app.screen.foot.notice
        await pilot.press("u")
        assert not app.look.pictures
        assert app.engraver is None


@drawing
async def test_the_picture_has_the_clef_that_the_characters_show(monkeypatch: pytest.MonkeyPatch) -> None:
    from tutor.score import engrave

    asked: list[str] = []
    plainly = engrave.musicxml

    def told(phrase: Phrase, clef: engrave.SungClef | None = None) -> str:
        made = plainly(phrase, clef)
        asked.append(f"{clef} {re.findall(r'<sign>([GF])</sign>', made)}")
        return made

    monkeypatch.setattr(engrave, "musicxml", told)
    app = Alone(Engraver(Ability("sixel", 9, 18)))
    low, high = Phrase.parse("F3:1 A3:1 B3:2"), Phrase.parse("C4:1 E4:1 G4:2")
    async with app.run_test(size=(80, 24)) as pilot:
        assert app.engraver is not None
        for clef, phrase in (("bass", high), ("treble", low), (None, low), (None, high)):
            kept = len(app.engraver._kept)
            app.staff.clef, app.staff.phrase = clef, phrase  # type: ignore[assignment]
            drawn = lay_out(phrase, clef=app.staff.clef).blocks
            asked.clear()
            while len(app.engraver._kept) == kept and not asked:
                await pilot.pause(0.05)
            sign = {"treble": "G", "bass": "F"}[drawn[0]]
            assert asked == [f"{drawn[0]} ['{sign}']"]
            while len(app.engraver._kept) == kept:
                await pilot.pause(0.05)
