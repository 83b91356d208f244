"""One screen for every drill: the question, the answer in whatever form it takes, and why it is so."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Static

from tutor.practice.drill import Answer, Mark
from tutor.tui.cut import one_tone
from tutor.tui.screens.practice_keys import (
    HELP,
    KEYS,
    Desk,
    Phase,
    lamps_of,
    mendable,
    parts_of,
    place_of,
    verdict_of,
)  # fmt: skip
from tutor.tui.screens.practice_sing import Singing
from tutor.tui.widgets.heard import Heard
from tutor.tui.widgets.menu import Menu, Row
from tutor.tui.widgets.piano import Piano
from tutor.tui.widgets.pitch_meter import PitchMeter
from tutor.tui.widgets.question import QuestionPage, source_words
from tutor.tui.widgets.tapper import Tapper

if TYPE_CHECKING:
    from tutor.sound.ports import KeyEvent


class PracticeScreen(Singing):
    """Asks, listens, explains; the session is already open."""

    NAME = "Practice"
    HELP = HELP
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = KEYS

    def __init__(self) -> None:
        super().__init__()
        self.phase: Phase = "waiting"
        self.mark: Mark | None = None
        self._asked_at: datetime | None = None
        self._playing = -1
        self._blind = False
        self._song_id = ""
        """The song that the question was cut from; empty for fresh material."""

    @property
    def desk(self) -> Desk:
        """Where questions come from and answers go."""
        return self.studio.rehearsal

    def content(self) -> Iterable[Widget]:
        """Everything a question may need; what it does not need is hidden."""
        yield QuestionPage(
            Menu(id="choices", classes="gap"), Piano(id="piano", classes="gap"), Tapper(id="tapper", classes="gap"),
            PitchMeter(id="meter"), Static(id="clue", classes="quiet hidden", markup=False),
        )  # fmt: skip

    @property
    def page(self) -> QuestionPage:
        """The question."""
        return self.query_one(QuestionPage)

    def ready(self) -> None:
        """Ask the first question."""
        self._ask()

    # -- asking

    def _ask(self) -> None:
        session, asked = self.desk.session, self.desk.current
        if session is None or asked is None:
            self.finish()
            return
        question = asked.question
        self.phase, self.question, self.mark, self.taken = "asking", question, None, None
        self.mode, self._song_id = question.ask, asked.item.song_id
        self._blind = bool(self.studio.trouble) and not question.seen
        self.head.context = f"{asked.drill.title}, {place_of(session, self.studio.clock())}"
        source = source_words(
            question.source, "fresh music, made for this question", heard=bool(question.heard),
            seen=bool(question.seen), blind=self._blind,
        )  # fmt: skip
        self.page.ask(question.prompt, source, question.heard, question.heard if self._blind else question.seen)
        self.query_one("#clue").add_class("hidden")
        self.show_mode()
        self._asked_at = self.studio.clock()
        self._moved()
        if question.heard and self.mode != "marks":
            self.action_space()

    def show_mode(self) -> None:
        """Show the widget that takes the answer, and give it the keys."""
        question = self.question
        assert question is not None
        menu, piano = self.query_one("#choices", Menu), self.query_one(Piano)
        tapper, meter = self.query_one(Tapper), self.query_one(PitchMeter)
        menu.display, piano.display = self.mode == "choice", self.mode == "notes"
        tapper.display, meter.display = self.mode == "marks", self.mode == "take"
        music = [e.phrase for e in (*question.heard, *question.seen)]
        fifths = music[0].fifths if music else 0
        self.set_focus(None)
        if self.mode == "choice":
            menu.show([Row(c.label, c.text, key=str(i)) for i, c in enumerate(question.choices, 1)])
            menu.focus(scroll_visible=False)
        elif self.mode == "notes":
            sung = [t.midi for p in music for t in p.tones if t.line != "click"]
            octave = max(2, min(5, (sum(sung) // len(sung)) // 12 - 1)) if sung else 4
            piano.begin(wanted=question.notes_wanted, in_order=question.in_order, octave=octave, fifths=fifths)
            piano.focus(scroll_visible=False)
        elif self.mode == "marks":
            tapper.begin(music[0].length_quarters if music else 1.0)
        else:
            singer = self.studio.singer
            meter.begin((singer.low_midi + singer.high_midi) // 2)
            meter.state = "r begins; sing; r ends. k plays the notes instead."

    def _follow(self, index: int, now: float | None) -> None:
        """Light what sounds."""
        question, mark = self.question, self.mark
        if self.phase == "answered":
            self.page.follow(mark.evidence[self._playing :] if mark else (), index, now)
        elif question is not None:
            self.page.follow(question.heard, index, now)
            if self.mode == "marks":
                self.query_one(Tapper).now = now if index >= 0 else None

    # -- answering

    def on_menu_chosen(self, message: Menu.Chosen) -> None:
        """A line was chosen."""
        if self.phase == "asking" and self.mode == "choice":
            self.give(Answer(choice=message.id))

    def on_piano_played(self, message: Piano.Played) -> None:
        """Let the key sound."""
        self.query_one(Piano).refresh()
        self.hear([one_tone(message.midi)])

    def key_heard(self, event: KeyEvent) -> None:
        """A key of the music keyboard."""
        if event.velocity and self.phase == "asking" and self.mode == "notes":
            self.query_one(Piano).press(event.midi)

    def give(self, answer: Answer) -> None:
        """Judge an answer; it is kept before the verdict is shown."""
        if self.phase != "asking":
            return
        self.phase = "judging"
        self.hush()
        at = self.studio.clock()
        seconds = (at - self._asked_at).total_seconds() if self._asked_at else 0.0
        desk = self.desk
        self.work(lambda: desk.answer(answer, max(0.0, seconds)), self._judged, failed=self._not_kept)

    def _not_kept(self) -> None:
        self.phase = "asking"
        self._moved()

    def _judged(self, mark: Mark) -> None:
        self.phase, self.mark = "answered", mark
        self.say("")
        self._explain(mark)
        self._moved()
        self.work(self.desk.prepare, lambda _none: None)

    def _explain(self, mark: Mark) -> None:
        words, kind = verdict_of(mark, self.question, self.signs)
        for name in ("choices", "piano", "tapper", "meter"):
            self.query_one(f"#{name}").display = False
        self.query_one("#clue").add_class("hidden")
        prompt = self.question.prompt if self.question else ""
        self.page.tell(prompt, words, kind, mark.explanation, mark.evidence)

    def _moved(self) -> None:
        session = self.desk.session
        if session is not None:
            self.light(lamps_of(session, self.phase))
        self.refresh_bindings()

    def finish(self) -> None:
        """What comes after the last question."""
        from tutor.tui.screens.finished import FinishedScreen

        session = self.studio.rehearsal.session
        app = self.app
        app.pop_screen()
        if session is not None:
            app.push_screen(FinishedScreen(session))

    # -- keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Which keys work now."""
        question, mark, asking = self.question, self.mark, self.phase == "asking"
        if action in ("help", "back", "nothing"):
            return True
        if question is None:
            return False
        rules = {
            "choose": asking and self.mode == "choice",
            "record": asking and self.mode == "take",
            "piano": asking and self.mode == "take" and "notes" in question.also,
            "take_back": asking and self.mode in ("notes", "marks"),
            "clue": asking and bool(question.hint),
            "pass": asking,
            "step": asking and len(question.heard) > 1,
            "enter": asking and self.mode != "choice",
            "space": bool(question.heard) if asking else bool(mark and mark.evidence),
            "mine": bool(mark and len(mark.evidence) > 1),
            "both": bool(mark and len(mark.evidence) > 1),
            "undo": not asking or bool(self.desk.session and self.desk.session.reviews),
            "dispute": self.phase == "answered",
            "next": self.phase == "answered",
            "write": bool(mark and question.heard + question.seen),
        }
        return rules.get(action, True)

    def key_words(self, binding: Binding, named: tuple[str, str]) -> tuple[str, str] | None:
        """Names of keys that depend on the question."""
        if binding.action == "choose(1)" and self.question:
            return f"1–{len(self.question.choices)}", "answer"
        if binding.action == "space" and self.phase == "asking" and self.mode == "marks":
            return "Space", "tap" if self.query_one(Tapper).now is not None else "start the music"
        if binding.action == "space" and self.phase == "asking":
            return "Space", "hear again"
        return named

    def action_space(self) -> None:
        """Hear it (again); in a tapping question, tap."""
        question = self.question
        if question is None:
            return
        if self.phase == "answered":
            if self.mark and self.mark.evidence:
                self._hear_evidence(0, 1)
        elif self.mode == "marks" and self.query_one(Tapper).tap():
            return
        else:
            if self.mode == "marks":
                self.query_one(Tapper).begin(question.heard[0].phrase.length_quarters)
            self.hear([e.phrase for e in question.heard], follow=self._follow)

    def action_step(self, by: int) -> None:
        """Hear one excerpt alone."""
        question = self.question
        if question is None or not question.heard:
            return
        index = (max(self._playing, 0 if by > 0 and self._playing >= 0 else -by - 1 + by) + by) % len(question.heard)
        self._hear_one(index)

    def on_heard_again(self, message: Heard.Again) -> None:
        """An excerpt was clicked."""
        if self.phase == "asking":
            self._hear_one(message.index)

    def _hear_one(self, index: int) -> None:
        assert self.question is not None
        self._playing = index
        phrase = self.question.heard[index].phrase
        self.hear([phrase], follow=lambda i, now: self._follow(index if i >= 0 else -1, now))

    def _hear_evidence(self, first: int, last: int) -> None:
        assert self.mark is not None
        self._playing = first
        self.hear([e.phrase for e in self.mark.evidence[first:last]], follow=self._follow)

    def action_mine(self) -> None:
        """Hear what was answered."""
        self._hear_evidence(1, 2)

    def action_both(self) -> None:
        """Hear what is right, then what was answered."""
        self._hear_evidence(0, 2)

    def action_write(self) -> None:
        """Write the question or an answer to it as sound."""
        from tutor.tui.screens.sound_file import SoundFileScreen

        if self.question and self.mark:
            self.hush()
            parts = parts_of(self.question, self.mark, self.head.context.split(",")[0])
            self.app.push_screen(SoundFileScreen(parts, self.head.context))

    def action_choose(self, number: int) -> None:
        """Answer by number."""
        if self.question and number <= len(self.question.choices):
            self.give(Answer(choice=self.question.choices[number - 1].label))

    def action_enter(self) -> None:
        """Give the answer."""
        if self.mode == "notes" and self.query_one(Piano).notes:
            self.give(Answer(notes=self.query_one(Piano).notes))
        elif self.mode == "marks" and self.query_one(Tapper).marks:
            self.give(Answer(marks=self.query_one(Tapper).marks))
        elif self.mode == "take":
            self.submit_take()

    def action_next(self) -> None:
        """The next question."""
        self.hush()
        self.say("")
        self._ask()

    def action_pass(self) -> None:
        """I don't know."""
        self.give(Answer())

    def action_clue(self) -> None:
        """One line of help."""
        clue = self.query_one("#clue", Static)
        clue.update(f"Clue: {self.question.hint}" if self.question else "")
        clue.remove_class("hidden")
        clue.scroll_visible(animate=False)

    def action_take_back(self) -> None:
        """Take the last note or tap back."""
        (self.query_one(Piano) if self.mode == "notes" else self.query_one(Tapper)).take_back()

    def action_undo(self) -> None:
        """Take the last answer back and ask that question again."""
        self.hush()
        self.work(lambda: mendable(self.desk.undo), lambda _none: self._undone())

    def _undone(self) -> None:
        self._ask()
        self.say("Your last answer is taken back; here is the question again.")

    def action_dispute(self) -> None:
        """Set the question aside; where it was cut from a song, show what was read there first."""
        self.hush()
        song = self.studio.library.get(self._song_id) if self._song_id else None
        if song is None or self.question is None:
            self._set_aside("Set aside: this question counts nowhere.")
            return
        from tutor.tui.screens.dispute import DisputeScreen

        self.app.push_screen(DisputeScreen(song, self.question.source, self._set_aside))

    def _set_aside(self, said: str) -> None:
        self.work(lambda: mendable(self.desk.dispute), lambda _none: self._disputed(said))

    def _disputed(self, said: str) -> None:
        self.say(f"{said} Enter goes on.")
        self._moved()

    def action_back(self) -> None:
        """Leave; the session waits."""
        self.end_take()
        super().action_back()
