"""Reading SoundFont 2 files: the zones of a preset, flattened.

Source: SoundFont Technical Specification 2.04 (E-mu Systems, 2006), recalled. Read are ranges, tuning, loops, the
volume envelope up to the release, attenuation, and the filter with its fall; modulators, effects and the pan are not.
Compressed files (.sf3) are refused.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.errors import PortUnavailable, plain

LARGEST_BYTES = 1_500_000_000
"""Files larger than this are refused."""
SLOWEST, FASTEST = 4_000, 192_000
"""Samples a second; a zone beyond is passed over."""


@dataclass(frozen=True, slots=True)
class Zone:
    """One sample of a preset and how it is used."""

    low: int
    high: int
    """Keys it answers to, MIDI numbers."""
    soft: int
    loud: int
    """Velocities it answers to, 0 to 127."""
    start: int
    stop: int
    """Place of the sample in the file's sound, in samples."""
    loop: tuple[int, int] | None
    """Part that is repeated while the note is held, in samples of the file's sound; None plays to the end."""
    rate: int
    """Samples a second."""
    root: float
    """Fractional MIDI number at which the sample sounds as recorded, tuning included."""
    scale: float
    """Semitones a key; 1 but for drums."""
    gain: float
    """Amplitude."""
    attack_s: float
    decay_s: float
    sustain: float
    """Amplitude that the decay ends at, 0 to 1."""
    corner_hz: float
    """Corner of the low-pass filter once the note has settled; infinite for none."""
    bright_hz: float
    """Corner of that filter when the note is struck."""
    settle_s: float
    """Seconds from the one to the other."""


@dataclass(frozen=True, slots=True)
class SoundFont:
    """A file, read once; the sound itself stays on disk until it is used."""

    path: Path
    sound: NDArray[np.int16]
    """All samples of the file, mapped."""
    presets: dict[tuple[int, int], tuple[Zone, ...]]
    """Zones by (bank, program)."""
    names: dict[tuple[int, int], str]
    """Preset names by (bank, program)."""


def read(path: Path) -> SoundFont:
    """Read a SoundFont.

    Raises:
        PortUnavailable: there is no such file, or it is no SoundFont 2.
    """
    try:
        longest = path.stat().st_size
        if longest > LARGEST_BYTES:
            raise _bad(path, "The SoundFont is too large")
        with path.open("rb") as file:
            places = dict(_chunks(file, path))
            if b"smpl" not in places or b"phdr" not in places or b"shdr" not in places:
                raise _bad(path, "This is no SoundFont 2 file")
            if any(at + size > longest for at, size in places.values()):
                raise _bad(path, "The SoundFont is damaged")
            data = {}
            for name, (at, size) in places.items():
                if name != b"smpl":
                    file.seek(at)
                    data[name] = file.read(size)
        at, size = places[b"smpl"]
        sound: NDArray[np.int16] = np.memmap(path, dtype="<i2", mode="r", offset=at, shape=(size // 2,))
        return _assembled(path, sound, data)
    except OSError as error:
        raise _bad(path, f"The SoundFont cannot be read ({plain(error.strerror or '')})") from None
    except (struct.error, IndexError, KeyError, ValueError):
        raise _bad(path, "The SoundFont is damaged") from None


def _bad(path: Path, what: str) -> PortUnavailable:
    return PortUnavailable(what, where=str(path), remedy="Choose another .sf2 file in Setup, or the built-in piano")


def _chunks(file: Any, path: Path) -> Iterator[tuple[bytes, tuple[int, int]]]:
    """Names and places of the inner chunks."""
    head = file.read(12)
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:12] != b"sfbk":
        raise _bad(path, "This is no SoundFont 2 file")
    end = 8 + struct.unpack("<I", head[4:8])[0]
    place = 12
    while place + 8 <= end:
        file.seek(place)
        raw = file.read(8)
        if len(raw) < 8:
            return
        name, size = struct.unpack("<4sI", raw)
        if name == b"LIST":
            place += 12
            continue
        yield name, (place + 8, size)
        place += 8 + size + size % 2


def _records(data: bytes, form: str) -> list[tuple[Any, ...]]:
    size = struct.calcsize(form)
    return list(struct.iter_unpack(form, data[: len(data) // size * size]))


def _assembled(path: Path, sound: NDArray[np.int16], data: dict[bytes, bytes]) -> SoundFont:
    headers = _records(data[b"phdr"], "<20sHHHIII")
    preset_zones = _Bags(data[b"pbag"], data[b"pgen"])
    instruments = _records(data[b"inst"], "<20sH")
    instrument_zones = _Bags(data[b"ibag"], data[b"igen"])
    samples = _records(data[b"shdr"], "<20sIIIIIBbHH")
    presets: dict[tuple[int, int], tuple[Zone, ...]] = {}
    names: dict[tuple[int, int], str] = {}
    for here, after in pairwise(headers):
        zones: list[Zone] = []
        for outer in preset_zones.zones(here[3], after[3], _INSTRUMENT):
            which = outer[_INSTRUMENT]
            for inner in instrument_zones.zones(instruments[which][1], instruments[which + 1][1], _SAMPLE):
                zone = _zone(outer, inner, samples[inner[_SAMPLE]], len(sound))
                if zone is not None:
                    zones.append(zone)
        key = (int(here[2]), int(here[1]))
        presets[key] = tuple(zones)
        names[key] = plain(here[0].split(b"\0")[0].decode("latin-1"))
    return SoundFont(path, sound, presets, names)


_INSTRUMENT, _KEYS, _VELOCITIES, _SAMPLE = 41, 43, 44, 53
_UNSIGNED = {_INSTRUMENT, _KEYS, _VELOCITIES, _SAMPLE, 54}
_AT_REST = {8: 13500, 33: -12000, 34: -12000, 35: -12000, 36: -12000, 28: -12000, 56: 100, 58: -1}


class _Bags:
    """Generators by zone, the global zone worked into the others."""

    def __init__(self, bags: bytes, generators: bytes) -> None:
        self._bags = [b[0] for b in _records(bags, "<HH")]
        self._generators = _records(generators, "<HH")

    def zones(self, first: int, last: int, goal: int) -> Iterator[dict[int, int]]:
        """Generator values of each zone that leads to ``goal``."""
        shared: dict[int, int] = {}
        for number in range(first, last):
            own: dict[int, int] = {}
            for kind, raw in self._generators[self._bags[number] : self._bags[number + 1]]:
                own[kind] = raw if kind in _UNSIGNED or raw < 32768 else raw - 65536
            if goal in own:
                yield {**shared, **own}
            elif number == first:
                shared = own


def _zone(outer: dict[int, int], inner: dict[int, int], sample: tuple[Any, ...], size: int) -> Zone | None:
    """A preset's zone and an instrument's zone made one; None where their ranges do not meet."""

    def both(kind: int) -> int:
        return inner.get(kind, _AT_REST.get(kind, 0)) + outer.get(kind, 0)

    low, high = _meeting(outer.get(_KEYS), inner.get(_KEYS))
    soft, loud = _meeting(outer.get(_VELOCITIES), inner.get(_VELOCITIES))
    _, start, stop, loop_start, loop_stop, rate, original, correction, _, kind = sample
    if low > high or soft > loud or kind & 0x8000 or not SLOWEST <= rate <= FASTEST:
        return None
    start += both(0) + 32768 * both(4)
    stop += both(1) + 32768 * both(12)
    begin = loop_start + both(2) + 32768 * both(45)
    end = loop_stop + both(3) + 32768 * both(50)
    if not 0 <= start < stop <= size:
        return None
    looped = inner.get(54, 0) & 1 and start <= begin < end - 8 and end <= stop
    override = inner.get(58, -1)
    root = (override if 0 <= override < 128 else original if original < 128 else 60) - correction / 100.0
    return Zone(
        low,
        high,
        soft,
        loud,
        start,
        stop,
        (begin, end) if looped else None,
        rate,
        root - min(max(both(51), -120), 120) - min(max(both(52), -99), 99) / 100.0,
        min(max(both(56), 0), 1200) / 100.0,
        10 ** (-0.4 * min(max(both(48), 0), 1440) / 200.0),
        _seconds(both(34)),
        _seconds(both(36)),
        10 ** (-min(max(both(37), 0), 1440) / 200.0),
        _corner_hz(both(8) + both(11) * (1.0 - min(max(both(29), 0), 1000) / 1000.0)),
        _corner_hz(both(8) + both(11)),
        _seconds(both(28)),
    )


def _meeting(a: int | None, b: int | None) -> tuple[int, int]:
    pairs = [(v & 0xFF, v >> 8) for v in (a, b) if v is not None] or [(0, 127)]
    return max(p[0] for p in pairs), min(p[1] for p in pairs)


def _corner_hz(cents: float) -> float:
    return float("inf") if cents >= 13500 else float(8.176 * 2 ** (max(cents, 1500.0) / 1200.0))


def _seconds(timecents: int) -> float:
    return float(min(2 ** (timecents / 1200.0), 60.0))
