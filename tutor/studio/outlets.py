"""Opens the devices, and falls back to tape with one plain line where one cannot be had."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from tutor.errors import PortUnavailable
from tutor.sound.ports import Ear, Keys, Player
from tutor.sound.tape import TapePlayer

if TYPE_CHECKING:
    from tutor.sound.instrument import InstrumentPlayer


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

    return devices.open_ear(device or None)
