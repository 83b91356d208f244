"""One song: the whole at a glance, any bar in detail, to be heard from any place."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.analysis.findings import Corrections
from tutor.practice.drill import Excerpt, Song
from tutor.practice.material import bar_words, cut
from tutor.tui import songview
from tutor.tui.correction import corrected
from tutor.tui.stage import Stage
from tutor.tui.widgets.chordline import ChordLine
from tutor.tui.widgets.score import Score
from tutor.tui.widgets.songmap import SongMap

if TYPE_CHECKING:
    from tutor.music.phrase import Phrase

STAFF_FROM = 40
"""From this many rows of terminal on, the staff stands below the map; on less it takes the map's place."""
APART_FROM = 52
"""From this many rows on, the sung line has its own staff."""
CORRECT_HINT = "V65/V   or  2=ii6 (from beat 2)   or  9-16=F minor   or  17-24=B"
"""What can be typed as a correction."""
MOST_BARS = 6
"""Bars on the staff at once."""


class SongScreen(Stage):
    """A song under the light.

    Args:
        song: what to show.
        at: index of the bar to begin with.
    """

    NAME = "Song"
    HELP = (
        "At the top the whole song: its sections, how high the voice goes in each bar (lit where it leaves the "
        "region in which it mostly lies), and what was found: ◆ a borrowed tone (a note foreign to the key, lent by "
        "another mode or chord), ◇ one in passing, × a rub (a sung note that clashes with the chord below), ▲ the "
        "climax, ═ a passage that returns, ≠ where the return is changed.\n\n"
        "Below, the bars around the cursor with their chords: figures say the degree and which note is lowest "
        "(6: the third is in the bass), then the chord symbol. A question mark means that the engine is not sure.\n\n"
        "Move by bar with ← →, by phrase with ↑ ↓, by section with [ ], from finding to finding with n. Enter shows "
        "the staff. = lets you hear a return after its first statement."
    )
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "play", "play", key_display="Space", tooltip="play from here to the end of the section; stop"),
        Binding("enter", "staff", "staff", key_display="Enter", tooltip="show or hide the staff"),
        Binding("n", "finding(1)", "finding", tooltip="go to the next finding"),
        Binding("p", "practise", "practise", tooltip="ten questions from this song"),
        Binding("w", "warm", "warm up", tooltip="a warm-up to this song's high note"),
        Binding("left,h", "bar(-1)", "bar", key_display="← →", tooltip="a bar back or on"),
        Binding("right", "bar(1)", "", show=False),
        Binding("up", "phrase(-1)", "phrase", key_display="↑ ↓", tooltip="a phrase back or on"),
        Binding("down", "phrase(1)", "", show=False),
        Binding("left_square_bracket", "section(-1)", "section", key_display="[ ]", tooltip="a section back or on"),
        Binding("right_square_bracket", "section(1)", "", show=False),
        Binding("N", "finding(-1)", "", show=False),
        Binding("l", "loop", "loop", tooltip="play this phrase over and over; stop"),
        Binding("equals_sign", "compare", "compare", key_display="=",
                tooltip="hear the first statement, then this return"),
        Binding("b", "bass", "smooth bass", tooltip="hear the passage with a bass that moves by step"),
        Binding("t", "transpose(-1)", "lower", tooltip="hear it a semitone lower"),
        Binding("T", "transpose(1)", "higher", tooltip="hear it a semitone higher"),
        Binding("v", "voice", "voice alone", tooltip="the voice alone, the piano alone, both"),
        Binding("c", "correct", "correct", tooltip="say which chord, key or section it really is"),
        Binding("u", "undo", "undo", tooltip="take the last correction back"),
        Binding("d", "describe", "in words", tooltip="the staff in words"),
        Binding("home", "bar(-9999)", "", show=False),
        Binding("end", "bar(9999)", "", show=False),
    ]  # fmt: skip

    def __init__(self, song: Song, at: int = 0) -> None:
        super().__init__()
        self.song = song
        self.bars = songview.bars_of(song)
        self.at = max(0, min(at, len(self.bars) - 1))
        self.semitones = 0
        self._mute: tuple[str, ...] = ()
        self._staff_wanted: bool | None = None
        self._sounding = False
        self._before: list[Corrections] = []
        self._drawn: tuple[Song, float, bool] | None = None
        self._pages: tuple[tuple[int, int], list[tuple[float, float]]] | None = None

    def content(self) -> Iterable[Widget]:
        """Two lines, the map, the chords, the staff, the words."""
        yield Static(songview.heading(self.song.reading), id="heading", classes="prompt", markup=False)
        yield Static(songview.voice_line(self.song.reading), id="voice", classes="quiet", markup=False)
        yield SongMap(self.bars, self.song.reading, id="map")
        with VerticalScroll(classes="page", id="below", can_focus=False):
            yield ChordLine(self.bars, id="chords")
            yield Static(id="detail", classes="body", markup=False)
            yield Score(id="score")
        yield Input(id="correction", classes="hidden", placeholder=CORRECT_HINT, select_on_focus=False)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Undo has its key only where there is something to undo, comparing where something returns."""
        if action == "undo":
            return bool(self._before)
        return self.bars[self.at].back is not None if action == "compare" else True

    def ready(self) -> None:
        """Show the first bar."""
        self.head.context = self.song.title
        self._show()
        warnings = self.song.reading.warnings
        if warnings:
            self.say(warnings[0])

    def on_resize(self) -> None:
        """The staff comes and goes with the height."""
        if self.house.has_studio and self.is_mounted:
            self._show()

    @property
    def staff_shown(self) -> bool:
        """True where the staff is drawn."""
        return self.app.size.height >= STAFF_FROM if self._staff_wanted is None else self._staff_wanted

    def _show(self) -> None:
        bar = self.bars[self.at]
        self.query_one(SongMap).at = self.at
        self.query_one(ChordLine).at = self.at
        score = self.query_one(Score)
        small = self.staff_shown and self.app.size.height < STAFF_FROM
        self.query_one(SongMap).mini = small
        for name in ("heading", "voice", "chords"):
            self.query_one(f"#{name}").display = not small
        self.query_one("#detail").display = not small
        self.query_one("#detail").styles.min_height = 4 if self.staff_shown else 0
        start, end = self._page()
        caption = bar_words(self.song.table, start, end)
        wanted = (self.song, start, small) if self.staff_shown else None
        if wanted is None:
            score.show(None)
        elif wanted != self._drawn:
            heading = "" if small else caption[0].upper() + caption[1:]
            score.show(Excerpt(heading, songview.page(self.song, start, end)), roomy=APART_FROM)
        self._drawn = wanted
        self.query_one("#detail", Static).update("\n".join(songview.details(self.song, bar)) or "Nothing special here.")
        self.refresh_bindings()

    def _page(self) -> tuple[float, float]:
        """The bars on the staff with the cursor's."""
        key = (self.app.size.width, self.app.size.height)
        if self._pages is None or self._pages[0] != key:
            self._pages = (key, self._paged())
        return next(p for p in self._pages[1] if p[1] > self.bars[self.at].start + 1e-6)

    def _paged(self) -> list[tuple[float, float]]:
        """The song cut into pages of as many bars as fit side by side."""
        apart, large = self.app.size.height >= APART_FROM, self.house.look.large
        widths = songview.staff_widths(self.song, self.bars, apart=apart, large=large)
        room, pages, first = self.app.size.width - 6 - songview.OPENING, [], 0
        while first < len(self.bars):
            last, used = first, widths[first]
            while last + 1 < min(first + MOST_BARS, len(self.bars)) and used + widths[last + 1] <= room:
                last += 1
                used += widths[last]
            pages.append((self.bars[first].start, self.bars[last].end))
            first = last + 1
        return pages

    # -- moving

    def _go(self, index: int) -> None:
        self.at = max(0, min(index, len(self.bars) - 1))
        self._show()

    def on_song_map_picked(self, message: SongMap.Picked) -> None:
        """A bar was clicked."""
        self._go(message.index)

    def on_chord_line_picked(self, message: ChordLine.Picked) -> None:
        """A bar was clicked."""
        self._go(message.index)

    def action_bar(self, by: int) -> None:
        """A bar back or on."""
        self._go(self.at + by)

    def action_phrase(self, by: int) -> None:
        """To the first bar of another phrase."""
        self._edge([b.phrase for b in self.bars], by)

    def action_section(self, by: int) -> None:
        """To the first bar of another section."""
        self._edge([b.section for b in self.bars], by)

    def _edge(self, of: list[int], by: int) -> None:
        edges = [0] + [i for i in range(1, len(of)) if of[i] != of[i - 1]]
        if by > 0:
            self._go(next((e for e in edges if e > self.at), len(of) - 1))
        else:
            self._go(next((e for e in reversed(edges) if e < self.at), 0))

    def action_finding(self, by: int) -> None:
        """To the next bar in which something was found."""
        found = [b.index for b in self.bars if b.borrowed or b.rubs or b.changes or b.climax]
        ahead = [i for i in found if (i > self.at if by > 0 else i < self.at)]
        if ahead:
            self._go(ahead[0] if by > 0 else ahead[-1])
        else:
            self.say("Nothing more was found that way.")

    def action_staff(self) -> None:
        """Show or hide the staff."""
        self._staff_wanted = not self.staff_shown
        self._show()

    def action_describe(self) -> None:
        """The staff in words."""
        from tutor.tui.screens.help import HelpScreen
        from tutor.tui.widgets.staff_words import describe

        start, end = self._page()
        words = describe(songview.page(self.song, start, end))
        self.app.push_screen(HelpScreen("The staff in words", words, ()))

    # -- correcting

    def action_correct(self) -> None:
        """Ask for a correction."""
        field = self.query_one(Input)
        field.value = ""
        field.remove_class("hidden")
        field.focus()
        self.say("What is it really? A chord here, or bars=key, or bars=section. Your score file is not changed.")

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Keep a correction and read the song again."""
        text = message.value.strip()
        if not text:
            self._close_field()
            return
        library, song, bar = self.studio.library, self.song, self.bars[self.at].number

        def make() -> tuple[Corrections, Song]:
            before = library.corrections(song)
            return before, library.correct(song, corrected(before, song, text, bar))

        self.work(make, self._corrected)

    def _corrected(self, found: tuple[Corrections, Song]) -> None:
        before, song = found
        self._before.append(before)
        self._close_field()
        self._renew(song)
        self.say("Kept beside the song and used from now on; u takes it back.")

    def _renew(self, song: Song) -> None:
        self.song, self._pages = song, None
        self.bars = songview.bars_of(song)
        self.query_one(SongMap).renew(self.bars, song.reading)
        self.query_one(ChordLine).renew(self.bars)
        self.query_one("#heading", Static).update(songview.heading(song.reading))
        self._show()

    def _close_field(self) -> None:
        self.query_one(Input).add_class("hidden")
        self.set_focus(None)

    def action_undo(self) -> None:
        """Take the last correction back."""
        before, library, song = self._before.pop(), self.studio.library, self.song
        self.work(lambda: library.correct(song, before), self._renew)
        self.say("Taken back.")

    def action_back(self) -> None:
        """Out of the field, or out of the screen."""
        if self.query_one(Input).has_focus:
            self._close_field()
        else:
            super().action_back()

    # -- hearing

    def _cut(self, start: float, end: float) -> Phrase:
        from tutor.tui.transpose import transposed

        return transposed(cut(self.song.table, start, end), self.semitones)

    def _play(self, start: float, end: float, *, loop: bool = False) -> None:
        first = self.at
        self.query_one(SongMap).loop = self._bars_between(start, end) if loop else None

        def follow(index: int, now: float | None) -> None:
            self._sounding = index >= 0
            if index < 0 or now is None:
                self.query_one(Score).follow(None)
                if self.query_one(SongMap).loop is not None:
                    self.query_one(SongMap).loop = None
                return
            place = next((b.index for b in reversed(self.bars) if b.start <= start + now + 1e-6), first)
            if place != self.at:
                self._go(place)
            self.query_one(Score).follow(start + now - self._page()[0])

        self.hear([self._cut(start, end)], follow=follow, loop=loop, mute=self._mute)  # type: ignore[arg-type]

    def _bars_between(self, start: float, end: float) -> tuple[int, int]:
        inside = [b.index for b in self.bars if b.end > start + 1e-6 and b.start < end - 1e-6]
        return inside[0], inside[-1]

    def _stretch(self, of: list[int]) -> tuple[float, float]:
        """From the first to behind the last bar that belongs with the cursor's."""
        first = last = self.at
        while first > 0 and of[first - 1] == of[self.at]:
            first -= 1
        while last < len(of) - 1 and of[last + 1] == of[self.at]:
            last += 1
        return self.bars[first].start, self.bars[last].end

    def action_play(self) -> None:
        """Play from the cursor to the end of the section, or stop."""
        if self._sounding:
            self.hush()
            return
        _, end = self._stretch([b.section for b in self.bars])
        self._play(self.bars[self.at].start, end)

    def action_loop(self) -> None:
        """Play the phrase over and over, or stop."""
        if self._sounding:
            self.hush()
            return
        start, end = self._stretch([b.phrase for b in self.bars])
        self._play(start, end, loop=True)
        self.say("The phrase goes round; l stops it.")

    def action_compare(self) -> None:
        """The first statement, then the return."""
        back = self.bars[self.at].back
        if back is None:
            return
        (a, b), (c, d) = back.of, back.again
        first, again = bar_words(self.song.table, a, b), bar_words(self.song.table, c, d)
        self.say(f"First {first}, then {again}: {len(back.changes)} changes.")
        self.hear([self._cut(a, b), self._cut(c, d)])

    def action_bass(self) -> None:
        """Hear the passage with a stepwise bass."""
        start, end = self._stretch([b.section for b in self.bars])
        phrase = songview.with_smooth_bass(self.song, start, end)
        if phrase is None:
            self.say("No smoother bass was found for this section.")
        else:
            self.say("The same chords, with a bass that moves by step.")
            self.hear([phrase])

    def action_transpose(self, by: int) -> None:
        """Hear it in another key."""
        self.semitones = max(-12, min(12, self.semitones + by))
        size, side = abs(self.semitones), "lower" if self.semitones < 0 else "higher"
        where = f"{size} {'semitone' if size == 1 else 'semitones'} {side}" if size else "as printed"
        self.say(f"Sounds {where}. The page stays as printed.")

    def action_voice(self) -> None:
        """The voice alone, the piano alone, both."""
        following = {(): ("upper", "lower"), ("upper", "lower"): ("voice",), ("voice",): ()}
        self._mute = following[self._mute]
        words = {(): "Voice and piano.", ("upper", "lower"): "The voice alone.", ("voice",): "The piano alone."}
        self.say(words[self._mute])

    # -- going on

    def action_practise(self) -> None:
        """Ten questions from this song."""
        from tutor.tui.screens.begin import begin

        self.hush()
        begin(self, songs=[self.song.id])

    def action_warm(self) -> None:
        """A warm-up for this song."""
        from tutor.tui.screens.warmup import WarmupScreen

        self.hush()
        self.app.push_screen(WarmupScreen(song=self.song))
