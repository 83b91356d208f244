"""An excerpt on the page: its caption, and the staff below."""

from __future__ import annotations

from dataclasses import replace

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.geometry import Size
from textual.reactive import Reactive
from textual.widgets import Static

from tutor.practice.drill import Excerpt
from tutor.tui.look import Look
from tutor.tui.widgets.staff import Staff
from tutor.tui.widgets.staff_layout import Clef

ROOMY = 34
"""From this many rows on, a sung line above a piano gets its own staff."""
MOST_DRAWN = 500
"""Notes of an excerpt that are drawn: about forty rows of staff. A whole song is heard in full and drawn in part."""


def drawable(excerpt: Excerpt) -> Excerpt:
    """An excerpt as far as it is drawn; its caption says so where that is not the whole."""
    tones = excerpt.phrase.tones
    if len(tones) <= MOST_DRAWN:
        return excerpt
    end = sorted(t.onset_quarters for t in tones)[MOST_DRAWN]
    phrase = replace(
        excerpt.phrase, tones=tuple(t for t in tones if t.onset_quarters < end),
        figures=tuple(f for f in excerpt.phrase.figures if f[0] < end),
    )  # fmt: skip
    return Excerpt(f"{excerpt.caption} (drawn: the beginning)", phrase)


class Score(Vertical):
    """Caption and staff."""

    DEFAULT_CSS = """
    Score { height: auto; width: 1fr; }
    Score > .caption { color: $text-quiet; height: auto; padding: 0 2; }
    """
    virtual_size = Reactive(Size(0, 0), repaint=False)
    """Nothing in it scrolls: its new size, which comes from laying the screen out, asks for no second round."""

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._caption = Static(classes="caption", markup=False)
        self.staff = Staff()

    def compose(self) -> ComposeResult:
        """Caption above staff."""
        yield self._caption
        yield self.staff

    def show(self, excerpt: Excerpt | None, *, roomy: int = ROOMY, clef: Clef | None = None) -> None:
        """Show an excerpt; None hides the whole.

        Args:
            excerpt: what to show.
            roomy: from this many rows of terminal on the sung line gets its own staff.
            clef: clef of a sung line alone; chosen by its pitches if not given.
        """
        self.display = excerpt is not None
        if excerpt is None:
            self.staff.phrase = None
            return
        height = self.app.size.height
        lines = {t.line for t in excerpt.phrase.tones}
        self._caption.update(excerpt.caption)
        self._caption.display = bool(excerpt.caption)
        look = getattr(self.app, "look", None) or Look()
        self.staff.ascii, self.staff.large = look.ascii, look.large
        self.staff.voice_apart = height >= roomy and "voice" in lines and len(lines - {"click"}) > 1
        self.staff.clef, self.staff.now = clef, None
        self.staff.phrase = excerpt.phrase

    def follow(self, now: float | None) -> None:
        """Point at the moment being heard."""
        self.staff.now = now
