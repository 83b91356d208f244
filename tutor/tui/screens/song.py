"""One song: the whole at a glance, any bar in detail, to be heard from any place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial
from typing import ClassVar

from rich.text import Text
from textual.binding import BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.analysis.findings import Corrections
from tutor.practice.drill import Excerpt, Song
from tutor.tui import songview
from tutor.tui.correction import corrected
from tutor.tui.screens.song_hearing import Hearing
from tutor.tui.screens.song_keys import HELP, KEYS
from tutor.tui.widgets.chordline import ChordLine
from tutor.tui.widgets.score import Score
from tutor.tui.widgets.songmap import SongMap
from tutor.tui.widgets.told import Told
from tutor.tui.widgets.words import Words

STAFF_FROM = 40
"""From this many rows of terminal on, the staff stands below the map; on less it takes the map's place."""
APART_FROM = 52
"""From this many rows on, the sung line has its own staff."""
ROOMY_FROM = 45
"""From this many rows on, blank lines part map, words and staff."""
WIDE = 170
"""From this many columns on, what was found stands at the side."""
TWO_FROM = 58
"""From this many rows on, a wide screen shows two systems."""
CORRECT_HINT = "V65/V   or  2=ii6 (from beat 2)   or  9-16=F minor   or  17-24=B"
"""What can be typed as a correction."""
MOST_BARS = 6
"""Bars side by side on the staff."""
SIDE = 46
"""Columns at the side."""


class SongScreen(Hearing):
    """A song under the light.

    Args:
        song: what to show.
        at: index of the bar to begin with.
    """

    NAME = "Song"
    HELP = HELP
    AUTO_FOCUS = ""
    DEFAULT_CSS = """
    SongScreen .page { width: 100%; }
    SongScreen #below { width: 1fr; }
    SongScreen #detail { min-height: 2; max-width: 140; }
    SongScreen.-staff #below { scrollbar-gutter: stable; }
    SongScreen.-staff #chords, SongScreen.-staff Staff { margin: 0 1 0 2; }
    SongScreen.-staff #detail { height: auto; min-height: 4; padding: 0 1 0 2; max-width: 139; }
    SongScreen #aside { height: auto; min-height: 14; }
    SongScreen #whole { height: auto; }
    SongScreen #side { width: 46; padding: 0 2; border-left: vkey $rule; }
    SongScreen.-roomy #map { margin: 1 2 0 2; }
    SongScreen.-roomy #detail { margin: 1 0 0 0; }
    """
    BINDINGS: ClassVar[list[BindingType]] = KEYS

    def __init__(self, song: Song, at: int = 0) -> None:
        super().__init__()
        self.song = song
        self.bars = songview.bars_of(song)
        self.at = max(0, min(at, len(self.bars) - 1))
        self._staff_wanted: bool | None = None
        self._before: list[Corrections] = []
        self._drawn: tuple[Song, float, bool] | None = None
        self._whole: Song | None = None
        self._pages: tuple[tuple[int, int], list[tuple[float, float]]] | None = None

    def content(self) -> Iterable[Widget]:
        """Two lines, the map, the chords, the staff, the words."""
        yield Static(songview.heading(self.song.reading), id="heading", classes="prompt", markup=False)
        yield Static(songview.voice_line(self.song.reading), id="voice", classes="quiet", markup=False)
        yield SongMap(self.bars, self.song.reading, id="map")
        with Horizontal(classes="page"):
            with VerticalScroll(id="below", can_focus=False):
                yield ChordLine(self.bars, id="chords")
                yield Words(id="detail", markup=False)
                yield Score(id="score")
            with VerticalScroll(id="side", can_focus=False):
                yield Told(id="aside", markup=False)
                yield Told(id="whole", markup=False)
        yield Input(id="correction", classes="hidden", placeholder=CORRECT_HINT, select_on_focus=False)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Undo has its key only where there is something to undo, comparing and repeats where something comes back."""
        if action == "undo":
            return bool(self._before)
        if action == "repeats":
            return len(self.song.table.order) > 1
        if action == "words":
            return self.query_one(Words).turns or self._scrolled.max_scroll_y > 0
        return self.bars[self.at].back is not None if action == "compare" else True

    def ready(self) -> None:
        """Show the first bar."""
        self.head.context = self.song.title
        self._show()
        warnings = self.song.reading.warnings
        if warnings:
            self.say(warnings[0])
        self.call_after_refresh(self.load)

    def on_resize(self) -> None:
        """The staff comes and goes with the height."""
        if self.house.has_studio and self.is_mounted:
            self._show()

    @property
    def _scrolled(self) -> Widget:
        """What scrolls where there is more than fits."""
        return self.query_one("#side" if self.app.size.width >= WIDE else "#below")

    @property
    def staff_shown(self) -> bool:
        """True where the staff is drawn."""
        return self.app.size.height >= STAFF_FROM if self._staff_wanted is None else self._staff_wanted

    def _show(self) -> None:
        bar = self.bars[self.at]
        self.query_one(SongMap).at = self.at
        self.query_one(ChordLine).at = self.at
        score = self.query_one(Score)
        small, wide = self.staff_shown and self.app.size.height < STAFF_FROM, self.app.size.width >= WIDE
        self.query_one(SongMap).mini = small
        for name in ("heading", "voice", "chords"):
            self.query_one(f"#{name}").display = not small
        self.query_one("#detail").display = not small and not wide
        self.query_one("#side").display = wide
        self.set_class(self.app.size.height >= ROOMY_FROM, "-roomy")
        self.set_class(self.staff_shown, "-staff")
        start, end = self._page()
        wanted = (self.song, start, small) if self.staff_shown else None
        if wanted is None:
            score.show(None)
        elif wanted != self._drawn:
            roomy = 9999 if self._systems > 1 else APART_FROM
            score.show(Excerpt("", songview.page(self.song, start, end)), roomy=roomy)
        self._drawn = wanted
        found = songview.details(self.song, bar) or ["Nothing special here."]
        if wide:
            found = [f"Bar {bar.number}:", *found]
            self._tell_whole()
        self.query_one("#aside" if wide else "#detail", Told).tell(lambda theme: self._told(found, theme))
        self.refresh_bindings()

    def _tell_whole(self) -> None:
        """The whole song at the side of a wide screen; it changes with a correction only."""
        if self._whole is not self.song:
            self._whole = self.song
            lines = ["The whole song:", *songview.overview(self.song)]
            self.query_one("#whole", Told).tell(lambda theme: self._told(lines, theme))

    @staticmethod
    def _told(lines: list[str], theme: Mapping[str, str]) -> Text:
        """Lines, those that end in a colon as headings."""
        quiet = f"bold {theme['text-quiet']}"
        return Text("\n").join(Text(x.rstrip(":"), quiet) if x.endswith(":") else Text(x) for x in lines)

    @property
    def _systems(self) -> int:
        """Lines of music on the staff."""
        size = self.app.size
        return 2 if size.width >= WIDE and size.height >= TWO_FROM and not self.house.look.large else 1

    def _page(self) -> tuple[float, float]:
        """The bars on the staff with the cursor's."""
        key = (self.app.size.width, self.app.size.height)
        if self._pages is None or self._pages[0] != key:
            self._pages = (key, self._paged())
        return next(p for p in self._pages[1] if p[1] > self.bars[self.at].start + 1e-6)

    def _paged(self) -> list[tuple[float, float]]:
        """The song cut into pages of as many bars as fit, side by side and system under system."""
        size = self.app.size
        apart, large = size.height >= APART_FROM and self._systems == 1, self.house.look.large
        widths = songview.staff_widths(self.song, self.bars, apart=apart, large=large)
        room = size.width - 6 - songview.OPENING - (SIDE if size.width >= WIDE else 0)
        lines, first = [], 0
        while first < len(self.bars):
            last, used = first, widths[first]
            while last + 1 < min(first + MOST_BARS, len(self.bars)) and used + widths[last + 1] <= room:
                last += 1
                used += widths[last]
            lines.append((self.bars[first].start, self.bars[last].end))
            first = last + 1
        step = self._systems
        return [(lines[i][0], lines[min(i + step, len(lines)) - 1][1]) for i in range(0, len(lines), step)]

    # -- moving

    def _go(self, index: int) -> None:
        self._light(index)
        self._moved()

    def _light(self, index: int) -> None:
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

    def action_words(self, by: int) -> None:
        """The rest of the words on this bar."""
        words, place = self.query_one(Words), self._scrolled
        if words.turns:
            words.turn(by)
        else:
            place.scroll_relative(y=by * max(1, place.size.height - 1), animate=False)

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
        self.say("What is it? A chord, or bars=key, or bars=section. Your file is not changed.")

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Keep a correction and read the song again."""
        text = message.value.strip()
        if not text:
            self._close_field()
            return
        library, song, bar = self.studio.library, self.song, self.bars[self.at]

        def make() -> tuple[Corrections, Song]:
            before = library.corrections(song)
            return before, library.correct(song, corrected(before, song, text, bar.number, bar.beat))

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
        again = partial(self._before.append, before)
        self.work(lambda: library.correct(song, before), self._taken_back, failed=again)

    def _taken_back(self, song: Song) -> None:
        self._renew(song)
        self.say("Taken back.")

    def action_back(self) -> None:
        """Out of the field, or out of the screen."""
        if self.query_one(Input).has_focus:
            self._close_field()
        else:
            super().action_back()

    # -- going on

    def action_practise(self) -> None:
        """Ten questions from this song."""
        from tutor.tui.screens.begin import begin

        self.hush()
        begin(self, songs=[self.song.id])

    def action_drill(self) -> None:
        """Five questions on what stands under the cursor."""
        from tutor.practice.catalogue import drills
        from tutor.tui.screens.begin import begin

        name, words = songview.worth_asking(self.bars[self.at])
        skills = [(name, s) for d in drills() if d.name == name for s in d.skills if s.startswith("song")]
        if not skills:
            self.say(f"There is no drill for {words}.")
            return
        self.hush()
        near = self._stretch([b.section for b in self.bars])
        begin(self, songs=[self.song.id], skills=skills, count=5, near=near)

    def action_warm(self) -> None:
        """A warm-up for this song."""
        from tutor.tui.screens.warmup import WarmupScreen

        self.hush()
        self.app.push_screen(WarmupScreen(song=self.song))
