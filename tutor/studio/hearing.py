"""What is known of the microphone, the room and the loudspeaker, and the measuring of it."""

from __future__ import annotations

import contextlib
import json
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

from tutor.studio.outlets import open_ear

if TYPE_CHECKING:
    from tutor.sound.calibrate import Room
    from tutor.sound.meter import Reading
    from tutor.sound.ports import Ear, Player, Samples
    from tutor.store.store import Store
    from tutor.studio import Studio

_SETTING = "hearing"
ROOM_S = 3.0
"""How long the quiet room is listened to, seconds."""
BEGINNING_S = 0.4
"""What is heard first is not measured: microphones click and settle when they are opened."""
LEAST_NOISE_DB = -70.0
"""A room is not taken for quieter than this, decibels below full scale; also stands where nothing was measured."""
LONGEST_S = 1.0
"""No measured delay beyond this is believed."""
UNSTEADY_S = 0.06
"""Tries further apart than this say that the delay changes from moment to moment."""
TOLD_S = 1 / 15
"""How often the meter is told of, seconds."""


@dataclass(frozen=True, slots=True)
class Hearing:
    """What was measured in Setup; each counts for the devices it was measured with."""

    noise_db: float | None = None
    """Level of the quiet room, decibels below full scale; None until measured."""
    late_s: float | None = None
    """What loudspeaker and microphone take longer than they say, seconds; None until measured."""
    headphones: bool = False
    """True once the singer has said that the microphone cannot hear what the program plays."""
    source: str = ""
    """The microphone, by its setting."""
    output: str = ""
    """The loudspeaker, by its setting."""


def hearing(store: Store) -> Hearing:
    """What is known of the devices that are chosen now."""
    known = Hearing()
    with contextlib.suppress(ValueError, TypeError, AttributeError):
        raw = json.loads(store.setting(_SETTING) or "{}")
        known = Hearing(
            noise_db=_within(raw.get("noise_db"), -120.0, 0.0),
            late_s=_within(raw.get("late_s"), 0.0, LONGEST_S),
            headphones=raw.get("headphones") is True,
            source=str(raw.get("source", "")),
            output=str(raw.get("output", "")),
        )
    source, output = store.setting("input"), store.setting("output")
    if known.source != source:
        known = replace(known, noise_db=None, late_s=None)
    if known.output != output:
        known = replace(known, late_s=None, headphones=False)
    return replace(known, source=source, output=output)


def _within(value: object, low: float, high: float) -> float | None:
    if not isinstance(value, int | float) or isinstance(value, bool):
        return None
    return float(value) if low <= value <= high else None


def keep(store: Store, known: Hearing) -> None:
    """Keep what was measured or said."""
    store.keep_setting(_SETTING, json.dumps(asdict(known)))


def noise_db(store: Store) -> float:
    """Level that singing is measured against, decibels below full scale."""
    known = hearing(store).noise_db
    return max(LEAST_NOISE_DB, known) if known is not None else LEAST_NOISE_DB


def apply(store: Store, player: Player) -> None:
    """Let the loudspeaker's clock, and so the cursor and the taps, go by what was measured.

    All of the delay is laid to the loudspeaker: wireless headphones take a fifth of a second, microphones hardly any.
    """
    if hasattr(player, "late_s"):
        player.late_s = hearing(store).late_s or 0.0


def ear_of(studio: Studio) -> Ear:
    """The microphone that is chosen.

    Raises:
        PortUnavailable: there is none, or permission was refused.
    """
    return studio.outlets.ear or open_ear(studio.store.setting("input"))


class Check:
    """One look at the microphone; each of its ways to measure blocks, so it runs in a worker.

    Args:
        studio: opens the devices.
        told: told of the level some fifteen times a second, from the measuring thread.
    """

    def __init__(self, studio: Studio, told: Callable[[Reading], None]) -> None:
        self._studio, self._told = studio, told
        self._ear: Ear | None = None
        self._over = threading.Event()

    @property
    def ended(self) -> bool:
        """Whether it was ended from outside."""
        return self._over.is_set()

    def end(self) -> None:
        """End it; safe to call twice and from another thread."""
        self._over.set()
        if self._ear is not None:
            self._ear.close()

    def watch(self) -> None:
        """Tell of the level until `end`.

        Raises:
            PortUnavailable: there is no microphone.
        """
        self._listen(None)

    def room(self) -> Room | None:
        """Measure the quiet room; None when it was ended early, or nothing came in.

        Raises:
            PortUnavailable: there is no microphone.
        """
        from tutor.sound.calibrate import noise_floor

        heard = self._listen(ROOM_S)
        return None if self.ended or heard is None else noise_floor(heard)

    def delay(self) -> tuple[float, str] | str:
        """Measure the delay from loudspeaker to microphone.

        Returns:
            Seconds, and a remark; or why it could not be measured.

        Raises:
            PortUnavailable: there is no microphone, or no loudspeaker.
        """
        from tutor.sound.calibrate import TimedEar, TimedPlayer, measure_delay

        player = self._studio.outlets.player
        if self._studio.outlets.player_trouble or not isinstance(player, TimedPlayer):
            return self._studio.outlets.player_trouble or "There is no loudspeaker to measure with."
        ear = self._ear = ear_of(self._studio)
        if not isinstance(ear, TimedEar):
            ear.close()
            return "This microphone keeps no time."
        found = measure_delay(player, ear, self._sleep)
        if self.ended:
            return ""
        if found is None:
            return (
                "The sound was not heard again. Turn the loudspeaker up a little, bring the microphone near it (or "
                "the headphones to the microphone), and choose the right microphone above."
            )
        if not -0.1 <= found.late_s <= LONGEST_S:
            return "What came back does not fit what was played. Look for devices again, then try once more."
        unsteady = found.spread_s > UNSTEADY_S
        return max(0.0, found.late_s), "It changes from moment to moment; a cable is steadier." if unsteady else ""

    def _sleep(self, seconds: float) -> None:
        if self._over.wait(seconds) and self._ear is not None:
            self._ear.close()

    def _listen(self, seconds: float | None) -> Samples | None:
        """Hear so many seconds, or until `end`; the beginning, in which devices click, is not kept."""
        import numpy as np

        from tutor.sound.meter import Meter
        from tutor.sound.ports import RATE

        meter = Meter(noise_db(self._studio.store))
        parts: list[Samples] = []
        heard = told = 0
        self._ear = ear_of(self._studio)
        try:
            for block in self._ear.listen():
                if self.ended:
                    break
                meter.feed(block.samples)
                heard += len(block.samples)
                if heard - told >= TOLD_S * RATE:
                    told = heard
                    self._told(meter.reading)
                if seconds is not None and heard > BEGINNING_S * RATE:
                    parts.append(block.samples)
                    if heard >= (BEGINNING_S + seconds) * RATE:
                        break
        finally:
            self._ear.close()
        return np.concatenate(parts) if parts else None
