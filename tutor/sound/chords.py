"""Keys pressed nearly together are one chord."""

from __future__ import annotations

from tutor.sound.ports import KeyEvent

WINDOW_S = 0.12
"""Keys pressed within this time of the one before belong together (a choice of ours: amateurs spread chords)."""


class Gatherer:
    """Gathers key events into chords. Pure: time comes with the events.

    Args:
        window_s: how long after a press another one still belongs to it.
    """

    def __init__(self, window_s: float = WINDOW_S) -> None:
        self._window_s = window_s
        self._pressed: list[int] = []
        self._last_s = 0.0
        self.held: set[int] = set()
        """Keys that are down now, for the picture of the keyboard."""

    def feed(self, event: KeyEvent) -> tuple[int, ...]:
        """Take in an event; give the chord that it shows to be over, else nothing."""
        done = self.poll(event.at_s)
        if event.velocity:
            self.held.add(event.midi)
            if event.midi not in self._pressed:
                self._pressed.append(event.midi)
            self._last_s = event.at_s
        else:
            self.held.discard(event.midi)
        return done

    def poll(self, now_s: float) -> tuple[int, ...]:
        """Give the chord once its time is over, in the order played; else nothing."""
        if not self._pressed or now_s - self._last_s <= self._window_s:
            return ()
        done, self._pressed = tuple(self._pressed), []
        return done
