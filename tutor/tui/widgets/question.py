"""A question on the page: what is asked, heard and seen; then the verdict, why, and the music that proves it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tutor.practice.drill import Excerpt
from tutor.tui.widgets.heard import Heard
from tutor.tui.widgets.score import ROOMY, Score, drawable

_SCORES = 2
"""Excerpts drawn at once, at most."""


def source_words(source: str, fresh: str, *, heard: bool, seen: bool, blind: bool) -> str:
    """Where a question comes from, and which sense it is for.

    Args:
        source: of the question: 'Bars 9–12 of “Title”', or 'fresh'.
        fresh: words for fresh music.
        heard: True where music is heard.
        seen: True where music is shown before the answer.
        blind: True where what should be heard is shown, for want of sound.
    """
    where = fresh if source in ("", "fresh") else source
    how = "by ear and by eye" if seen and heard else "by eye" if seen else "by ear"
    return f"{where}; {'no sound here, so it is shown on the staff' if blind else how}"


class QuestionPage(VerticalScroll):
    """Everything a question may need; what it does not need is hidden.

    Args:
        answering: the widgets that take the answer, below the music; shown and hidden by the screen.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        # Before the list of choices, which has them too and is never as long as a page.
        Binding("pageup", "page_up", "Page up", show=False, priority=True),
        Binding("pagedown", "page_down", "Page down", show=False, priority=True),
    ]

    def __init__(self, *answering: Widget) -> None:
        super().__init__(id="page", classes="page", can_focus=False)
        self._answering = answering
        self._drawn: tuple[Excerpt, ...] = ()
        self._above = False

    def compose(self) -> ComposeResult:
        """Verdict, prompt, source or explanation, what is heard, what is drawn, the answer."""
        yield Static(id="verdict", classes="hidden", markup=False)
        yield Static(id="prompt", classes="prompt", markup=False)
        yield Static(id="source", classes="quiet", markup=False)
        yield Heard(id="heard")
        for i in range(_SCORES):
            yield Score(id=f"score-{i}")
        yield from self._answering

    def cover(self, prompt: str, words: str) -> None:
        """A page of words alone, before the first question."""
        self._words("prompt", prompt, "prompt")
        self._words("source", words, "body")
        self._words("verdict", "", "hidden")
        self._heard(())
        self.draw(())

    def ask(self, prompt: str, source: str, heard: Sequence[Excerpt], shown: Sequence[Excerpt]) -> None:
        """Ask.

        Args:
            prompt: one sentence.
            source: where the music comes from, in words.
            heard: what can be heard, in turn.
            shown: what is drawn; a caption that stands among those heard is not repeated.
        """
        self._words("prompt", prompt, "prompt")
        self._words("source", source, "quiet")
        self._words("verdict", "", "hidden")
        self.query_one("#prompt").display = True
        told = {e.caption for e in heard}
        self._heard(heard)
        self.draw([replace(e, caption="") if e.caption in told else e for e in shown])
        self.can_focus = False
        self._put_answering(above=False)
        self.scroll_home(animate=False)
        self.call_after_refresh(self._fit)
        self._measure()

    def _measure(self) -> None:
        """Music that is taller than the page scrolls behind the choices, so that these stay in sight."""
        self.remove_class("pinned")
        if not self.query_one("#verdict").has_class("hidden"):
            return
        self.call_after_refresh(lambda: self.set_class(self.virtual_size.height > self.size.height, "pinned"))

    def on_resize(self) -> None:
        """There may be more or less room."""
        self._measure()

    def tell(self, prompt: str, verdict: str, kind: str, why: str, evidence: Sequence[Excerpt]) -> None:
        """Tell the verdict and show what proves it; the page takes the keys, so that it can be scrolled.

        Args:
            prompt: what was asked; it gives way where rows are few.
            verdict: one line.
            kind: the style of the verdict: 'hit', 'lamp' or 'miss'.
            why: the explanation.
            evidence: music, the most telling first.
        """
        self._words("prompt", prompt, "prompt")
        self.remove_class("pinned")
        self.query_one("#prompt").display = self.app.size.height >= ROOMY
        self._words("verdict", verdict, kind)
        self._words("source", why, "body")
        self._heard(())
        self.draw(evidence)
        self.can_focus = True
        self.focus(scroll_visible=False)
        self.scroll_home(animate=False)

    def draw(self, excerpts: Iterable[Excerpt]) -> None:
        """Show other music."""
        self._drawn = tuple(excerpts)[:_SCORES]
        for i in range(_SCORES):
            shown = drawable(self._drawn[i]) if i < len(self._drawn) else None
            self.query_one(f"#score-{i}", Score).show(shown)

    def follow(self, music: Sequence[Excerpt], index: int, now: float | None) -> None:
        """Light what sounds.

        Args:
            music: what is being played from.
            index: which of it sounds; -1 in silence.
            now: where it is, in quarters; None in silence.
        """
        sounding = music[index].phrase if 0 <= index < len(music) and now is not None else None
        heard = self.query_one(Heard)
        heard.playing = -1 if sounding is None else index
        if sounding is not None and now is not None:
            heard.share = min(1.0, now / max(sounding.length_quarters, 0.01))
        for i in range(_SCORES):
            same = sounding is not None and i < len(self._drawn) and self._drawn[i].phrase.tones == sounding.tones
            self.query_one(f"#score-{i}", Score).follow(now if same else None)

    def _fit(self) -> None:
        """Where not everything fits, the answer goes above the music, so that it stands below what is asked."""
        if not self.can_focus and self.virtual_size.height > self.size.height:
            self._put_answering(above=True)
            self.scroll_home(animate=False)

    def _put_answering(self, *, above: bool) -> None:
        if above != self._above:
            self._above = above
            for widget in self._answering if above else reversed(self._answering):
                if above:
                    self.move_child(widget, before=self.query_one("#score-0"))
                else:
                    self.move_child(widget, after=self.query_one(f"#score-{_SCORES - 1}"))

    def _heard(self, excerpts: Sequence[Excerpt]) -> None:
        heard = self.query_one(Heard)
        heard.set([e.caption or "the excerpt" for e in excerpts])
        heard.display = bool(excerpts)

    def _words(self, name: str, text: str, classes: str) -> None:
        field = self.query_one(f"#{name}", Static)
        field.set_classes(classes)
        field.update(text)
