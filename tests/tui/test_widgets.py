"""The small widgets, each alone."""

from __future__ import annotations

from typing import Any

import pytest
from rich.text import Text
from textual.app import App, ComposeResult
from textual.widget import Widget

from tutor.music.take import TrackPoint
from tutor.tui.look import NIGHT, LayoutName, Look, variables
from tutor.tui.widgets.frame import Foot, Head, Lamp
from tutor.tui.widgets.heard import Heard
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.piano import LETTERS, Piano
from tutor.tui.widgets.pitch_meter import PitchMeter
from tutor.tui.widgets.tapper import Tapper
from tutor.tui.widgets.words import Words


class Alone(App[None]):
    """One widget on a bare screen; remembers its messages."""

    def __init__(self, widget: Widget, look: Look | None = None) -> None:
        super().__init__()
        self.widget = widget
        self.look = look or Look()
        self.got: list[Any] = []

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Our colour names."""
        return variables(NIGHT)

    def compose(self) -> ComposeResult:
        """The widget."""
        yield self.widget

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Remember it."""
        self.got.append(message.id)

    def on_piano_played(self, message: Piano.Played) -> None:
        """Remember it."""
        self.got.append(message.midi)

    def on_heard_again(self, message: Heard.Again) -> None:
        """Remember it."""
        self.got.append(message.index)


def shown(widget: Widget) -> str:
    return "\n".join(strip.text.rstrip() for strip in widget.render_lines(widget.outer_size.region))


ROWS = [Row("", "Head", heading=True), Row("a", "First", "detail", key="1"), Row("b", "Second"), Row("c", "Third")]


async def test_a_menu_moves_over_headings_and_chooses() -> None:
    menu = Menu(ROWS)
    app = Alone(menu)
    async with app.run_test() as pilot:
        menu.focus()
        assert menu.current is not None
        assert menu.current.id == "a"
        await pilot.press("up")
        assert menu.current.id == "a", "a heading is never chosen"
        await pilot.press("down", "enter", "end", "enter", "home", "enter")
        assert app.got == ["b", "c", "a"]
        menu.frozen = True
        await pilot.press("enter")
        assert app.got == ["b", "c", "a"]


async def test_an_empty_menu_takes_every_key() -> None:
    menu = Menu()
    app = Alone(menu)
    async with app.run_test() as pilot:
        menu.focus()
        await pilot.press("up", "down", "home", "end", "enter")
        assert app.got == []


async def test_a_menu_is_chosen_with_the_mouse() -> None:
    menu = Menu(ROWS)
    app = Alone(menu)
    async with app.run_test() as pilot:
        await pilot.click(Menu, offset=(5, 2))
        assert app.got == ["b"]
        await pilot.click(Menu, offset=(5, 0))
        assert app.got == ["b"], "a heading cannot be clicked"


async def test_the_row_in_the_light_is_marked_by_shape() -> None:
    menu = Menu(ROWS)
    async with Alone(menu).run_test():
        lit = [line for line in shown(menu).splitlines() if line.startswith("▌")]
        assert lit == ["▌ 1  First  detail"]


async def test_a_brief_menu_cuts_its_details() -> None:
    menu = Menu([Row("a", "Title", "word " * 60)], brief=True, title_width=20)
    async with Alone(menu).run_test(size=(60, 10)):
        assert len(shown(menu).splitlines()) == 1
        assert "…" in shown(menu)


async def test_the_computer_keyboard_plays_the_piano() -> None:
    piano = Piano()
    app = Alone(piano)
    async with app.run_test() as pilot:
        piano.begin(wanted=3, in_order=False, octave=4, fifths=0)
        piano.focus()
        await pilot.press("a", "d", "g")
        assert piano.notes == (60, 64, 67)
        assert "C4 E4 G4" in shown(piano)
        assert "3 of 3" in shown(piano)
        await pilot.press("d")
        assert list(piano.notes) == [60, 67], "in a chord the same key takes the note back"
        await pilot.press("backspace", "x", "a", "z", "z", "w")
        assert piano.notes == (60, 72, 49)
        assert app.got == [60, 64, 67, 64, 72, 49]


async def test_a_melody_may_repeat_a_note() -> None:
    piano = Piano()
    async with Alone(piano).run_test() as pilot:
        piano.begin(wanted=2, in_order=True, octave=4, fifths=-3)
        piano.focus()
        await pilot.press("e", "e")
        assert piano.notes == (63, 63)
        assert "E♭4 E♭4" in shown(piano)


@pytest.mark.parametrize("name", LETTERS)
async def test_every_key_of_the_piano_is_written_on_it(name: LayoutName) -> None:
    piano, letters = Piano(), LETTERS[name]
    assert sorted(letters.keys.values()) == list(range(17))
    assert not {letters.lower, letters.higher} & set(letters.keys)
    async with Alone(piano, Look(letters=name)).run_test() as pilot:
        for letter in (*letters.keys, letters.lower, letters.higher):
            assert letter in shown(piano)
        piano.begin(wanted=3, in_order=True, octave=4, fifths=0)
        piano.focus()
        await pilot.press(letters.white[0], letters.raised[0], letters.higher, letters.white[0])
        assert piano.notes == (60, 61, 72)


async def test_the_mouse_plays_white_and_black_keys() -> None:
    piano = Piano()
    async with Alone(piano).run_test() as pilot:
        await pilot.click(Piano, offset=(2, 1))
        await pilot.click(Piano, offset=(5, 0))
        assert piano.notes == (60, 61)


async def test_taps_are_where_the_music_is() -> None:
    tapper = Tapper()
    async with Alone(tapper).run_test():
        tapper.begin(32.0)
        assert not tapper.tap()
        tapper.now = 8.0
        assert tapper.tap()
        tapper.now = 24.0
        assert tapper.tap()
        assert tapper.marks == (8.0, 24.0)
        line = shown(tapper).splitlines()[1]
        width = tapper.size.width
        assert [i for i, c in enumerate(line) if c == "▲"] == [round(width / 4), round(width * 3 / 4)]
        tapper.take_back()
        assert list(tapper.marks) == [8.0]


async def test_heard_shows_how_far_it_is() -> None:
    heard = Heard()
    app = Alone(heard)
    async with app.run_test() as pilot:
        heard.set(["First time", "Second time"])
        await pilot.pause()
        heard.playing, heard.share = 1, 0.5
        await pilot.pause()
        lines = shown(heard).splitlines()
        assert "▄" not in lines[0]
        assert lines[1].count("▄") == 12
        await pilot.click(Heard, offset=(3, 0))
        assert app.got == [0]


async def test_the_pitch_meter_names_the_note_and_how_far_it_is_off() -> None:
    meter = PitchMeter()
    async with Alone(meter).run_test():
        meter.begin(69)
        meter.feed([TrackPoint(0.0, 0.0, 0.0), TrackPoint(0.1, 440.0, 0.9)])
        assert "A4, in tune" in shown(meter)
        meter.feed([TrackPoint(0.2, 446.3999, 0.9)])
        assert "A4, 25 cents high" in shown(meter)
        meter.feed([TrackPoint(0.3, 433.6918, 0.9)])
        assert "A4, 25 cents low" in shown(meter)


async def test_the_head_keeps_its_place_on_a_narrow_screen() -> None:
    head = Head("Practice", "A very long title that cannot fit beside the name of the screen at all")
    async with Alone(head).run_test(size=(50, 5)):
        line = shown(head).splitlines()[0]
        assert line.strip().startswith("Larkstair  Practice")
        assert "…" in line


async def test_more_lamps_than_room_show_those_around_this_one() -> None:
    foot = Foot()
    async with Alone(foot).run_test(size=(40, 6)) as pilot:
        lamps: list[Lamp] = ["hit"] * 60
        foot.lamps = (*lamps, "now", *["wait" for _ in range(60)])  # type: ignore[arg-type]
        await pilot.pause()
        edge = shown(foot).splitlines()[0]
        assert "◆" in edge
        assert "●" in edge
        assert "○" in edge


async def test_plain_signs_leave_only_ascii() -> None:
    foot = Foot()
    async with Alone(foot, Look(ascii=True)).run_test(size=(60, 6)) as pilot:
        foot.lamps, foot.notice = ("hit", "miss", "part", "now", "wait", "out"), "A line"
        await pilot.pause()
        assert shown(foot).isascii()


async def test_a_small_window_says_how_large_it_should_be() -> None:
    app = Alone(Foot())
    async with app.run_test(size=(60, 20)) as pilot:
        assert "80 by 24 characters show all" in shown(app.widget)
        await pilot.resize_terminal(80, 24)
        await pilot.pause()
        assert "80 by 24" not in shown(app.widget)


async def test_words_that_do_not_fit_are_turned_and_none_is_lost() -> None:
    words = Words()
    said = [f"word{n:02}" for n in range(60)]
    async with Alone(words).run_test(size=(44, 4)) as pilot:
        words.tell(lambda _: Text("A line that fits."))
        await pilot.pause()
        assert shown(words).strip() == "A line that fits."
        assert not words.turns
        words.tell(lambda _: Text(" ".join(said)))
        seen = set()
        for _ in range(20):
            await pilot.pause()
            seen |= set(shown(words).split())
            if "PgDn" not in shown(words):
                break
            assert shown(words).rstrip().endswith("▼ PgDn")
            words.turn(1)
        assert set(said) <= seen
        assert len(shown(words).splitlines()) == 4
        for _ in range(20):
            words.turn(-1)
        assert shown(words).split()[0] == "word00"


async def test_more_words_are_told_of_in_plain_signs() -> None:
    words = Words()
    async with Alone(words, Look(ascii=True)).run_test(size=(30, 3)) as pilot:
        words.tell(lambda _: Text(" ".join(["word"] * 60)))
        await pilot.pause()
        assert shown(words).isascii()
        assert "PgDn" in shown(words)
