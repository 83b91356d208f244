"""Taking a quiz: a pure state machine, question by question, until the sheet is handed in."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import Any

from tutor.errors import PackError
from tutor.quiz.pack import Pack, PackItem, dumps, loads
from tutor.quiz.sheet import Sheet


@dataclass(frozen=True, slots=True)
class Taking:
    """A quiz that is being answered."""

    pack: Pack
    mark: str
    """Eight random hexadecimal figures by which a sheet handed in twice is known."""
    answers: tuple[int, ...]
    """For each question the choice as shown, from 1; 0 for none."""
    at: int = 0
    """Index of the question before the viewer."""
    finished: bool = False

    @classmethod
    def begin(cls, pack: Pack, mark: str) -> Taking:
        """Sit down to a quiz."""
        return cls(pack, mark, (0,) * len(pack.items))

    @property
    def item(self) -> PackItem:
        """The question before the viewer."""
        return self.pack.items[self.at]

    @property
    def answered(self) -> int:
        """How many questions have an answer."""
        return sum(1 for a in self.answers if a)

    @property
    def right(self) -> int:
        """How many answers are right."""
        return sum(self.hit(i) for i in range(len(self.answers)))

    def hit(self, index: int) -> bool:
        """True where the answer is right."""
        item, answer = self.pack.items[index], self.answers[index]
        return bool(answer) and item.choices[answer - 1].label == item.right

    def told(self, index: int) -> bool:
        """True where the right answer may be shown."""
        return self.finished or (self.pack.reveal == "at once" and bool(self.answers[index]))

    def give(self, choice: int) -> Taking:
        """Answer the question before the viewer; an answer may be changed until the right one was told.

        Args:
            choice: number of the choice as shown, from 1; 0 takes the answer back.

        Raises:
            ValueError: there is no such choice, or the right answer was told already.
        """
        if not 0 <= choice <= len(self.item.choices):
            raise ValueError(f"the question has no choice {choice}")
        if self.told(self.at):
            raise ValueError("the right answer was told already")
        return replace(self, answers=(*self.answers[: self.at], choice, *self.answers[self.at + 1 :]))

    def go(self, to: int) -> Taking:
        """Turn to another question; beyond either end stays at the end."""
        return replace(self, at=max(0, min(len(self.answers) - 1, to)))

    def next_open(self) -> int | None:
        """Index of the next question without an answer, from here on and then from the beginning; None for none."""
        count = len(self.answers)
        return next((i % count for i in range(self.at + 1, self.at + 1 + count) if not self.answers[i % count]), None)

    def finish(self) -> Taking:
        """Hand in."""
        return replace(self, finished=True)

    def sheet(self, nickname: str = "") -> Sheet:
        """What is handed in."""
        return Sheet(self.pack.id, self.answers, self.mark, nickname)

    def to_json(self) -> dict[str, Any]:
        """A plain value for storing."""
        return {
            "quiz": dumps(self.pack), "mark": self.mark, "answers": list(self.answers), "at": self.at,
            "finished": self.finished,
        }  # fmt: skip

    @classmethod
    def from_json(cls, raw: dict[str, Any]) -> Taking:
        """Rebuild from `to_json`.

        Raises:
            PackError: it was kept in another shape.
        """
        try:
            pack, mark = loads(str(raw["quiz"])), str(raw["mark"])
            answers, at = tuple(int(a) for a in raw["answers"]), int(raw["at"])
            bytes.fromhex(mark)
        except (KeyError, TypeError, ValueError, json.JSONDecodeError):
            raise PackError("the quiz that was left cannot be taken up any more") from None
        fits = len(answers) == len(pack.items) and len(mark) == 8 and 0 <= at < len(answers)
        if not fits or any(not 0 <= a <= len(i.choices) for a, i in zip(answers, pack.items, strict=True)):
            raise PackError("the quiz that was left cannot be taken up any more")
        return cls(pack, mark, answers, at, bool(raw.get("finished")))
