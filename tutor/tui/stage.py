"""What every screen shares: frame, help, notices, and hearing music without blocking."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import TYPE_CHECKING, ClassVar, TypeVar, cast

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.screen import Screen
from textual.widget import Widget
from textual.worker import Worker, get_current_worker

from tutor.errors import TutorError
from tutor.tui.look import Glyphs
from tutor.tui.widgets.frame import Foot, Head, Lamp, bindings_of, signs_of

if TYPE_CHECKING:
    from textual.events import Key

    from tutor.music.phrase import Line, Phrase
    from tutor.sound.ports import Playing
    from tutor.studio import Studio
    from tutor.tui.app import LarkstairApp
    from tutor.tui.widgets.path_field import PathField

T = TypeVar("T")
FAULT = "That failed inside the program; nothing is lost. Please report it"
TICK_S = 1 / 20
"""How often the pointer on a staff follows the sound."""


class _Turn:
    """One hearing of some phrases: it stops what it began itself, and nothing that others began after it."""

    def __init__(self) -> None:
        self._dropped = False
        self._playing: Playing | None = None

    def begin(self, start: Callable[[], Playing]) -> Playing:
        """Start something, from a worker thread; silent at once where the turn was dropped meanwhile."""
        playing = self._playing = start()
        if self._dropped:
            playing.stop()
        return playing

    def drop(self) -> None:
        """Stop."""
        self._dropped = True
        if self._playing is not None:
            self._playing.stop()


class Stage(Screen[None]):
    """A screen with a head, a foot, help, and a studio behind it."""

    NAME: ClassVar[str] = ""
    """Shown at the top."""
    HELP: ClassVar[str] = ""
    """What the screen is for, in plain words."""
    AUTO_FOCUS = "Menu, Input"

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "back", key_display="Esc"),
        Binding("question_mark", "help", "help", key_display="?"),
    ]

    def compose(self) -> ComposeResult:
        """Head, the screen's own content, foot."""
        yield Head(self.NAME)
        yield from self.content()
        yield Foot()

    def content(self) -> Iterable[Widget]:
        """The screen's own widgets."""
        return ()

    def on_mount(self) -> None:
        """Fill the screen as soon as the studio is there."""
        if self.house.has_studio:
            self.ready()

    def ready(self) -> None:
        """Called once the studio is there."""

    # -- shorthands

    @property
    def house(self) -> LarkstairApp:
        """The app, by its own type."""
        return cast("LarkstairApp", self.app)

    @property
    def studio(self) -> Studio:
        """The studio; only after `ready`."""
        return self.house.studio

    @property
    def signs(self) -> Glyphs:
        """The signs in use."""
        return signs_of(self)

    @property
    def head(self) -> Head:
        """The top line."""
        return self.query_one(Head)

    @property
    def foot(self) -> Foot:
        """The foot."""
        return self.query_one(Foot)

    def say(self, text: str, *, bad: bool = False) -> None:
        """Put one line above the footlights; it stays until the next."""
        foot = self.foot
        foot.bad, foot.notice = bad, text

    def on_path_field_fits(self, message: PathField.Fits) -> None:
        """Show how a path that is being typed may go on."""
        self.say(message.line)

    def light(self, lamps: Sequence[Lamp]) -> None:
        """Set the footlights."""
        self.foot.lamps = tuple(lamps)

    def work(
        self, make: Callable[[], T], then: Callable[[T], None], *, failed: Callable[[], None] | None = None
    ) -> Worker[None]:
        """Do something slow without blocking the screen.

        Args:
            make: what takes time; runs in a thread and touches no widget.
            then: gets its value, if the screen is still there.
            failed: called after the trouble was told in one line.
        """

        async def run() -> None:
            try:
                value = await asyncio.to_thread(make)
            except TutorError as error:
                if self.is_running:
                    self.say(error.line, bad=True)
                    if failed is not None:
                        failed()
                return
            except Exception as error:
                # A fault of the program in one task is told and does not take the session down; tests want it raised.
                if self.house.strict:
                    raise
                self.log.error(error)
                if self.is_running:
                    self.say(f"{FAULT} ({type(error).__name__}).", bad=True)
                    if failed is not None:
                        failed()
                return
            if self.is_running:
                then(value)

        return self.run_worker(run, group="work", exit_on_error=True)

    # -- hearing

    def hear(
        self,
        phrases: Sequence[Phrase],
        *,
        follow: Callable[[int, float | None], None] | None = None,
        after: Callable[[], None] | None = None,
        mute: Sequence[Line] = (),
        loop: bool = False,
        start_quarters: float = 0.0,
    ) -> Worker[None]:
        """Play phrases in turn; whatever sounded before stops.

        Args:
            phrases: what to play.
            follow: told which phrase sounds and where it is, in quarters; (-1, None) at the end.
            after: called when all were heard to the end.
            mute: lines left out.
            loop: begin again until something else is played.
            start_quarters: where in the first phrase to begin.
        """
        # A function and not a coroutine: a worker that is cancelled before it starts leaves nothing unawaited.
        work = partial(self._hear, tuple(phrases), follow, after, tuple(mute), loop, start_quarters)
        return self.run_worker(work, group="sound", exclusive=True, exit_on_error=False)

    async def _hear(
        self,
        phrases: tuple[Phrase, ...],
        follow: Callable[[int, float | None], None] | None,
        after: Callable[[], None] | None,
        mute: tuple[Line, ...],
        loop: bool,
        start_quarters: float,
    ) -> None:
        worker, turn = get_current_worker(), _Turn()
        try:
            while True:
                for i, phrase in enumerate(phrases):
                    await self._one(turn, i, phrase, follow, mute, start_quarters if i == 0 else 0.0)
                if not loop or worker.is_cancelled:
                    break
        except TutorError as error:
            self.say(error.line, bad=True)
        finally:
            turn.drop()
            if follow is not None and self.is_running:
                follow(-1, None)
        if after is not None and not worker.is_cancelled:
            after()

    async def _one(
        self,
        turn: _Turn,
        index: int,
        phrase: Phrase,
        follow: Callable[[int, float | None], None] | None,
        mute: tuple[Line, ...],
        start_quarters: float,
    ) -> None:
        from tutor.tui.cut import from_here

        shown = from_here(phrase, start_quarters) if start_quarters else phrase
        start = await asyncio.to_thread(self.studio.prepared, shown, mute=mute)
        playing = await asyncio.to_thread(turn.begin, start)
        while not playing.finished and not self.studio.lost:
            if follow is not None:
                follow(index, start_quarters + playing.position_s * phrase.bpm / 60)
            await asyncio.sleep(TICK_S)
        if self.studio.lost:
            self.say(self.studio.lost, bad=True)

    def hush(self) -> None:
        """Stop the sound."""
        self.workers.cancel_group(self, "sound")
        if self.house.has_studio:
            self.studio.stop()

    def on_screen_suspend(self) -> None:
        """Something lies above: pictures of staves make way for characters."""
        self._pictures_changed()

    def on_screen_resume(self) -> None:
        """In sight again."""
        self._pictures_changed()

    def _pictures_changed(self) -> None:
        if self.house.engraver is not None:
            for staff in self.query("Staff"):
                staff.refresh(layout=True)

    def on_unmount(self) -> None:
        """Leave in silence."""
        if self.house.has_studio:
            self.studio.stop()

    def key_comes(self, event: Key) -> bool:
        """A key was struck and goes to what has the focus when this returns, unless it is taken here: then True."""
        return False

    # -- actions every screen has

    def action_back(self) -> None:
        """Leave this screen; the first one stays."""
        self.hush()
        if len(self.app.screen_stack) > 1:
            self.dismiss(None)

    def action_help(self) -> None:
        """What this screen is for, and its keys."""
        from tutor.tui.screens.help import HelpScreen

        self.app.push_screen(HelpScreen(self.NAME or "Today", self.HELP, self.key_table()))

    def key_table(self) -> list[tuple[str, str]]:
        """Keys that work now, with what they do."""
        out: list[tuple[str, str]] = []
        for binding in bindings_of(self):
            row = (self.app.get_key_display(binding), binding.tooltip or binding.description)
            if row not in out:
                out.append(row)
        return out
