"""Taking a quiz: the same questions as on the page, answered here."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from tutor.quiz.taking import Taking
from tutor.tui.stage import Stage
from tutor.tui.widgets.frame import Lamp
from tutor.tui.widgets.heard import Heard
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.question import QuestionPage, source_words

if TYPE_CHECKING:
    from tutor.studio.quizdesk import Seat


def lamps_of(taking: Taking) -> list[Lamp]:
    """A lamp for each question: right and wrong only where that was told."""
    lamps: list[Lamp] = []
    for index, answer in enumerate(taking.answers):
        if taking.told(index):
            lamps.append("hit" if taking.hit(index) else "miss")
        elif index == taking.at and not taking.finished:
            lamps.append("now")
        else:
            lamps.append("hit" if answer else "wait")
    return lamps


class QuizTakeScreen(Stage):
    """One question after the other.

    Args:
        seat: the quiz, and where the answers are kept.
    """

    NAME = "Quiz"
    HELP = (
        "Answer with the number of a line, or with the arrows and Enter. Space plays the question as often as you "
        "like; the left and right arrows turn to the question before and after, so that you may leave one open. "
        "Page Up and Page Down move music that is taller than the screen.\n\n"
        "Whoever made the quiz chose when you see the explanations: after each answer, which then stands, or at the "
        "end; until then you may change an answer, and u takes it back. f hands in.\n\n"
        "The lamps are the questions: ◆ this one, ○ still open, ● answered (or right, once that is told), × not "
        "right. Your answers are kept here alone; you may leave at any moment and go on later."
    )
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "hear", "hear", key_display="Space", tooltip="hear it, or hear it again"),
        Binding("1", "choose(1)", "answer", key_display="1–8", tooltip="answer with the number of a line"),
        *(Binding(str(n), f"choose({n})", show=False) for n in range(2, 9)),
        Binding("enter,n", "next", "next", key_display="Enter", tooltip="the next open question"),
        Binding("left", "turn(-1)", "turn", key_display="← →", tooltip="the question before or after"),
        Binding("right", "turn(1)", "", show=False),
        Binding("comma", "step(-1)", "one by one", key_display=", .", tooltip="hear the excerpts one by one"),
        Binding("full_stop", "step(1)", "", show=False),
        Binding("u", "undo", "undo", tooltip="take the answer to this question back"),
        Binding("f", "finish", "hand in", tooltip="hand in and see the result"),
        Binding("escape", "back", "leave", key_display="Esc", tooltip="leave; the quiz waits here"),
    ]

    def __init__(self, seat: Seat) -> None:
        super().__init__()
        self.seat = seat
        self._playing = -1
        self._sure = False
        self._on_cover = seat.taking.answered == 0 and seat.taking.at == 0
        self._keeping = False

    @property
    def page(self) -> QuestionPage:
        """The question."""
        return self.query_one(QuestionPage)

    @property
    def taking(self) -> Taking:
        """Where the viewer stands."""
        return self.seat.taking

    def content(self) -> Iterable[Widget]:
        """Everything a question may need; what it does not need is hidden."""
        yield QuestionPage(Menu(id="choices", classes="gap"))

    def ready(self) -> None:
        """The cover first, or the question where it was left."""
        self._show_cover() if self._on_cover else self._ask()

    def _show_cover(self) -> None:
        pack = self.taking.pack
        self.head.context = ""
        when = "after each answer" if pack.reveal == "at once" else "when you have finished"
        lines = [pack.introduction, f"{len(pack.items)} questions; the explanations come {when}.",
                 "Start with a low volume, with headphones above all. Nothing leaves this machine unless you send it.",
                 "Enter begins."]  # fmt: skip
        self.page.cover(pack.title or "A quiz", "\n\n".join(line for line in lines if line))
        self.query_one("#choices").display = False
        self.light(["wait"] * len(pack.items))
        self.refresh_bindings()

    # -- asking and telling

    def _ask(self, *, play: bool = True) -> None:
        taking = self.taking
        item, told = taking.item, taking.told(taking.at)
        self._on_cover, self._sure, self._playing = False, False, -1
        self.head.context = f"{taking.pack.title}, {taking.at + 1} of {len(taking.answers)}"
        menu = self.query_one("#choices", Menu)
        menu.display = not told
        if told:
            words, kind = self._verdict()
            self.page.tell(item.prompt, words, kind, item.explanation, item.evidence[:2])
        else:
            shown = item.heard if self.studio.trouble and not item.seen else item.seen
            self.page.ask(item.prompt, self._source(), item.heard, shown[:2])
            self._choices()
            menu.focus(scroll_visible=False)
        self._moved()
        if play and item.heard and not told:
            self.action_hear()

    def _choices(self) -> None:
        taking = self.taking
        given = taking.answers[taking.at]
        rows = [
            Row(str(n), c.text, "your answer" if n == given else "", key=str(n))
            for n, c in enumerate(taking.item.choices, start=1)
        ]
        self.query_one("#choices", Menu).show(rows, str(given) if given else 0)

    def _source(self) -> str:
        item = self.taking.item
        blind = bool(self.studio.trouble) and bool(item.heard) and not item.seen
        return source_words(
            item.source, "fresh music, made for this quiz", heard=bool(item.heard), seen=bool(item.seen), blind=blind
        )

    def _verdict(self) -> tuple[str, str]:
        taking, sign = self.taking, self.signs
        item, given = taking.item, taking.answers[taking.at]
        if taking.hit(taking.at):
            return f"{sign.right} Right: {item.right_text}", "hit"
        if not given:
            return f"{sign.wrong} Left open: it is {item.right_text}", "miss"
        said = item.choices[given - 1].text.partition(" (")[0]
        return f"{sign.wrong} Not this time: it is {item.right_text}; you said {said}", "miss"

    def _moved(self) -> None:
        self.light(lamps_of(self.taking))
        self.refresh_bindings()

    def _keep(self, taking: Taking, *, play: bool = True) -> None:
        """Keep where the viewer stands, then show it."""
        from tutor.studio import quizdesk

        if self._keeping:
            return
        self._keeping = True

        def then(seat: Seat) -> None:
            self._keeping = False
            self.seat = seat
            if taking.finished:
                self._finish()
            else:
                self._ask(play=play)

        self.work(lambda: quizdesk.keep(self.studio, self.seat, taking), then, failed=self._not_kept)

    def _not_kept(self) -> None:
        self._keeping = False

    def _finish(self) -> None:
        from tutor.tui.screens.quiz_taken import QuizTakenScreen

        app, taking = self.app, self.taking
        app.pop_screen()
        app.push_screen(QuizTakenScreen(taking))

    # -- keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Which keys work now."""
        if self._on_cover:
            return action in ("next", "back", "help")
        taking = self.taking
        told = taking.told(taking.at)
        rules = {
            "choose": not told,
            "hear": bool(taking.item.evidence if told else taking.item.heard or taking.item.seen),
            "step": not told and len(taking.item.heard) > 1,
            "undo": not told and bool(taking.answers[taking.at]),
        }
        return rules.get(action, True)

    def key_words(self, binding: Binding, named: tuple[str, str]) -> tuple[str, str] | None:
        """Names of keys that depend on the question."""
        if binding.action == "choose(1)":
            return f"1–{len(self.taking.item.choices)}", "answer"
        if binding.action == "next" and self._on_cover:
            return "Enter", "begin"
        if binding.action == "next" and not self.taking.told(self.taking.at):
            return None if not self.taking.answers[self.taking.at] else named
        return named

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """A line was chosen; the same line again goes on."""
        number = int(message.id)
        if number == self.taking.answers[self.taking.at]:
            self.action_next()
        else:
            self.action_choose(number)

    def action_choose(self, number: int) -> None:
        """Answer by number."""
        taking = self.taking
        if self._on_cover or number > len(taking.item.choices) or taking.told(taking.at):
            return
        self.hush()
        given = taking.give(number)
        late = taking.pack.reveal == "at the end"
        if late:
            last = given.next_open() is None
            self.say("Noted; you may change it until you hand in." + (" All are answered: f hands in." if last else ""))
        self._keep(given, play=False)

    def action_next(self) -> None:
        """The next open question; the end when there is none."""
        self.hush()
        if self._on_cover:
            self._ask()
            return
        self.say("")
        to = self.taking.next_open()
        if to is None:
            self.action_finish()
        else:
            self._keep(self.taking.go(to))

    def action_turn(self, by: int) -> None:
        """The question before or after."""
        to = self.taking.go(self.taking.at + by)
        if to.at != self.taking.at and not self._on_cover:
            self.hush()
            self.say("")
            self._keep(to)

    def action_undo(self) -> None:
        """Take the answer back."""
        self._keep(self.taking.give(0), play=False)
        self.say("Taken back: this question is open again.")

    def action_finish(self) -> None:
        """Hand in; asks once where questions are open."""
        left = len(self.taking.answers) - self.taking.answered
        if (left or self.taking.pack.reveal == "at the end") and not self._sure:
            self._sure = True
            open_ones = f"{left} {'question is' if left == 1 else 'questions are'} still open. " if left else ""
            self.say(f"{open_ones}Press f once more to hand in; after that nothing can be changed.")
            return
        self.hush()
        self._keep(self.taking.finish())

    # -- hearing

    def action_hear(self) -> None:
        """Hear the question; once it is told, hear the music that proves it."""
        item = self.taking.item
        told = self.taking.told(self.taking.at)
        excerpts = item.evidence[:1] if told else item.heard or item.seen
        self._playing = -1
        self.hear([e.phrase for e in excerpts], follow=self._follow)

    def action_step(self, by: int) -> None:
        """Hear one excerpt alone."""
        count = len(self.taking.item.heard)
        start = self._playing if self._playing >= 0 else (-1 if by > 0 else 0)
        self._hear_one((start + by) % count)

    def on_heard_again(self, message: Heard.Again) -> None:
        """An excerpt was clicked."""
        self._hear_one(message.index)

    def _hear_one(self, index: int) -> None:
        self._playing = index
        phrase = self.taking.item.heard[index].phrase
        self.hear([phrase], follow=lambda i, now: self._follow(index if i >= 0 else -1, now))

    def _follow(self, index: int, now: float | None) -> None:
        """Light what sounds."""
        item, told = self.taking.item, self.taking.told(self.taking.at)
        self.page.follow(item.evidence if told else item.heard or item.seen, index, now)
