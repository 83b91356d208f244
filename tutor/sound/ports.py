"""Ports: what the program asks of a loudspeaker, a microphone and a keyboard.

Tests, `--silent` and machines without devices use `tutor.sound.tape`; real devices live in
`tutor.sound.devices` and `tutor.sound.midi`. Times are seconds of the stream's own clock.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]

RATE = 48_000
"""Samples a second, everywhere."""


@dataclass(frozen=True, slots=True)
class Clip:
    """Rendered sound."""

    samples: Samples
    """Mono, shape (n,), within ±1."""
    rate: int = RATE
    """Samples a second."""

    @property
    def length_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.rate


class Playing(Protocol):
    """A clip being played."""

    @property
    def position_s(self) -> float:
        """Seconds of the clip already heard, by the stream's clock."""

    @property
    def finished(self) -> bool:
        """True once the clip has ended or was stopped."""

    def stop(self) -> None:
        """Silence it within one buffer, without a click."""


@runtime_checkable
class Player(Protocol):
    """A loudspeaker."""

    @property
    def name(self) -> str:
        """Device name for the user; 'no sound' for the tape."""

    def play(self, clip: Clip) -> Playing:
        """Start a clip at once, ending the one before it.

        Raises:
            PortUnavailable: the device is gone; one line says so.
        """

    def close(self) -> None:
        """Let the device go; safe to call twice."""


@dataclass(frozen=True, slots=True)
class Block:
    """What the microphone heard."""

    samples: Samples
    """Mono, shape (n,)."""
    at_s: float
    """Stream time of the first sample."""


@runtime_checkable
class Ear(Protocol):
    """A microphone."""

    @property
    def name(self) -> str:
        """Device name for the user."""

    def listen(self) -> Iterator[Block]:
        """Yield blocks until `close`; call from a worker thread.

        Raises:
            PortUnavailable: there is no input, or permission was refused.
        """

    def close(self) -> None:
        """Stop listening; safe to call twice and from another thread."""


@dataclass(frozen=True, slots=True)
class KeyEvent:
    """A key of a music keyboard."""

    midi: int
    """MIDI note number."""
    velocity: int
    """1 to 127 when pressed, 0 when released."""
    at_s: float
    """Seconds on the port's clock."""


@runtime_checkable
class Keys(Protocol):
    """A music keyboard."""

    @property
    def name(self) -> str:
        """Port name for the user."""

    def listen(self, heard: Callable[[KeyEvent], None]) -> None:
        """Call ``heard`` from the port's thread for every event, until `close`."""

    def close(self) -> None:
        """Let the port go; safe to call twice."""
