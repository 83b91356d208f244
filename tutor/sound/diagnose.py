"""A printed diagnosis of loudspeaker, microphone and MIDI, each with what to do about it."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from tutor.errors import PortUnavailable
from tutor.sound import devices, fluid, midi
from tutor.sound.calibrate import noise_floor
from tutor.sound.ports import RATE, Ear, Samples
from tutor.sound.soundfont import find_soundfonts

Verdict = Literal["works", "missing", "note"]


@dataclass(frozen=True, slots=True)
class Line:
    """One finding."""

    what: str
    """'Sound output', 'Microphone', 'MIDI keyboard'…"""
    verdict: Verdict
    """'works', 'missing' (cannot be used now), 'note' (works, with a remark)."""
    text: str
    """What was found, one sentence."""
    remedy: str = ""
    """What to do, one sentence; empty when nothing needs doing."""


def diagnose(
    output: str | int | None = None, source: str | int | None = None, *, listen_s: float = 0.5
) -> tuple[Line, ...]:
    """Look at everything that sounds or listens.

    Args:
        output: the sound output chosen in Setup; None for the system's own.
        source: the microphone chosen in Setup; None for the system's own.
        listen_s: how long to listen to the microphone, seconds.

    Returns:
        One line a finding; never raises for a missing device.
    """
    checks: tuple[Callable[[], Line], ...] = (
        lambda: _output(output),
        lambda: _microphone(source, listen_s),
        _soundfont,
        _files,
    )
    sound, microphone, *rest = (check() for check in checks)
    return (sound, microphone, *_midi(), *rest)


def _output(device: str | int | None) -> Line:
    try:
        player = devices.open_player(device)
    except PortUnavailable as error:
        return Line("Sound output", "missing", error.what + ".", error.remedy + ".")
    try:
        found = ", ".join(d.name for d in devices.list_outputs())
        text = f"'{player.name}' opens ({1000 * player.latency_s:.0f} ms to the ear). Found: {found}."
        return Line("Sound output", "works", text)
    finally:
        player.close()


def _microphone(device: str | int | None, listen_s: float) -> Line:
    try:
        ear = devices.open_ear(device)
    except PortUnavailable as error:
        return Line("Microphone", "missing", error.what + ".", error.remedy + ".")
    try:
        room = noise_floor(_heard(ear, listen_s))
        names = ", ".join(d.name for d in devices.list_inputs())
        text = f"'{ear.name}' opens, level of the room {room.noise_db:.0f} dB. {room.words} Found: {names}."
        return Line("Microphone", "note" if room.noise_db > -50 or room.noise_db <= -119 else "works", text)
    except PortUnavailable as error:
        return Line("Microphone", "missing", error.what + ".", error.remedy + ".")
    finally:
        ear.close()


def _heard(ear: Ear, seconds: float) -> Samples:
    import threading

    import numpy as np

    stop = threading.Timer(seconds + 1.5, ear.close)
    stop.daemon = True
    stop.start()
    parts: list[Samples] = []
    for block in ear.listen():
        parts.append(block.samples)
        if sum(map(len, parts)) >= seconds * RATE:
            break
    stop.cancel()
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.float32)


def _midi() -> tuple[Line, Line]:
    try:
        ports = midi.probe()
    except PortUnavailable as error:
        remedy = f"{error.remedy}. The computer keyboard plays notes too."
        return Line("MIDI keyboard", "missing", error.what + ".", remedy), Line(
            "MIDI instrument", "note", "None can be used; sound comes from the sound output."
        )
    keys = Line("MIDI keyboard", "note", "None is connected now; one is noticed when you plug it in.")
    if ports.inputs:
        keys = Line("MIDI keyboard", "works", f"Found: {', '.join(ports.inputs)}.")
    instrument = Line("MIDI instrument", "note", "None is connected; sound comes from the sound output.")
    if ports.outputs:
        instrument = Line("MIDI instrument", "works", f"Found: {', '.join(ports.outputs)}.")
    return keys, instrument


def _soundfont() -> Line:
    found, version = find_soundfonts(), fluid.version()
    way = f"played by FluidSynth {version}" if version else "played by Larkstair itself"
    if found:
        text = f"Found: {', '.join(p.name for p in found)}, {way}; Setup chooses among them and the built-in piano."
        return Line("SoundFont", "works", text)
    return Line(
        "SoundFont", "note", f"None found; the built-in piano is used. One named in Setup is {way} (a path of an .sf2)."
    )


def _files() -> Line:
    if importlib.util.find_spec("soundfile"):
        return Line("Sound files", "works", "WAV, FLAC, OGG and MIDI can be written.")
    return Line(
        "Sound files", "note", "WAV and MIDI can be written.", "For FLAC and OGG install the package soundfile."
    )
