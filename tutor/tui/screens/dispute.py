"""A question that is disputed: what the program read there, and the chance to correct it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.analysis.findings import ChordSpan, Corrections, KeySpan, Section
from tutor.music.chordsymbol import symbol_words
from tutor.music.pitch import pretty
from tutor.music.roman import printed
from tutor.practice.drill import Song
from tutor.practice.material import beat_words
from tutor.tui.songview import pretty_name
from tutor.tui.stage import Stage
from tutor.tui.widgets.menu import Menu, Row

_BARS = re.compile(r"^Bars? (\S+?)(?:–(\S+))? of “")
_FEW = 24
"""More chords than this are not what a question was about: there the sections come first."""


def stretch_asked(song: Song, source: str) -> tuple[float, float]:
    """From where to where, in quarters, the bars lie that a question names; the whole song where it names none.

    Args:
        song: where it was cut from.
        source: 'Bars 9–12 of “Title”'.
    """
    found = _BARS.match(source)
    numbers = [m.number for m in song.table.measures]
    if found is None or found[1] not in numbers or (found[2] or found[1]) not in numbers:
        return 0.0, song.table.length_quarters
    last = len(numbers) - 1 - numbers[::-1].index(found[2] or found[1])
    return song.table.measures[numbers.index(found[1])].start_quarters, song.table.measures[last].end_quarters


def chords_asked(song: Song, source: str) -> tuple[ChordSpan, ...]:
    """The chords in the bars that a question names; those of the whole song where it names none."""
    start, end = stretch_asked(song, source)
    return tuple(c for c in song.reading.chords if c.start < end - 1e-6 and c.end > start + 1e-6)


def evidence(chord: ChordSpan) -> str:
    """What was read of a chord, and what it stands on."""
    tones = " ".join(pretty(t) for t in chord.tones) or "none"
    others = f"; beside them {' '.join(pretty(t) for t in chord.nonchord)}" if chord.nonchord else ""
    what = f"{printed(chord.figure)} in {pretty_name(chord.key)} ({symbol_words(chord.symbol)})"
    return f"{what}, {_sure(chord.confidence, chord.corrected)}; chord notes {tones}{others}"


def _sure(confidence: float, corrected: bool) -> str:
    return "corrected, or the composer's own word" if corrected else f"{confidence:.0%} sure"


@dataclass(frozen=True, slots=True)
class Claim:
    """One thing that was read, and how to say otherwise."""

    of: ChordSpan | KeySpan | Section
    place: str
    """'bar 9, beat 1'."""
    words: str
    """What was read, and what it stands on."""
    value: str
    """The correction to be edited: 'V65', '9-16=F major', '17-24=B'."""
    ask: str

    def corrected(self, mine: Corrections, song: Song, text: str) -> Corrections:
        """The user's corrections with this one.

        Raises:
            SidecarError: it cannot be read.
        """
        from tutor.studio import correcting

        if isinstance(self.of, ChordSpan):
            return correcting.with_chord_at(mine, song, self.of, text)
        make = correcting.with_key if isinstance(self.of, KeySpan) else correcting.with_section
        return make(mine, song, text)


def claims(song: Song, source: str) -> list[Claim]:
    """What was read where a question was cut from: chords, keys, sections; of a long stretch sections first."""
    start, end = stretch_asked(song, source)
    found: list[Claim] = []
    for c in chords_asked(song, source):
        ask = "Which chord is it? Write it as a Roman numeral: V65/V, or ii6 in F major."
        found.append(Claim(c, f"bar {c.bar}, {beat_words(c.beat)}", evidence(c), c.figure, ask))
    wide: list[Claim] = []
    for s in song.reading.form.sections:
        if s.start < end - 1e-6 and s.end > start + 1e-6:
            first, last = s.bars
            words = f"section {s.name}, {_sure(s.confidence, s.corrected)}"
            ask = "Which section is it? Write bars and letter: 17-24=B."
            wide.append(Claim(s, f"bars {first}–{last}", words, f"{first}-{last}={s.name}", ask))
    for k in song.reading.keys:
        if k.start < end - 1e-6 and k.end > start + 1e-6:
            bars = [m.number for m in song.table.measures if m.end_quarters > k.start and m.start_quarters < k.end]
            words = f"{pretty_name(k.name)}, {_sure(k.confidence, k.corrected)}"
            ask = "Which key is it? Write bars and key: 9-16=F minor."
            wide.append(Claim(k, f"bars {bars[0]}–{bars[-1]}", words, f"{bars[0]}-{bars[-1]}={k.name}", ask))
    return wide + found if len(found) > _FEW else found + wide


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
        "that speak for it: the chords, the sections and the keys. Choose one and press Enter to say what it really "
        "is; the correction is kept beside the song, your score is not changed, and new questions follow it. d sets "
        "the question aside without a correction. Either way it counts nowhere. Esc leaves everything as it is."
    )
    AUTO_FOCUS = "Menu"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "correct", key_display="Enter", tooltip="say what stands in the light really is"),
        Binding("d", "aside", "set aside", tooltip="set the question aside and correct nothing"),
    ]

    def __init__(self, song: Song, source: str, then: Callable[[str], None]) -> None:
        super().__init__()
        self.song = song
        self.claims = claims(song, source)
        self.question_source = source
        self._then = then
        self._at = 0

    def content(self) -> Iterable[Widget]:
        """What was read, and a field for what is right."""
        yield Static(f"What the program read: {self.question_source}", classes="prompt", markup=False)
        yield Input(id="correction", classes="gap hidden", placeholder="what is right")
        yield VerticalScroll(Menu(id="menu", title_width=18), classes="page gap", can_focus=False)

    def ready(self) -> None:
        """Fill the list."""
        self.head.context = self.song.title
        rows = [Row(str(i), c.place, c.words) for i, c in enumerate(self.claims)]
        rows.append(Row("aside", "None of these", "set the question aside and correct nothing"))
        self.query_one(Menu).show(rows)

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """Ask what it really is."""
        if message.id == "aside":
            self.action_aside()
            return
        self._at = int(message.id)
        field = self.query_one(Input)
        field.value = self.claims[self._at].value
        field.remove_class("hidden")
        field.focus()
        self.say(self.claims[self._at].ask)

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Keep the correction, then set the question aside."""
        text, claim, song, studio = message.value.strip(), self.claims[self._at], self.song, self.studio
        if not text:
            self._close_field()
            return

        def make() -> None:
            mine = claim.corrected(studio.library.corrections(song), song, text)
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
