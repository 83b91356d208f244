"""What a loudspeaker or a microphone of the system is called, and how its trouble is told."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import Literal

from tutor.errors import PortUnavailable, plain

Way = Literal["portaudio", "miniaudio"]
Kind = Literal["output", "input"]

PORTAUDIO_REMEDY = (
    "Install the package libportaudio2 (sudo apt install libportaudio2) and check that a sound server runs"
    if sys.platform.startswith("linux")
    else "Install Larkstair again"
)
"""What to do when no sound library is there."""

WORD: dict[str, str] = {"output": "sound output", "input": "microphone"}
"""What each kind is called."""


@dataclass(frozen=True, slots=True)
class Device:
    """A loudspeaker or a microphone as the system lists it."""

    name: str
    """Name to show and to pass to `open_player` or `open_ear`."""
    index: int
    """Number in the list of its library."""
    way: Way
    """Which library reaches it."""
    default: bool = False
    """True for the one the system uses when nothing is chosen."""


def chosen(kind: Kind, wanted: str | int | None, rows: tuple[Device, ...]) -> Device | None:
    """The wanted device; None for the system's own choice."""
    if not rows:
        raise PortUnavailable(f"There is no {WORD[kind]} on this machine", remedy=_remedy(kind))
    if wanted is None or wanted == "":
        return None
    match = [r for r in rows if wanted in (r.index, r.name)]
    match = match or [r for r in rows if isinstance(wanted, str) and wanted.casefold() in r.name.casefold()]
    if not match:
        raise PortUnavailable(
            f"There is no {WORD[kind]} called '{wanted}'", remedy="Choose one in Setup, or leave the choice empty"
        )
    return match[0]


def refused(kind: Kind, name: str, error: Exception | None) -> PortUnavailable:
    """The one line about a device that the library did not open."""
    said = plain(str(error)).lower()
    if "unavailable" in said or "busy" in said:
        return PortUnavailable(
            f"The {WORD[kind]} '{name}' is busy", remedy="Close the program that is using it, then try again"
        )
    return PortUnavailable(f"The {WORD[kind]} '{name}' cannot be opened", remedy=_remedy(kind))


def _remedy(kind: Kind) -> str:
    if kind == "output":
        return "Connect loudspeakers or headphones; on Linux also check that a sound server runs"
    if sys.platform == "darwin":
        return "Connect one, and allow this terminal to use it in System Settings, Privacy & Security, Microphone"
    if sys.platform == "win32":
        return "Connect one, and allow desktop apps to use it in Settings, Privacy, Microphone"
    return "Connect one; also check that a sound server runs and has an input"
