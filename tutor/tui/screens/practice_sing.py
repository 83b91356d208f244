"""The part of the practice screen that takes a sung answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tutor.practice.drill import Answer, Ask, Question
from tutor.tui.singing import Recorder
from tutor.tui.stage import Stage
from tutor.tui.widgets.pitch_meter import PitchMeter
from tutor.warmup.words import count

if TYPE_CHECKING:
    from tutor.music.take import Take


class Singing(Stage):
    """Records a take, or lets the notes be played instead."""

    def __init__(self) -> None:
        super().__init__()
        self.mode: Ask = "choice"
        self.question: Question | None = None
        self.recorder: Recorder | None = None
        self.taken: Take | None = None

    def give(self, answer: Answer) -> None:
        """Judge an answer."""
        raise NotImplementedError

    def show_mode(self) -> None:
        """Show the widget that takes the answer."""
        raise NotImplementedError

    def end_take(self) -> None:
        """Stop listening, if it listens."""
        if self.recorder is not None:
            self.recorder.stop()

    def action_record(self) -> None:
        """Begin to sing, or end the take."""
        if self.recorder is not None:
            self.recorder.stop()
            return
        self.hush()
        meter = self.query_one(PitchMeter)
        recorder = Recorder(self.studio, lambda points: self.app.call_from_thread(meter.feed, points))
        self.recorder = recorder
        meter.state = "listening; r ends the take"
        self.work(recorder.record, self._recorded, failed=self._no_ear)

    def _recorded(self, take: Take) -> None:
        self.recorder, self.taken = None, take
        words = take.problem or f"{count(len(take.notes), 'note')} heard; Enter gives them as the answer, r sings again"
        self.query_one(PitchMeter).state = words

    def _no_ear(self) -> None:
        self.recorder = None
        if self.question and "notes" in self.question.also:
            self.action_piano()

    def submit_take(self) -> None:
        """Give what was sung as the answer."""
        if self.taken is not None and not self.taken.problem:
            self.give(Answer(take=self.taken))

    def action_piano(self) -> None:
        """Play the notes instead of singing them."""
        self.end_take()
        self.mode = "notes"
        self.show_mode()
        self.refresh_bindings()
