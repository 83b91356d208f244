"""Streams of miniaudio, for machines without PortAudio."""

from __future__ import annotations

import atexit
import contextlib
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from tutor.errors import PortUnavailable, plain
from tutor.sound.device import PORTAUDIO_REMEDY, WORD, Device, Kind, chosen, refused
from tutor.sound.ports import RATE
from tutor.sound.stream import SILENT_FOR_S, Ending, Fill, Hear


def listed(kind: Kind) -> tuple[Device, ...]:
    """Every device of a kind that miniaudio reaches now."""
    try:
        import miniaudio

        found = miniaudio.Devices()
        rows = found.get_playbacks() if kind == "output" else found.get_captures()
    except Exception:  # the library raises its own kinds, and OSError where its module cannot be loaded
        return ()
    return tuple(Device(plain(row["name"]), number, "miniaudio") for number, row in enumerate(rows))


_open: set[MiniaudioLine] = set()


@atexit.register
def _close_all() -> None:
    """A callback that runs on while the program ends would hang it."""
    for line in list(_open):
        line.close()


class MiniaudioLine(Ending):
    """A miniaudio stream; its clock is the machine's, set by what was handed over."""

    def __init__(
        self, kind: Kind, wanted: str | int | None, calm: bool, move: Callable[..., Any], ran_dry: Callable[[], None]
    ) -> None:
        try:
            import miniaudio
        except (OSError, ImportError):
            raise PortUnavailable(f"No {WORD[kind]} can be reached", remedy=PORTAUDIO_REMEDY) from None
        super().__init__()
        self.rate = RATE
        self.latency_s = 0.06 if calm else 0.02
        self._last_s = time.monotonic()
        self._library = miniaudio
        self._device: Any = None
        rows = listed(kind)
        found_one = chosen(kind, wanted, rows)
        self.name = found_one.name if found_one else f"default {kind}"
        try:
            found = miniaudio.Devices()
            raw = found.get_playbacks() if kind == "output" else found.get_captures()
            options: dict[str, Any] = {
                "nchannels": 1,
                "sample_rate": RATE,
                "buffersize_msec": round(self.latency_s * 500),
                "device_id": raw[found_one.index]["id"] if found_one else None,
            }
            if kind == "output":
                self._device = miniaudio.PlaybackDevice(output_format=miniaudio.SampleFormat.FLOAT32, **options)
                pump = self._give(move)
            else:
                self._device = miniaudio.CaptureDevice(input_format=miniaudio.SampleFormat.FLOAT32, **options)
                pump = self._take(move)
            next(pump)
            _open.add(self)
            self._device.start(pump)
        except miniaudio.MiniaudioError as error:
            self.close()
            raise refused(kind, self.name, error) from None

    def now(self) -> float:
        """The machine's steady clock, seconds."""
        return time.monotonic()

    def alive(self) -> bool:
        """False once the stream asks for nothing any more."""
        return not self._closed and time.monotonic() - self._last_s < SILENT_FOR_S

    def _end(self) -> None:
        if self._device is not None:
            with contextlib.suppress(self._library.MiniaudioError):
                self._device.close()
            # The library forgets its connection to the sound server: it would stay open, on memory that is given back.
            self._library.lib.ma_context_uninit(self._device._context)
        _open.discard(self)

    def _give(self, fill: Fill) -> Any:
        frames = yield b""
        while True:
            self._last_s = time.monotonic()
            frames = yield fill(frames, self._last_s + self.latency_s).tobytes()

    def _take(self, hear: Hear) -> Any:
        while True:
            heard = yield
            self._last_s = time.monotonic()
            samples = np.frombuffer(heard, dtype=np.float32).copy()
            hear(samples, self._last_s - self.latency_s - len(samples) / RATE)
