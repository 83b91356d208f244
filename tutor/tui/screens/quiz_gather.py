"""Answers gathered: what people could hear, question by question, and what to explain next."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from tutor.errors import plain
from tutor.store.folder import path_of
from tutor.tui.screens.quiz import KIND
from tutor.tui.stage import Stage
from tutor.tui.widgets.path_field import PathField
from tutor.tui.widgets.told import Told

if TYPE_CHECKING:
    from tutor.quiz.gather import Gathered
    from tutor.quiz.pack import Pack

_BARS = (8, 20)
"""Cells of the bar that shows a share, in a narrow and in a wide terminal."""
_WIDE = 110
_ASKED = {
    "quiz": "Which quiz? The .quiz.json file that was written with the page.",
    "answers": "Which answers? A file, a folder, or a code; Enter adds it.",
    "folder": "Into which folder shall the figures go?",
}


class QuizGatherScreen(Stage):
    """Asks for the quiz, then for answers, and shows the figures as they come together."""

    NAME = "Gather"
    HELP = (
        "First name the quiz file, then the answers: an answer file, a folder of them, or a code pasted here. Add as "
        "many as you like; a sheet that is handed in twice counts once, and a sheet of another quiz is refused.\n\n"
        "right: the share of right answers, with the range in which the true share lies in 19 of 20 such cases. r*: "
        "how far those who got this question right also did well in the rest; near 0 or below, look at it again. "
        "KR-20: how reliable the whole is, up to 1; short quizzes for a lesson seldom pass 0.7.\n\n"
        "e writes the figures as CSV and JSON. No names are in them."
    )
    AUTO_FOCUS = "PathField"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "pass", "open", key_display="Enter", tooltip="open or add what was typed"),
        Binding("a", "more", "add answers", tooltip="add answer files, a folder or a code"),
        Binding("e", "export", "export", tooltip="write the figures as CSV and JSON"),
        Binding("u", "undo", "undo", tooltip="leave out what was added last"),
        Binding("o", "other", "another quiz", tooltip="gather another quiz"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.pack: Pack | None = None
        self.found: Gathered | None = None
        self._sources: list[str] = []
        self._asking = "quiz"
        self._stop = threading.Event()
        self._folder = ""

    def content(self) -> Iterable[Widget]:
        """A field and the figures."""
        yield Static(id="asks", classes="prompt", markup=False)
        yield PathField((KIND,), id="path", classes="gap")
        with VerticalScroll(classes="page gap", id="page", can_focus=False):
            yield Told(id="figures", classes="body", markup=False)

    def ready(self) -> None:
        """Ask for the quiz."""
        self._ask("quiz")

    def _ask(self, what: str) -> None:
        self._asking = what
        field = self.query_one(PathField)
        self.query_one("#asks", Static).update(_ASKED[what])
        field.kinds = (KIND,) if what == "quiz" else () if what == "folder" else (".json", ".txt")
        field.placeholder = {"quiz": "~/name.quiz.json", "answers": "~/answers", "folder": "~/figures"}[what]
        field.value = self._folder if what in ("answers", "folder") else ""
        field.display = True
        field.focus()
        field.action_end()
        self.refresh_bindings()

    def _read(self) -> None:
        """The figures take the keys."""
        self.query_one(PathField).display = False
        page = self.query_one("#page", VerticalScroll)
        page.can_focus = True
        page.focus(scroll_visible=False)
        self.query_one("#asks", Static).update(self.pack.title if self.pack else "")
        self.refresh_bindings()

    def on_input_submitted(self, message: Input.Submitted) -> None:
        """Open the quiz, add answers, or write the figures."""
        from tutor.studio import quizgather, quizzes

        text = self.query_one(PathField).text
        if not text:
            if self.found is not None:
                self._read()
        elif self._asking == "quiz":
            path = path_of(text)
            self._folder = f"{path.parent}/"
            self.work(lambda: quizzes.load_quiz(path), self._opened)
        elif self._asking == "answers":
            self._gather([*self._sources, text])
        elif self.found is not None:
            found = self.found
            self.work(lambda: quizgather.write_figures(found, path_of(text)), self._written)

    def _opened(self, pack: Pack) -> None:
        self.pack, self.found, self._sources = pack, None, []
        self.head.context = f"{pack.title}, {len(pack.items)} questions"
        self.query_one("#figures", Static).update("")
        self.say("")
        self._ask("answers")

    def _gather(self, sources: list[str]) -> None:
        from tutor.studio import quizgather

        pack = self.pack
        if pack is None:
            return
        self._stop.set()
        stop = self._stop = threading.Event()
        self.say("Reading the answers.")

        def then(found: Gathered) -> None:
            self._sources, self.found = sources, found
            self._show(found)

        self.work(lambda: quizgather.gather(pack, sources, step=self._step, stop=stop), then)

    def _step(self, read: int) -> None:
        self.call_later(self.say, f"{read:,} answer sheets read; Esc gives up.")

    def _show(self, found: Gathered) -> None:
        figures = found.figures
        refused = f", {found.refused_count} refused" if found.refused_count else ""
        self.say(f"{figures.sheets:,} answer {'sheet' if figures.sheets == 1 else 'sheets'}{refused}.")
        self.query_one("#figures", Told).tell(lambda _: self._text(found))
        self._read()

    def _text(self, found: Gathered) -> Text:
        theme, figures = self.app.theme_variables, found.figures
        out = Text()
        if not figures.sheets:
            out.append("No answer sheet of this quiz was found.\n", style=theme["text-body"])
        else:
            kr = "not to be told from so few" if figures.kr20 is None else f"{figures.kr20:.2f}"
            out.append(
                f"{figures.sheets:,} answer sheets; {figures.mean:.1f} of {len(figures.items)} right on average, "
                f"spread {figures.deviation:.1f}; reliability (KR-20) {kr}\n\n"
            )
            out.append("The next video\n", style=f"bold {theme['lamp']}")
            out.append(f"{found.next_video}\n\n")
            self._rows(out, found)
            self._skills(out, found)
        if found.refused:
            out.append("\nRefused\n", style=f"bold {theme['lamp']}")
            out.append("\n".join(found.refused[:20]), style=theme["text-quiet"])
            if found.refused_count > 20:
                out.append(f"\nand {found.refused_count - 20} more", style=theme["text-quiet"])
        return out

    def _rows(self, out: Text, found: Gathered) -> None:
        from tutor.quiz.gather import said

        theme, sign, width = self.app.theme_variables, self.signs, self.app.size.width
        cells = _BARS[width >= _WIDE]
        room = min(width, 108) - cells - 42
        out.append("Question by question\n", style=f"bold {theme['lamp']}")
        out.append(f"{'':4}{'':{cells}}  right  range        r*\n", style=theme["text-quiet"])
        for number, (item, one) in enumerate(zip(found.pack.items, found.figures.items, strict=True), start=1):
            full = round(one.facility * cells)
            low, high = one.interval
            r = "   –" if one.corrected is None else f"{one.corrected:5.2f}"
            out.append(f"{number:>3} ", style=f"bold {theme['lamp']}")
            out.append(sign.half * full, style=theme["lamp"])
            out.append(sign.rule * (cells - full), style=theme["rule"])
            out.append(f"  {one.facility:>5.0%}  {low:>4.0%} to {high:>4.0%} {r:>5}  ", style=theme["text-body"])
            words = said(item.drill, item.skill)
            words = words if len(words) <= room else words[: room - 1].rstrip() + sign.ellipsis
            out.append(f"{words}\n", style=theme["text-quiet"])
            texts = {c.label: c.text for c in item.choices}
            for label, count in sorted(one.chosen.items(), key=lambda c: -c[1]):
                if label != item.right:
                    what = f"took it for “{texts[label]}”" if label else "gave no answer"
                    out.append(f"    {count:>{cells}}  {what}\n", style=theme["text-quiet"])

    def _skills(self, out: Text, found: Gathered) -> None:
        from tutor.quiz.gather import said

        theme = self.app.theme_variables
        slips = [s for s in found.skills if s.taken_for]
        if slips:
            out.append("\nSlips by skill\n", style=f"bold {theme['lamp']}")
        for skill in slips:
            out.append(f"{said(skill.drill, skill.skill)}, {skill.share:.0%} right\n", style=theme["text-body"])
            for right, given, count in skill.taken_for[:3]:
                what = f"“{right}” left open" if not given else f"“{right}” taken for “{given}”"
                out.append(f"    {count:>5}  {what}\n", style=theme["text-quiet"])

    def _written(self, paths: list[Path]) -> None:
        self._read()
        self.say(f"Written: {' and '.join(plain(p.name) for p in paths)}")

    # -- keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Some keys need figures."""
        if action in ("more", "export", "undo", "other"):
            return self.found is not None and (action != "undo" or len(self._sources) > 1)
        if action == "pass":
            return self.query_one(PathField).display
        return True

    def action_more(self) -> None:
        """Add answers."""
        self._ask("answers")

    def action_export(self) -> None:
        """Write the figures."""
        self._ask("folder")

    def action_other(self) -> None:
        """Another quiz."""
        self._ask("quiz")

    def action_undo(self) -> None:
        """Leave out what was added last."""
        if len(self._sources) > 1:
            self._gather(self._sources[:-1])

    def action_back(self) -> None:
        """Out of the field to the figures, or out of the screen; what is being read is given up."""
        self._stop.set()
        if self.query_one(PathField).has_focus and self.found is not None:
            self.say("")
            self._read()
        else:
            super().action_back()

    def action_pass(self) -> None:
        """Shown at the foot for the field, which does it."""
