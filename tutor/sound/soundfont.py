"""Playing with a SoundFont found on the system or named in Setup.

Where FluidSynth is installed it plays (`tutor.sound.fluid`). The reader and the player here are our own, in numpy, so
that a SoundFont works wherever the program runs and without a synthesizer on the system. Every sample is measured once
and retuned: published fonts are up to 16 cents off.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.errors import PortUnavailable
from tutor.sound.listen import take
from tutor.sound.piano import LONGEST_S, RELEASE_S, loudness
from tutor.sound.ports import RATE, Samples
from tutor.sound.sf2 import SoundFont, Zone, read
from tutor.sound.synth import SINGER, Sounds, Timbre

PIANO_PROGRAM, VOICE_PROGRAM = 0, 52
"""Programs of General MIDI, counted from 0: acoustic grand piano, choir aahs."""

HIGHEST_STEP = 16.0
"""No sample is played faster than four octaves above its own pitch; a damaged file asks for millions."""
TRUE_CENTS = 3.0
"""How far a tone that is to be matched with the voice may be off (a choice of ours)."""
_LEVEL = 0.032
_LENGTHS_S = (0.75, 1.5, 3.0, 6.0, LONGEST_S)


def find_soundfonts() -> tuple[Path, ...]:
    """SoundFonts in the usual places of the system, by name."""
    home = Path.home()
    places = [Path(os.environ[v]) for v in ("SF2_PATH", "SOUNDFONT_PATH") if os.environ.get(v)]
    if sys.platform == "darwin":
        places += [home / "Library/Audio/Sounds/Banks", Path("/Library/Audio/Sounds/Banks")]
    elif sys.platform == "win32":
        places += [home / "Documents/SoundFonts", Path("C:/soundfonts")]
    else:
        places += [
            home / ".local/share/soundfonts",
            home / ".local/share/sounds/sf2",
            Path("/usr/share/sounds/sf2"),
            Path("/usr/share/soundfonts"),
            Path("/usr/local/share/soundfonts"),
        ]
    found = {p.resolve() for place in places if place.is_dir() for p in place.glob("*.[sS][fF]2")}
    return tuple(sorted(found, key=lambda p: p.name.casefold()))


def sounds_from(path: Path) -> Sounds:
    """Play with a SoundFont: its grand piano, and its choir for the sung line where that is in tune.

    A recorded choir may waver by tens of cents, and the sung line is there to be matched: then the program's own tone
    sings on. The click is always our own.

    Raises:
        PortUnavailable: the file cannot be used; one line says why.
    """
    font = read(path)
    make = _way()
    piano = make(font, PIANO_PROGRAM)
    if not font.presets.get((0, VOICE_PROGRAM)):
        return Sounds(piano=piano, voice=piano)
    voice = make(font, VOICE_PROGRAM)
    return Sounds(piano=piano, voice=voice if _in_tune(voice) else SINGER)


def _in_tune(timbre: Timbre) -> bool:
    """Whether held notes of the middle of the voice stay within `TRUE_CENTS` of their pitch."""
    for midi in (55, 62, 69):
        notes = take(timbre.note(midi, 1.0, 0.7)).notes
        if len(notes) != 1 or abs(100.0 * (notes[0].midi - midi)) > TRUE_CENTS:
            return False
    return True


def _way() -> Callable[[SoundFont, int], FontTimbre]:
    """FluidSynth where it is installed and takes the file, else our own player."""
    from tutor.sound import fluid

    def either(font: SoundFont, program: int) -> FontTimbre:
        try:
            return fluid.FluidTimbre(font, program)
        except PortUnavailable:
            return FontTimbre(font, program)

    return either if fluid.library() is not None else FontTimbre


class FontTimbre:
    """One preset of a SoundFont as a `tutor.sound.synth.Timbre`.

    Args:
        font: the file.
        program: which preset of bank 0; the first of the file if there is none.

    Raises:
        PortUnavailable: the file holds no preset.
    """

    def __init__(self, font: SoundFont, program: int = PIANO_PROGRAM) -> None:
        key = (0, program) if font.presets.get((0, program)) else next((k for k, z in font.presets.items() if z), None)
        if key is None:
            raise PortUnavailable(
                "The SoundFont holds no sounds", where=str(font.path), remedy="Choose another .sf2 file in Setup"
            )
        self._key = key
        self.name = f"{font.names[key]} ({font.path.name})"
        """Shown in Setup."""
        self._font, self._zones = font, font.presets[key]
        self._struck = lru_cache(maxsize=192)(self._make)
        self._off = lru_cache(maxsize=1024)(self._measured)
        self._level: float | None = None

    def note(self, midi: int, held_s: float, velocity: float, rate: int = RATE) -> Samples:
        """One note; see `tutor.sound.piano.Piano.note`."""
        held_s = min(max(held_s, 0.03), LONGEST_S - RELEASE_S)
        whole = held_s + RELEASE_S
        layer = min(127, max(1, round(velocity * 127) // 16 * 16 + 8))
        made = self._struck(midi, layer, next(s for s in _LENGTHS_S if s >= whole - 1e-9), rate)
        out = made[: round(whole * rate)] * np.float32(self._steady_level() * loudness(velocity))
        tail = len(out) - round(held_s * rate)
        if tail > 0:
            t = np.linspace(0.0, 1.0, tail, dtype=np.float32)
            out[-tail:] *= np.exp(-4.0 * t) * np.cos(t * np.float32(np.pi / 2)) ** 2
        out[-1:] = 0.0
        return np.asarray(out, dtype=np.float32)

    def _steady_level(self) -> float:
        """Brings the preset to the loudness of the built-in piano, judged at middle C."""
        if self._level is None:
            middle = self._struck(60, 88, 0.75, RATE)[: RATE // 2]
            self._level = _LEVEL / max(float(np.sqrt(np.mean(np.square(middle)))), 1e-4)
        return self._level

    def _make(self, midi: int, velocity: int, seconds: float, rate: int) -> Samples:
        count = round(seconds * rate)
        zones = self._zones_of(midi, velocity)
        out = np.zeros(count, dtype=np.float32)
        for zone in zones:
            out += self._voice(zone, midi, count, rate)
        out /= max(1, len(zones))
        rise = min(count, max(24, rate // 1000))
        out[:rise] *= np.linspace(0.0, 1.0, rise, dtype=np.float32)
        out.setflags(write=False)
        return out

    def _zones_of(self, midi: int, velocity: int) -> list[Zone]:
        """The zones that answer to a key; never empty."""
        zones = [z for z in self._zones if z.low <= midi <= z.high and z.soft <= velocity <= z.loud]
        return zones or self._nearest(midi, velocity)

    def _nearest(self, midi: int, velocity: int) -> list[Zone]:
        """The zone next to a key that no zone answers to."""

        def away(z: Zone) -> float:
            return max(z.low - midi, midi - z.high, 0) + 0.01 * max(z.soft - velocity, velocity - z.loud, 0)

        return [min(self._zones, key=away)]

    def _voice(self, zone: Zone, midi: int, count: int, rate: int) -> Samples:
        semitones = (midi - zone.root) * zone.scale - self._off(zone) / 100.0
        step = min(2 ** (min(semitones, 120.0) / 12.0) * zone.rate / rate, HIGHEST_STEP)
        data = _unrolled(self._font.sound, zone, int(count * step) + 8)
        sound = _between(data, np.arange(count) * step + 1.0)
        sound = _filtered(sound, zone, rate)
        return sound * _envelope(zone, count, rate) * np.float32(zone.gain)

    def _measured(self, zone: Zone) -> float:
        """Cents that the sample sounds above its root; 0 where that cannot be told."""
        data = _unrolled(self._font.sound, zone, zone.rate * 5 // 4)[zone.rate // 8 :]
        nominal = 440.0 * 2 ** ((zone.root - 69.0) / 12.0)
        size = 1 << 17
        spectrum = np.abs(np.fft.rfft(data * np.hanning(len(data)), size))
        for n in (1, 2, 3):
            lower, upper = (int(n * nominal * 2 ** (c / 1200.0) * size / zone.rate) for c in (-45, 45))
            if upper + 2 >= len(spectrum) or upper <= lower:
                continue
            k = lower + int(spectrum[lower : upper + 1].argmax())
            if lower < k < upper and spectrum[k] > 0.05 * spectrum.max():
                a, b, c = np.log(spectrum[k - 1 : k + 2] + 1e-12)
                hz = (k + 0.5 * (a - c) / (a - 2 * b + c)) * zone.rate / size
                return float(1200.0 * np.log2(hz / n / nominal))
        return 0.0


def _unrolled(sound: NDArray[np.int16], zone: Zone, count: int) -> Samples:
    """``count`` samples and three more, the loop repeated as needed; silence after the end where there is none."""
    wanted = count + 3
    if zone.loop is None:
        data = sound[zone.start : min(zone.stop, zone.start + wanted)].astype(np.float32)
        return np.pad(data, (1, max(0, wanted - len(data)))) / 32768.0
    begin, end = zone.loop
    head = sound[zone.start : min(end, zone.start + wanted)].astype(np.float32)
    if len(head) < wanted:
        turn = sound[begin:end].astype(np.float32)
        head = np.concatenate((head, np.resize(turn, wanted - len(head))))
    return np.pad(head, (1, 0)) / 32768.0


def _between(data: Samples, places: NDArray[np.floating[Any]]) -> Samples:
    """Values at fractional places by a cubic through four neighbours."""
    whole = places.astype(np.int64)
    x = (places - whole).astype(np.float32)
    whole = np.clip(whole, 1, len(data) - 3)
    a, b, c, d = data[whole - 1], data[whole], data[whole + 1], data[whole + 2]
    return b + 0.5 * x * (c - a + x * (2 * a - 5 * b + 4 * c - d + x * (3 * (b - c) + d - a)))


def _envelope(zone: Zone, count: int, rate: int) -> Samples:
    t = np.arange(count, dtype=np.float32) / rate
    out = np.ones(count, dtype=np.float32)
    if zone.attack_s > 0.002:
        out = np.minimum(out, t / np.float32(zone.attack_s))
    if zone.sustain < 0.999:
        # the decay time is that of a fall by 100 dB, in a straight line of decibels
        fall = np.float32(10.0) ** (-5.0 * np.maximum(t - zone.attack_s, 0.0) / np.float32(max(zone.decay_s, 0.01)))
        out = out * np.maximum(fall, np.float32(zone.sustain))
    return out.astype(np.float32)


def _filtered(sound: Samples, zone: Zone, rate: int) -> Samples:
    """The zone's low-pass filter, which closes from its bright to its settled corner."""

    def at(corner_hz: float) -> Samples:
        return _lowpass(sound, corner_hz, rate) if corner_hz < 0.45 * rate else sound

    settled = at(zone.corner_hz)
    if zone.bright_hz == zone.corner_hz:
        return settled
    fall = 1.0 - np.arange(len(sound), dtype=np.float32) / np.float32(max(zone.settle_s, 0.001) * rate)
    return np.asarray(settled + (at(zone.bright_hz) - settled) * np.maximum(fall, 0.0), dtype=np.float32)


def _lowpass(sound: Samples, corner_hz: float, rate: int) -> Samples:
    size = 1 << int(np.ceil(np.log2(len(sound) + rate // 10)))
    hz = np.fft.rfftfreq(size, 1 / rate)
    s = 1j * hz / corner_hz
    return np.fft.irfft(np.fft.rfft(sound, size) / (1 + 1.414 * s + s * s), size)[: len(sound)].astype(np.float32)
