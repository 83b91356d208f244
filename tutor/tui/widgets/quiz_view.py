"""A question of a quiz in full: what is asked, the choices, why the right one is right, and its music."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import VerticalScroll

from tutor.quiz.gather import said
from tutor.quiz.pack import PackItem
from tutor.tui.widgets.frame import signs_of
from tutor.tui.widgets.score import Score, drawable
from tutor.tui.widgets.told import Told


class QuizView(VerticalScroll):
    """One question; it scrolls where it is long."""

    DEFAULT_CSS = """
    QuizView { height: 1fr; width: 1fr; }
    QuizView > Static { height: auto; padding: 0 2; max-width: 104; }
    """

    def compose(self) -> ComposeResult:
        """Words, then music."""
        yield Told(id="view-words", markup=False)
        yield Score(id="view-score")

    def show(self, item: PackItem | None, *, number: int = 0, given: int = 0, asked: bool = True) -> None:
        """Show a question.

        Args:
            item: what to show; None for nothing.
            number: its number, from 1.
            given: what a viewer answered, from 1; 0 for none.
            asked: False leaves prompt and choices out and keeps to the explanation.
        """
        words, score = self.query_one("#view-words", Told), self.query_one(Score)
        if item is None:
            words.update("")
            score.show(None)
            return
        words.tell(lambda _: self._words(item, number, given, asked))
        found = item.evidence or item.seen or item.heard
        score.show(drawable(found[0]) if found else None)
        self.scroll_home(animate=False)

    def _words(self, item: PackItem, number: int, given: int, asked: bool) -> Text:
        theme, sign = self.app.theme_variables, signs_of(self)
        out = Text()
        if asked:
            out.append(f"{number}. " if number else "", style=f"bold {theme['lamp']}")
            out.append(f"{item.prompt}\n", style=f"bold {theme['text-body']}")
            where = "fresh music" if item.source in ("", "fresh") else item.source
            how = "by ear" if item.heard else "by eye"
            out.append(f"{where}; {how}. {said(item.drill, item.skill)}\n", style=theme["text-quiet"])
        for place, choice in enumerate(item.choices, start=1):
            right = choice.label == item.right
            if not asked and not right and place != given:
                continue
            mark = sign.right if right else sign.wrong if place == given else " "
            style = theme["hit"] if right else theme["miss"] if place == given else theme["text-quiet"]
            note = "  (your answer)" if place == given else ""
            out.append(f"  {mark} {choice.text}{note}\n", style=style)
        out.append(item.explanation, style=theme["text-body"])
        return out
