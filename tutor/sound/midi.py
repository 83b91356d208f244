"""Music keyboards and external instruments through MIDI, and MIDI files.

The system is first asked in a process of its own, because ALSA and JACK print to the terminal and may give up the
whole process when there is no sequencer. Only when that went well is the library loaded here.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tutor.errors import PortUnavailable, plain
from tutor.music.phrase import Phrase
from tutor.sound.ports import KeyEvent

LOOK_EVERY_S = 1.0
"""How often the ports are looked at for a keyboard that was plugged in or out."""

_REMEDY = (
    "Connect the keyboard and check that ALSA's sequencer (modprobe snd-seq) or JACK runs"
    if sys.platform.startswith("linux")
    else "Connect the keyboard, then look again"
)
_NOT_KEYS = re.compile(r"midi through|larkstair", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class MidiPorts:
    """What the MIDI system offers now."""

    api: int
    """Number of the library's way in."""
    inputs: tuple[str, ...]
    """Keyboards and other senders, without the system's own loop."""
    outputs: tuple[str, ...]
    """Instruments and other receivers."""


def probe(timeout_s: float = 6.0) -> MidiPorts:
    """Ask for the MIDI ports in a process of its own.

    Raises:
        PortUnavailable: there is no MIDI library or no MIDI system.
    """
    if importlib.util.find_spec("rtmidi") is None:
        raise PortUnavailable(
            "Music keyboards need the package python-rtmidi, which is not installed",
            remedy="Use Python 3.11 or 3.12, for which it comes ready-made",
        )
    with contextlib.suppress(OSError, ValueError, KeyError, IndexError, subprocess.SubprocessError):
        done = subprocess.run(
            [sys.executable, "-c", _PROBE],
            capture_output=True,
            timeout=timeout_s,
            env={**os.environ, "JACK_NO_START_SERVER": "1"},
            check=True,
        )
        told = json.loads(done.stdout.decode("utf-8", "replace").splitlines()[-1])
        return MidiPorts(told["api"], _shown(told["inputs"]), _shown(told["outputs"]))
    raise PortUnavailable("There is no MIDI on this machine", remedy=_REMEDY)


_PROBE = """
import json, os, sys
import rtmidi
apis = [a for a in rtmidi.get_compiled_api() if a != rtmidi.API_RTMIDI_DUMMY]
for api in apis:
    if api == rtmidi.API_LINUX_ALSA and not os.path.exists("/dev/snd/seq"):
        continue
    try:
        i, o = rtmidi.MidiIn(api), rtmidi.MidiOut(api)
        print(json.dumps({"api": int(api), "inputs": i.get_ports(), "outputs": o.get_ports()}))
        sys.stdout.flush()
        os._exit(0)
    except Exception:
        continue
os._exit(3)
"""


def list_keys() -> tuple[str, ...]:
    """Names of the keyboards connected now; empty when there is none or no MIDI."""
    try:
        return probe().inputs
    except PortUnavailable:
        return ()


def list_instruments() -> tuple[str, ...]:
    """Names of the instruments that can be played now; empty when there is none or no MIDI."""
    try:
        return probe().outputs
    except PortUnavailable:
        return ()


def open_keys(name: str | None = None) -> MidiKeys:
    """Listen to music keyboards, those connected now and those connected later.

    Args:
        name: a keyboard's name or part of it; None for every keyboard.

    Raises:
        PortUnavailable: there is no MIDI on this machine.
    """
    return MidiKeys(probe().api, name)


def open_instrument(name: str | None = None) -> MidiInstrument:
    """Open an external instrument.

    Args:
        name: its name or part of it; None for the first.

    Raises:
        PortUnavailable: there is no MIDI, or no such instrument.
    """
    ports = probe()
    match = [o for o in ports.outputs if name is None or name.casefold() in o.casefold()]
    if not match:
        raise PortUnavailable(
            f"There is no MIDI instrument called '{name}'" if name else "There is no MIDI instrument",
            remedy="Connect it and switch it on, then look again",
        )
    return MidiInstrument(ports.api, match[0])


class MidiKeys:
    """A `tutor.sound.ports.Keys` on real keyboards; they may come and go."""

    def __init__(self, api: int, wanted: str | None, clock: Callable[[], float] = time.monotonic) -> None:
        self._api, self._wanted, self._clock = api, wanted, clock
        self._heard: Callable[[KeyEvent], None] | None = None
        self._open: dict[str, Any] = {}
        self._down: dict[str, set[int]] = {}
        self._lock = threading.RLock()
        self._closed = threading.Event()
        self._scout: Any = None
        self._watcher = threading.Thread(target=self._watch, name="midi-watch", daemon=True)

    @property
    def name(self) -> str:
        """Names of the keyboards connected now; says so when there is none."""
        with self._lock:
            return ", ".join(sorted(map(_bare, self._open))) or "no keyboard connected"

    @property
    def connected(self) -> tuple[str, ...]:
        """Names of the keyboards connected now."""
        with self._lock:
            return tuple(sorted(map(_bare, self._open)))

    def listen(self, heard: Callable[[KeyEvent], None]) -> None:
        """Call ``heard`` from the port's thread for every key pressed or released, until `close`."""
        self._heard = heard
        if not self._watcher.is_alive() and not self._closed.is_set():
            self._look()
            self._watcher.start()

    def close(self) -> None:
        """Let all ports go; safe to call twice."""
        self._closed.set()
        self._heard = None
        if self._watcher.is_alive() and threading.current_thread() is not self._watcher:
            self._watcher.join(2 * LOOK_EVERY_S)
        with self._lock:
            for name in list(self._open):
                self._drop(name)
            if self._scout is not None:
                _end(self._scout)
                self._scout = None

    def _watch(self) -> None:
        while not self._closed.wait(LOOK_EVERY_S):
            self._look()

    def _look(self) -> None:
        """Open keyboards that have come, let go of those that have gone."""
        import rtmidi

        with self._lock:
            try:
                self._scout = self._scout or rtmidi.MidiIn(self._api, "larkstair-look")
                names = self._scout.get_ports()
            except (RuntimeError, SystemError, rtmidi.RtMidiError):
                self._scout, names = None, []
            for gone in set(self._open) - set(names):
                self._drop(gone)
            for number, port in enumerate(names):
                if port not in self._open and self._fits(port):
                    self._take(number, port)

    def _fits(self, port: str) -> bool:
        wanted = _bare(self._wanted or "").casefold()
        return not _NOT_KEYS.search(port) and wanted in _bare(port).casefold()

    def _take(self, number: int, port: str) -> None:
        import rtmidi

        try:
            entry = rtmidi.MidiIn(self._api, "larkstair")
            entry.open_port(number, "keys")
            entry.set_callback(self._received, port)
        except (RuntimeError, SystemError, rtmidi.RtMidiError):
            return
        self._open[port] = entry
        self._down[port] = set()

    def _drop(self, port: str) -> None:
        """Close a port and release what was still held on it."""
        entry = self._open.pop(port)
        _end(entry)
        for midi in self._down.pop(port, set()):
            self._tell(midi, 0)

    def _received(self, event: tuple[list[int], float], port: str) -> None:
        message = event[0]
        if len(message) != 3 or message[0] & 0xF0 not in (0x80, 0x90):
            return
        midi, velocity = message[1], message[2] if message[0] & 0xF0 == 0x90 else 0
        down = self._down.get(port, set())
        (down.add if velocity else down.discard)(midi)
        self._tell(midi, velocity)

    def _tell(self, midi: int, velocity: int) -> None:
        heard = self._heard
        if heard is not None:
            heard(KeyEvent(midi, velocity, self._clock()))


class MidiInstrument:
    """An external instrument or synthesizer. Whatever happens, no note is left sounding."""

    def __init__(self, api: int, name: str) -> None:
        import rtmidi

        self.name = _bare(name)
        """Its name for the user."""
        self._lock = threading.Lock()
        self._port: Any = None
        self._sounding: set[tuple[int, int]] = set()
        self._used: set[int] = set()
        try:
            port = rtmidi.MidiOut(api, "larkstair")
            port.open_port(port.get_ports().index(name), "play")
        except (RuntimeError, SystemError, ValueError, rtmidi.RtMidiError):
            raise PortUnavailable(
                f"The MIDI instrument '{self.name}' cannot be opened", remedy="Switch it off and on, then look again"
            ) from None
        self._port = port

    def send(self, *message: int) -> None:
        """Send one MIDI message.

        Raises:
            PortUnavailable: the instrument has gone.
        """
        import rtmidi

        with self._lock:
            if self._port is None:
                return
            self._remember(message)
            try:
                self._port.send_message(message)
            except (RuntimeError, SystemError, rtmidi.RtMidiError):
                raise PortUnavailable(
                    f"The MIDI instrument '{self.name}' has gone", remedy="Connect it again, then choose it in Setup"
                ) from None

    def panic(self) -> None:
        """Silence everything: the notes that sound, then all the rest on every channel in use."""
        with contextlib.suppress(PortUnavailable):
            for channel, midi in sorted(self._sounding):
                self.send(0x80 | channel, midi, 0)
            for channel in sorted(self._used):
                for message in ((64, 0), (123, 0), (120, 0)):
                    self.send(0xB0 | channel, *message)
            for channel in sorted(self._used):
                for midi in range(128):
                    self.send(0x80 | channel, midi, 0)
                    if midi % 16 == 15:
                        time.sleep(0.004)  # buffers on the way are small, and a lost note-off is a stuck note

    def _remember(self, message: tuple[int, ...]) -> None:
        channel = message[0] & 0x0F
        if message[0] & 0xF0 == 0x90 and message[2]:
            self._sounding.add((channel, message[1]))
            self._used.add(channel)
        elif message[0] & 0xE0 == 0x80:
            self._sounding.discard((channel, message[1]))

    def close(self) -> None:
        """Silence it and let it go; safe to call twice."""
        self.panic()
        with self._lock:
            port, self._port = self._port, None
        if port is not None:
            _end(port)


CHANNELS = {"voice": 0, "upper": 1, "lower": 2, "click": 9}
"""MIDI channel (counted from 0) of each line."""


def write_midi(phrase: Phrase, path: Path) -> None:
    """Write a phrase as a MIDI file: one track a line, tempo and metre in the first.

    Raises:
        PortUnavailable: the file cannot be written.
    """
    import mido

    file = mido.MidiFile(ticks_per_beat=480)
    head = mido.MidiTrack()
    head.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(phrase.bpm)))
    head.append(mido.MetaMessage("time_signature", numerator=phrase.numerator, denominator=phrase.denominator))
    file.tracks.append(head)
    for line, channel in CHANNELS.items():
        events = [
            event
            for tone in phrase.tones
            if tone.line == line
            for event in (
                (round(tone.onset_quarters * 480), 1, tone.midi, max(1, min(127, round(tone.velocity * 127)))),
                (round(tone.end_quarters * 480), 0, tone.midi, 0),
            )
        ]
        if not events:
            continue
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=line)])
        now = 0
        for at, on, midi, velocity in sorted(events):
            kind = "note_on" if on else "note_off"
            track.append(mido.Message(kind, channel=channel, note=midi, velocity=velocity, time=at - now))
            now = at
        file.tracks.append(track)
    try:
        file.save(path)
    except OSError as error:
        raise PortUnavailable(
            f"The file cannot be written ({plain(error.strerror or '')})",
            where=str(path),
            remedy="Choose another place",
        ) from None


def _shown(names: list[str]) -> tuple[str, ...]:
    return tuple(n for n in names if not _NOT_KEYS.search(n))


def _bare(name: str) -> str:
    """A port's name without the numbers that change when it is plugged in again."""
    return plain(re.sub(r"\s+\d+:\d+$", "", name))


def _end(port: Any) -> None:
    with contextlib.suppress(Exception):
        if hasattr(port, "cancel_callback"):
            port.cancel_callback()
        port.close_port()
        port.delete()
