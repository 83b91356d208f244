"""Recording a take behind the screen: blocks from the microphone to live pitch, and at the end to a Take."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from tutor.music.take import Take, TrackPoint

if TYPE_CHECKING:
    from tutor.sound.ports import Block, Ear
    from tutor.studio import Studio

FRAMES = 30
"""How often a second the screen is told of new pitch."""
MOST_S = 60.0
"""A take longer than this ends by itself."""


class Recorder:
    """One take.

    Args:
        studio: opens the microphone.
        live: told of every stretch of pitch, from the recording thread.
    """

    def __init__(self, studio: Studio, live: Callable[[Sequence[TrackPoint]], None]) -> None:
        self._studio = studio
        self._live = live
        self._ear: Ear | None = None
        self._stopped = False

    def record(self) -> Take:
        """Listen until `stop`; blocks, so it runs in a worker.

        Raises:
            PortUnavailable: there is no microphone.
        """
        import numpy as np

        from tutor.sound.listen import LivePitch, take
        from tutor.sound.ports import RATE
        from tutor.studio import hearing

        noise_db = hearing.noise_db(self._studio.store)
        self._ear = hearing.ear_of(self._studio)
        pitch = LivePitch(noise_db=noise_db)
        blocks: list[Block] = []
        fresh: list[TrackPoint] = []
        heard = told = 0
        try:
            for block in self._ear.listen():
                blocks.append(block)
                heard += len(block.samples)
                fresh += pitch.feed(block)
                if heard - told >= RATE / FRAMES:
                    self._live(tuple(fresh))
                    fresh, told = [], heard
                if self._stopped or heard > MOST_S * RATE:
                    break
        finally:
            self._ear.close()
        self._live(tuple(fresh))
        samples = np.concatenate([b.samples for b in blocks]) if blocks else np.zeros(0, dtype=np.float32)
        return take(samples, noise_db=noise_db)

    def stop(self) -> None:
        """End the take."""
        self._stopped = True
        if self._ear is not None:
            self._ear.close()
