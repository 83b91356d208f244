"""Opens the devices, and falls back to tape with one plain line where one cannot be had."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from tutor.errors import PortUnavailable
from tutor.sound.ports import Ear, Keys, Player
from tutor.sound.tape import TapePlayer

if TYPE_CHECKING:
    from tutor.sound.instrument import InstrumentPlayer

T = TypeVar("T")


@dataclass(slots=True)
class Outlets:
    """The devices in use."""

    player: Player
    ear: Ear | None = None
    keys: Keys | None = None
    player_trouble: str = ""
    """Why nothing is heard; empty when sound is on."""
    ear_trouble: str = ""
    """Why nothing is listened to; empty until asked or when all is well."""
    keys_trouble: str = ""
    """Why no music keyboard answers."""
    instrument: InstrumentPlayer | None = None
    """A MIDI instrument that plays in place of the loudspeaker; None when sound comes from the loudspeaker."""
    instrument_trouble: str = ""
    """Why the instrument chosen in Setup does not play."""
    looked_s: float = -1e9
    """When a missing loudspeaker was last looked for, on the machine's steady clock."""

    def close(self) -> None:
        """Let every device go."""
        for port in (self.instrument, self.player, self.ear, self.keys):
            if port is not None:
                port.close()


def silent(why: str = "") -> Outlets:
    """Tape in place of every device."""
    return Outlets(TapePlayer(keep=1) if why else TapePlayer(), player_trouble=why)


def open_outlets(*, output: str = "", keyboard: str = "", instrument: str = "") -> Outlets:
    """Open the loudspeaker and the music keyboard; slow, call from a worker. The microphone opens on demand.

    Args:
        output: name of the output chosen in Setup; empty for the system's.
        keyboard: name of the MIDI input chosen in Setup; empty for the first.
        instrument: name of the MIDI output chosen in Setup; empty to play through the loudspeaker.
    """
    from tutor.sound import devices, midi

    try:
        outlets = Outlets(devices.open_player(output or None))
    except PortUnavailable as error:
        outlets = silent(error.line)
    try:
        outlets.keys = midi.open_keys(keyboard or None)
    except PortUnavailable as error:
        outlets.keys_trouble = error.line
    if instrument:
        try:
            outlets.instrument = open_instrument(instrument)
        except PortUnavailable as error:
            outlets.instrument_trouble = error.line
    return outlets


LOOK_EVERY_S = 2.0
"""A loudspeaker that was not there is looked for no more often than this."""


def renew(outlets: Outlets, output: str = "") -> bool:
    """Look again for a loudspeaker that was not there; slow. Whether it has come.

    Args:
        outlets: gets the loudspeaker in place of the tape, or the new reason why there is none.
        output: name of the output chosen in Setup; empty for the system's.
    """
    from tutor.sound import devices

    now_s = time.monotonic()
    if now_s - outlets.looked_s < LOOK_EVERY_S:
        return False
    outlets.looked_s = now_s
    try:
        found = _with_a_second_look(lambda: devices.open_player(output or None))
    except PortUnavailable as error:
        outlets.player_trouble = error.line
        return False
    outlets.player.close()
    outlets.player, outlets.player_trouble = found, ""
    return True


def open_instrument(name: str) -> InstrumentPlayer:
    """Open a MIDI instrument by the name chosen in Setup.

    Raises:
        PortUnavailable: there is no MIDI, or no such instrument now.
    """
    from tutor.sound import midi
    from tutor.sound.instrument import InstrumentPlayer

    return InstrumentPlayer(midi.open_instrument(name))


def open_ear(device: str = "") -> Ear:
    """Open the microphone.

    Args:
        device: name of the input chosen in Setup; empty for the system's.

    Raises:
        PortUnavailable: there is none, or permission was refused.
    """
    from tutor.sound import devices

    return _with_a_second_look(lambda: devices.open_ear(device or None))


def _with_a_second_look(make: Callable[[], T]) -> T:
    """Open a device; where that fails, once more after the system has listed its devices anew."""
    from tutor.sound import devices

    try:
        return make()
    except PortUnavailable:
        if not devices.look_again():
            raise
        return make()
