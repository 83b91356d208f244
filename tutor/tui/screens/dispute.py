"""A question that is disputed: what the program read there, and the chance to correct it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.analysis.findings import ChordSpan
from tutor.practice.drill import Song
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row

_BARS = re.compile(r"^Bars? (\S+?)(?:–(\S+))? of “")
HINT = "V65/V   or  ii6 in F major"


def chords_asked(song: Song, source: str) -> tuple[ChordSpan, ...]:
    """The chords in the bars that a question names; those of the whole song where it names none.

    Args:
        song: where it was cut from.
        source: 'Bars 9–12 of “Title”'.
    """
    found = _BARS.match(source)
    if found is None:
        return song.reading.chords
    first, last = found[1], found[2] or found[1]
    numbers = [m.number for m in song.table.measures]
    if first not in numbers or last not in numbers:
        return song.reading.chords
    start = song.table.measures[numbers.index(first)].start_quarters
    end = song.table.measures[len(numbers) - 1 - numbers[::-1].index(last)].end_quarters
    return tuple(c for c in song.reading.chords if c.start < end - 1e-6 and c.end > start + 1e-6)


def evidence(chord: ChordSpan) -> str:
    """What the engine read, and what it stands on."""
    tones = " ".join(chord.tones) or "none"
    others = f"; beside them {' '.join(chord.nonchord)}" if chord.nonchord else ""
    sure = "corrected, or the composer's own word" if chord.corrected else f"{chord.confidence:.0%} sure"
    return f"{chord.figure} in {chord.key} ({chord.symbol}), {sure}; chord notes {tones}{others}"


class DisputeScreen(Stage):
    """The engine's evidence for a question.

    Args:
        song: where the question was cut from.
        source: the bars, as the question names them.
        then: called once it is settled, with a line for the user.
    """

    NAME = "Dispute"
    HELP = (
        "You believe that the program is wrong. Here is what it read in these bars, how sure it is, and the notes "
        "that speak for it. Choose a chord and press Enter to say what it really is, as a Roman numeral; the "
        "correction is kept beside the song, your score is not changed, and new questions follow it. d sets the "
        "question aside without a correction. Either way it counts nowhere. Esc leaves everything as it is."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "correct", key_display="Enter", tooltip="say what the chord in the light really is"),
        Binding("d", "aside", "set aside", tooltip="set the question aside and correct nothing"),
    ]

    def __init__(self, song: Song, source: str, then: Callable[[str], None]) -> None:
        super().__init__()
        self.song = song
        self.chords: Sequence[ChordSpan] = chords_asked(song, source)
        self._source = source
        self._then = then
        self._at = 0

    def content(self) -> Iterable[Widget]:
        """The chords, and a field for what is right."""
        yield Static(f"What the program read: {self._source}", classes="prompt", markup=False)
        yield Input(id="correction", classes="gap hidden", placeholder=HINT)
        yield VerticalScroll(Menu(id="menu", title_width=18), classes="page gap", can_focus=False)

    def ready(self) -> None:
        """Fill the list."""
        self.head.context = self.song.title
        rows = [Row(str(i), f"bar {c.bar}, beat {c.beat:g}", evidence(c)) for i, c in enumerate(self.chords)]
        rows.append(Row("aside", "None of these", "set the question aside and correct nothing"))
        self.query_one(Menu).show(rows)

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Ask what it really is."""
        if message.id == "aside":
            self.action_aside()
            return
        self._at = int(message.id)
        field = self.query_one(Input)
        field.value = self.chords[self._at].figure
        field.remove_class("hidden")
        field.focus()
        self.say("Which chord is it? Write it as a Roman numeral. Your score file is not changed.")

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Keep the correction, then set the question aside."""
        from tutor.studio import correcting

        text, chord, song, studio = message.value.strip(), self.chords[self._at], self.song, self.studio
        if not text:
            self._close_field()
            return

        def make() -> None:
            mine = correcting.with_chord_at(studio.library.corrections(song), song, chord, text)
            studio.rehearsal.renew(studio.library.correct(song, mine))

        self.work(make, lambda _none: self._settle("Corrected beside the song, and set aside: it counts nowhere."))

    def action_aside(self) -> None:
        """Set it aside alone."""
        self._settle("Set aside: this question counts nowhere.")

    def _settle(self, said: str) -> None:
        self.app.pop_screen()
        self._then(said)

    def _close_field(self) -> None:
        self.query_one(Input).add_class("hidden")
        self.query_one(Menu).focus()
        self.say("")

    def action_back(self) -> None:
        """Out of the field, or back to the question with nothing changed."""
        if self.query_one(Input).has_focus:
            self._close_field()
        else:
            super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the menu, which does it."""
