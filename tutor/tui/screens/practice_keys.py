"""The practice screen's help, keys, lamps and verdicts."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from math import ceil
from typing import TYPE_CHECKING, Literal, Protocol

from textual.binding import Binding, BindingType

from tutor.errors import TutorError
from tutor.tui.widgets.frame import Lamp

if TYPE_CHECKING:
    from tutor.practice.drill import Answer, Mark, Question
    from tutor.practice.schedule import Review
    from tutor.practice.session import Asked
    from tutor.tui.look import Glyphs
    from tutor.tui.screens.sound_file import Part

Phase = Literal["waiting", "asking", "judging", "answered"]

HELP = (
    "Listen, look, answer. Space lets you hear it again as often as you like; c gives a clue; 0 means "
    "“I don't know” and costs no more than a wrong answer. Where not everything fits, PgUp and PgDn scroll.\n\n"
    "After the answer you see what was right and why, with the telling notes marked. Compare it with what you "
    "answered (m). If you believe that the program is wrong, press d: the question is set aside and counts nowhere; "
    "where it was cut from a song you first see what the program read there, and can correct it. u takes your answer "
    "back.\n\n"
    "The lamps on the edge of the stage are the questions: ● right, ◐ partly right, × not right, ◆ this one, "
    "○ still to come, – set aside. You may leave at any moment; it all waits where you left it."
)
KEYS: list[BindingType] = [
    Binding("space", "space", "hear", key_display="Space", tooltip="hear it again; or tap"),
    Binding("1", "choose(1)", "answer", key_display="1–8", tooltip="answer with the number of a line"),
    *(Binding(str(n), f"choose({n})", show=False) for n in range(2, 9)),
    Binding("enter", "enter", "answer", key_display="Enter", tooltip="give the answer"),
    Binding("enter,n", "next", "next", key_display="Enter", tooltip="the next question"),
    Binding("c", "clue", "clue", tooltip="a hint"),
    Binding("0", "pass", "don't know", tooltip="I don't know: see the answer"),
    Binding("r", "record", "sing", tooltip="begin to sing; end the take"),
    Binding("m", "mine", "hear yours", tooltip="hear what you answered"),
    Binding("b", "both", "hear both", tooltip="hear what is right, then what you answered"),
    Binding("u", "undo", "undo", tooltip="take the last answer back"),
    Binding("d", "dispute", "dispute", tooltip="set the question aside; see and correct what was read"),
    Binding("w", "write", "write", tooltip="write the question or an answer as sound or MIDI"),
    Binding("comma", "step(-1)", "one by one", key_display=", .", tooltip="hear the excerpts one by one"),
    Binding("full_stop", "step(1)", "", show=False),
    Binding("backspace", "take_back", "take back", key_display="⌫", tooltip="take the last note or tap back"),
    Binding("k", "piano", "play instead", tooltip="play the notes instead of singing them"),
    Binding("escape", "back", "leave", key_display="Esc", tooltip="leave; the session waits here"),
]


class Sitting(Protocol):
    """What the screen tells of a session or a placement."""

    @property
    def reviews(self) -> tuple[Review, ...]:
        """The answers so far."""

    @property
    def planned(self) -> int:
        """Questions at most."""

    @property
    def over(self) -> bool:
        """True when nothing more is asked."""

    @property
    def ends_at(self) -> datetime | None:
        """When it is over by the clock; None where the questions are counted."""


class Desk(Protocol):
    """Where questions come from and answers go: the practice session, or a placement."""

    @property
    def session(self) -> Sitting | None:
        """How far it has come."""

    @property
    def current(self) -> Asked | None:
        """The question before the singer."""

    def answer(self, answer: Answer, seconds: float) -> Mark:
        """Judge an answer and keep it."""

    def undo(self) -> None:
        """Take the latest answer back."""

    def dispute(self) -> None:
        """Set the latest answer aside."""

    def prepare(self) -> None:
        """Make the next questions ahead."""


def lamps_of(session: Sitting, phase: Phase) -> list[Lamp]:
    """A lamp for each question of a session; by the clock only for those asked so far."""
    lamps: list[Lamp] = []
    for review in session.reviews:
        credit = review.credit
        lamps.append(
            "out" if review.withdrawn else "hit" if credit >= 1 - 1e-9 else "part" if credit >= 0.5 else "miss"
        )
    if not session.over and phase in ("asking", "judging"):
        lamps.append("now")
    if session.ends_at is not None:
        return lamps
    return lamps + ["wait"] * max(0, session.planned - len(lamps))


def place_of(session: Sitting, now: datetime) -> str:
    """Where a session stands: '4 of 10', or by the clock 'question 4, 3 minutes left'."""
    number = len(session.reviews) + 1
    if session.ends_at is None:
        return f"{number} of {session.planned}"
    left = ceil((session.ends_at - now).total_seconds() / 60)
    words = "the last minute" if left < 2 else f"{left} minutes left"
    return f"question {number}, {words}"


def verdict_of(mark: Mark, question: Question | None, sign: Glyphs) -> tuple[str, str]:
    """The verdict in words with its sign, and the style it is told in."""
    if mark.correct:
        return f"{sign.right} Right: {mark.right}", "hit"
    given = _given(mark, question)
    if mark.credit >= 0.5:
        return f"{sign.part} Nearly: {_short(mark.right)}{given}", "lamp"
    if not mark.answered and not mark.credit and len(mark.evidence) < 2:
        return f"{sign.wrong} The answer is: {mark.right}", "miss"
    return f"{sign.wrong} Not this time: {_short(mark.right)}{given}", "miss"


def _given(mark: Mark, question: Question | None) -> str:
    if question is None or question.ask != "choice" or not mark.answered:
        return ""
    text = next((c.text for c in question.choices if c.label == mark.answered), mark.answered)
    return f"; you said {_short(text)}"


def _short(text: str) -> str:
    """An answer without its gloss, which the explanation gives in full."""
    return re.split(r": | \(", text)[0]


def parts_of(question: Question, mark: Mark, name: str) -> list[Part]:
    """What of an answered question can be written as sound.

    Args:
        question: the question.
        mark: the verdict on its answer.
        name: what the file is called after where the question names no passage.
    """
    from tutor.tui.screens.sound_file import part

    music = [("The question", tuple(question.heard or question.seen))]
    music += [(title, (e,)) for title, e in zip(("What is right", "What you answered"), mark.evidence, strict=False)]
    source = "" if question.source == "fresh" else question.source
    of = source or name
    return [
        part(title, source, f"{of} {title.split()[-1]}", [e.phrase for e in excerpts])
        for title, excerpts in music
        if any(e.phrase.tones for e in excerpts)
    ]


def mendable(step: Callable[[], None]) -> None:
    """Take a step of the session; what cannot be done is told in one line.

    Raises:
        TutorError: the session refuses it.
    """
    try:
        step()
    except ValueError as error:
        raise TutorError(str(error)) from error
