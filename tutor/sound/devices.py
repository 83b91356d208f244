"""Loudspeakers and microphones through PortAudio (sounddevice), else through miniaudio.

Neither library is loaded before a port is asked for. Callbacks only move samples; what they play comes from
`tutor.sound.mixer`, what they hear goes into a queue. Call `tutor.sound.hush.shield` before the screen starts: the
libraries below print to the terminal when a device misbehaves.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable, Iterator
from typing import Any

from tutor.errors import PortUnavailable, plain
from tutor.sound import mini
from tutor.sound.device import PORTAUDIO_REMEDY, WORD, Device, Kind, Way, chosen, refused
from tutor.sound.ports import RATE
from tutor.sound.stream import SILENT_FOR_S, Ending, Fill, Hear, Line, Loudspeaker, Microphone


def list_outputs() -> tuple[Device, ...]:
    """Every loudspeaker that can be reached now; empty when there is none."""
    return _listed("output")


def list_inputs() -> tuple[Device, ...]:
    """Every microphone that can be reached now; empty when there is none."""
    return _listed("input")


def open_player(device: str | int | None = None, *, through: Way | None = None) -> Loudspeaker:
    """Open a loudspeaker.

    Args:
        device: name (or part of one) or number from `list_outputs`; None for the system's own choice.
        through: force one library; None tries PortAudio, then miniaudio.

    Raises:
        PortUnavailable: there is none, it is busy, or the library it needs is missing; one line says which.
    """

    def opener(fill: Fill, ran_dry: Callable[[], None], calm: bool) -> Line:
        return _first("output", through, lambda way: _LINES[way]("output", device, calm, fill, ran_dry))

    return Loudspeaker(opener, look_again)


def open_ear(device: str | int | None = None, *, through: Way | None = None) -> Microphone:
    """Open a microphone; see `open_player`.

    Raises:
        PortUnavailable: as there, or permission was refused.
    """

    def opener(hear: Hear, lost: Callable[[], None]) -> Line:
        return _first("input", through, lambda way: _LINES[way]("input", device, False, hear, lost))

    return Microphone(opener)


def _first(kind: Kind, through: Way | None, make: Callable[[Way], Line]) -> Line:
    """The stream of the first library that gives one."""
    try:
        return make(through or "portaudio")
    except PortUnavailable as first:
        if through:
            raise
        try:
            return make("miniaudio")
        except PortUnavailable:
            raise first from None


def _listed(kind: Kind) -> tuple[Device, ...]:
    for lister in (_portaudio_devices, mini.listed):
        found = lister(kind)
        if found:
            return found
    return ()


# --- PortAudio ---------------------------------------------------------------------------------------------------


def _sounddevice() -> Any:
    """The library, loaded now; None when PortAudio is missing."""
    try:
        with _without_jack():
            import sounddevice
    except (OSError, ImportError):
        return None
    return sounddevice


@contextlib.contextmanager
def _without_jack() -> Iterator[None]:
    """Keep PortAudio away from JACK: it ends the whole program when a JACK server that it knew has gone.

    Where JACK is the only way to the loudspeaker, miniaudio takes it.
    """
    before = os.environ.get("JACK_DEFAULT_SERVER")
    os.environ["JACK_DEFAULT_SERVER"] = "not-for-portaudio"
    os.environ.setdefault("JACK_NO_START_SERVER", "1")
    try:
        yield
    finally:
        if before is None:
            del os.environ["JACK_DEFAULT_SERVER"]
        else:
            os.environ["JACK_DEFAULT_SERVER"] = before


def look_again() -> bool:
    """Read PortAudio's list of devices anew; it is fixed otherwise.

    That ends every stream, so it is not done while another one runs or one of them cannot be closed.
    """
    sd = _sounddevice()
    if sd is None:
        return False
    for line in list(_open_lines):
        if line.alive():
            return False
        line.close()
    if _open_lines:
        return False
    try:
        sd._terminate()
        with _without_jack():
            sd._initialize()
    except sd.PortAudioError:
        return False
    return True


def _portaudio_devices(kind: Kind) -> tuple[Device, ...]:
    sd = _sounddevice()
    if sd is None:
        return ()
    try:
        # the list is fixed when PortAudio starts: an empty one may be from before the sound server ran
        rows = sd.query_devices() or (sd.query_devices() if look_again() else ())
        default = sd.default.device[1 if kind == "output" else 0]
    except sd.PortAudioError:
        return ()
    return tuple(
        Device(plain(row["name"]), number, "portaudio", number == default)
        for number, row in enumerate(rows)
        if row[f"max_{kind}_channels"] > 0
    )


_open_lines: set[_PortAudioLine] = set()
_undead: list[_PortAudioLine] = []


class _PortAudioLine(Ending):
    """A PortAudio stream."""

    def __init__(
        self, kind: Kind, wanted: str | int | None, calm: bool, move: Callable[..., Any], ran_dry: Callable[[], None]
    ) -> None:
        sd = _sounddevice()
        if sd is None:
            raise PortUnavailable(f"No {WORD[kind]} can be reached", remedy=PORTAUDIO_REMEDY)
        super().__init__()
        self._sd = sd
        self._last_s = time.monotonic()
        self._now_s = 0.0
        rows = _portaudio_devices(kind)
        found = chosen(kind, wanted, rows)
        usual = found or next((r for r in rows if r.default), None)
        self.name = usual.name if usual else f"default {kind}"
        number = found.index if found else None
        stream = sd.OutputStream if kind == "output" else sd.InputStream
        callback = self._give(move, ran_dry) if kind == "output" else self._take(move, ran_dry)
        trouble: Exception | None = None
        for rate in (RATE, self._own_rate(kind, number)):
            opened = None
            try:
                opened = self._stream = stream(
                    samplerate=rate,
                    blocksize=512 if calm else 256,
                    device=number,
                    channels=1,
                    dtype="float32",
                    latency=0.04 if calm else "low",
                    callback=callback,
                )
                self._stream.start()
                break
            except (sd.PortAudioError, ValueError) as error:
                trouble = error
                if opened is not None:
                    opened.close()
        else:
            raise refused(kind, self.name, trouble)
        self.rate = int(self._stream.samplerate)
        self.latency_s = float(self._stream.latency)
        _open_lines.add(self)

    def now(self) -> float:
        """The stream's clock, seconds."""
        # The library must not be asked about a stream while another thread closes it: it would read memory given back.
        with self._gate:
            if not self._closed:
                with contextlib.suppress(self._sd.PortAudioError):
                    self._now_s = float(self._stream.time)
            return self._now_s

    def alive(self) -> bool:
        """False once the stream has stopped or asks for nothing any more."""
        with self._gate:
            return not self._closed and bool(self._stream.active) and time.monotonic() - self._last_s < SILENT_FOR_S

    def _end(self) -> None:
        try:
            self._stream.abort()
            self._stream.close(ignore_errors=False)
        except self._sd.PortAudioError:
            _undead.append(self)  # it may still call back: what it calls must stay
        _open_lines.discard(self)

    def _own_rate(self, kind: Kind, number: int | None) -> int:
        try:
            return int(self._sd.query_devices(number, kind)["default_samplerate"])
        except (self._sd.PortAudioError, ValueError):
            return 44_100

    def _give(self, fill: Fill, ran_dry: Callable[[], None]) -> Callable[..., None]:
        def callback(out: Any, frames: int, times: Any, status: Any) -> None:
            self._last_s = time.monotonic()
            if status.output_underflow:
                ran_dry()
            out[:, 0] = fill(frames, times.outputBufferDacTime or times.currentTime + self.latency_s)

        self.latency_s = 0.0
        return callback

    def _take(self, hear: Hear, ran_dry: Callable[[], None]) -> Callable[..., None]:
        def callback(heard: Any, frames: int, times: Any, status: Any) -> None:
            self._last_s = time.monotonic()
            if status.input_overflow:
                ran_dry()
            hear(heard[:, 0].copy(), times.inputBufferAdcTime or times.currentTime)

        return callback


_LINES: dict[Way, Callable[..., Line]] = {"portaudio": _PortAudioLine, "miniaudio": mini.MiniaudioLine}
