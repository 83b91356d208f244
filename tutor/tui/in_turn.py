"""Keys one after another: each waits until the one before it, and the screen that this opened, have settled.

Textual hands a key to what has the focus at once, before earlier keys have been dealt with. In a burst (fast typing, a
slow line, a path dropped onto the terminal) letters meant for a screen or a field that a key before them opens would
be lost with what had the focus until then.
"""

from __future__ import annotations

from collections import deque
from typing import TypeVar

from textual import events
from textual.app import App
from textual.message import Message
from textual.message_pump import MessagePump
from textual.screen import Screen

_Result = TypeVar("_Result")

OVERDUE_S = 0.5
"""Seconds after which a key is taken for settled whatever became of it: its widget may be gone."""
_MOVES = frozenset({"up", "down", "left", "right", "pageup", "pagedown", "home", "end"})
"""Held down, these repeat faster than a slow terminal paints: a repeat waits for nothing but its own turn."""
_ROUNDS = 2
"""A key's widget may answer with a message of its own, such as what was chosen: the second round follows that."""


class KeyPassed(Message):
    """Follows a key on its way from widget to widget up to the app."""

    def __init__(self, turn: int, rounds: int, target: MessagePump, before: Screen[object]) -> None:
        super().__init__()
        self.turn, self.rounds, self.target, self.before = turn, rounds, target, before


class InTurnApp(App[_Result]):
    """An app that deals with one key, or one pasted text, after another."""

    def __init__(self) -> None:
        super().__init__()
        self._waiting: deque[events.Key | events.Paste] = deque()
        self._turn = 0
        """Number of the key that is under way."""
        self._under_way = False
        self._last = ""
        """The key that had its turn last."""

    def key_comes(self, event: events.Key) -> bool:
        """It is a key's turn: it goes to what has the focus when this returns, unless it is taken here: then True."""
        return False

    async def on_event(self, event: events.Event) -> None:
        """Let keys and pasted texts wait for their turn."""
        if not isinstance(event, events.Key | events.Paste) or event.is_forwarded:
            await super().on_event(event)
            return
        key = event.key if isinstance(event, events.Key) else ""
        if self._under_way and not self._waiting and key == self._last and key in _MOVES:
            await self._hand_over(event)
            return
        self._waiting.append(event)
        if not self._under_way:
            await self._next()
        elif len(self._waiting) == 1:
            self._watch()

    async def _next(self) -> None:
        while self._waiting and not self._under_way:
            await self._hand_over(self._waiting.popleft())

    async def _hand_over(self, event: events.Key | events.Paste) -> None:
        """It is the turn of a key."""
        screen: Screen[object] = self.screen
        self._last = event.key if isinstance(event, events.Key) else ""
        if isinstance(event, events.Key) and self.key_comes(event):
            return
        target: MessagePump = self.focused or screen
        self._turn += 1
        self._under_way = True
        if self._waiting:
            self._watch()
        await super().on_event(event)
        self._follow(self._turn, _ROUNDS if event.is_forwarded else 0, target, screen)

    def _watch(self) -> None:
        self.set_timer(OVERDUE_S, lambda turn=self._turn: self._settled(turn))

    def _follow(self, turn: int, rounds: int, target: MessagePump, before: Screen[object]) -> None:
        """Send word after the key; then wait for what was asked for later, such as the focus, and for a new screen."""

        def opened() -> None:
            if self.screen is before or not self.screen.call_after_refresh(self._settled, turn):
                self._settled(turn)

        if not (rounds and target.post_message(KeyPassed(turn, rounds, target, before))):
            self.call_later(opened)

    def on_key_passed(self, message: KeyPassed) -> None:
        """A key has been dealt with on every level up to this one."""
        message.stop()
        self._follow(message.turn, message.rounds - 1, message.target, message.before)

    def _settled(self, turn: int) -> None:
        if self._under_way and turn == self._turn:
            self._under_way = False
            self.call_later(self._next)
