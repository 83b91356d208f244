"""The staff widget: shows a Phrase, points at the moment being heard, and says in words what it shows."""

from __future__ import annotations

from itertools import groupby
from operator import itemgetter
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style as RichStyle
from textual.geometry import Size
from textual.reactive import Reactive, reactive
from textual.strip import Strip

from tutor.music.phrase import Phrase
from tutor.tui.widgets.staff_draw import Style, System, draw_staff
from tutor.tui.widgets.staff_layout import Clef, sung_clef
from tutor.tui.widgets.staff_picture import Pictured
from tutor.tui.widgets.staff_words import describe

__all__ = ["Staff", "Style", "System", "describe", "draw_staff"]


class Staff(Pictured):
    """Draws a phrase in as many systems as its width needs."""

    DEFAULT_CSS = """
    Staff { height: auto; width: 1fr; }
    Staff > .staff--line, Staff > .staff--ledger { color: $staff-line; }
    Staff > .staff--bar, Staff > .staff--clef, Staff > .staff--key, Staff > .staff--number,
    Staff > .staff--rest { color: $text-quiet; }
    Staff > .staff--stem { color: $text-quiet; }
    Staff > .staff--upper, Staff > .staff--lower, Staff > .staff--accidental { color: $text-body; }
    Staff > .staff--voice, Staff > .staff--lyric { color: $text-body; text-style: bold; }
    Staff > .staff--figure { color: $cool; }
    Staff > .staff--mark, Staff > .staff--word { color: $lamp; text-style: bold; }
    Staff > .staff--now { color: $lamp; }
    Staff > .staff--wrong { color: $miss; text-style: bold; }
    """
    COMPONENT_CLASSES: ClassVar[set[str]] = {
        f"staff--{role}"
        for role in (
            "line", "ledger", "bar", "clef", "key", "stem", "voice", "upper", "lower", "mark", "wrong", "accidental",
            "lyric", "figure", "number", "word", "now", "rest",
        )
    }  # fmt: skip

    virtual_size = Reactive(Size(0, 0), repaint=False)
    """Nothing in it scrolls: its new size, which comes from laying the screen out, asks for no second round."""
    phrase: reactive[Phrase | None] = reactive(None, layout=True)
    """What is shown; None shows nothing."""
    large: reactive[bool] = reactive(False, layout=True)
    """Two rows to a staff space."""
    ascii: reactive[bool] = reactive(False, layout=True)
    """Nothing beyond ASCII."""
    voice_apart: reactive[bool] = reactive(False, layout=True)
    """The sung line on its own staff."""
    clef: reactive[Clef | None] = reactive(None, layout=True)
    """Clef of a sung line that stands alone; None chooses by its pitches."""
    words: reactive[bool] = reactive(True, layout=True)
    """Syllables, figures and marks below."""
    now: reactive[float | None] = reactive(None)
    """Moment being heard, quarters."""

    def __init__(
        self,
        phrase: Phrase | None = None,
        *,
        id: str | None = None,
        classes: str | None = None,
        large: bool = False,
        ascii: bool = False,
        voice_apart: bool = False,
    ) -> None:
        super().__init__(id=id, classes=classes)
        self._drawn: tuple[object, list[System], list[Strip]] | None = None
        self.set_reactive(Staff.phrase, phrase)
        self.set_reactive(Staff.large, large)
        self.set_reactive(Staff.ascii, ascii)
        self.set_reactive(Staff.voice_apart, voice_apart)

    @property
    def description(self) -> str:
        """What is shown, in words."""
        return describe(self.phrase) if self.phrase else ""

    def systems(self, width: int) -> list[System]:
        """The drawing for a width."""
        return self._draw(width)[0]

    def watch_phrase(self) -> None:
        """Let a screen reader and the pointer's tip say what is drawn; a tip would lie below a picture."""
        self.tooltip = None if getattr(self.app, "engraver", None) else self.description or None

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Rows needed at a width."""
        return len(self._draw(width)[1])

    def render_line(self, y: int) -> Strip:
        """One row of the drawing."""
        strips = self._draw(self.size.width)[1]
        if y >= len(strips):
            return Strip.blank(self.size.width, self.rich_style)
        return strips[y]

    def notify_style_update(self) -> None:
        """Draw anew when the theme changes."""
        self._drawn = None
        super().notify_style_update()

    def _draw(self, width: int) -> tuple[list[System], list[Strip]]:
        phrase = self.phrase
        if phrase is None or width < 20:
            return [], []
        # The picture stands still: while music is followed, the staff of characters points at the moment.
        picture = None
        if self.now is None:
            picture = self.picture(phrase, width, large=self.large, clef=sung_clef(phrase, self.clef))
        if picture is not None:
            return [], list(picture.strips)
        style = Style(
            large=self.large, ascii=self.ascii, voice_apart=self.voice_apart, clef=self.clef, words=self.words,
            now=self.now, stem=3 if self.large else 2,
        )  # fmt: skip
        key = (phrase, width, style)
        if self._drawn is None or self._drawn[0] != key:
            systems = draw_staff(phrase, width, style)
            self._drawn = (key, systems, self._strips(systems, width))
        return self._drawn[1], self._drawn[2]

    def _strips(self, systems: list[System], width: int) -> list[Strip]:
        styles = {"": self.rich_style}
        for name in self.COMPONENT_CLASSES:
            role = name.removeprefix("staff--")
            styles[role] = self.get_component_rich_style(name)
            styles[f"{role} parted"] = styles[role] + RichStyle(reverse=True)
        strips: list[Strip] = []
        for i, system in enumerate(systems):
            if i:
                strips.append(Strip.blank(width, self.rich_style))
            for row in system.rows:
                segments = [
                    Segment("".join(char for char, _ in run), styles[role]) for role, run in groupby(row, itemgetter(1))
                ]
                strips.append(Strip(segments, len(row)).crop(0, width))
        return strips
