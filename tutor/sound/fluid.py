"""SoundFonts through FluidSynth, where the system has it.

Its shared library is asked for single notes and never opens a device: the notes go the same way as our own, to the
loudspeaker and into files. Every key is bent to its pitch, for published fonts are up to 16 cents off. Called through
ctypes: a handful of functions of its stable interface (https://www.fluidsynth.org/api/, recalled), no package needed.
"""

from __future__ import annotations

import contextlib
import ctypes
import sys
import threading
import weakref
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from tutor.errors import PortUnavailable
from tutor.sound.ports import Samples
from tutor.sound.sf2 import SoundFont
from tutor.sound.soundfont import PIANO_PROGRAM, FontTimbre

_NAMES = {
    "darwin": ("libfluidsynth.3.dylib", "/opt/homebrew/lib/libfluidsynth.dylib", "/usr/local/lib/libfluidsynth.dylib"),
    "win32": ("libfluidsynth-3.dll", "fluidsynth.dll"),
}
_BLOCK = 64
_LEVELS = 5
_MIDDLE, _PER_CENT = 8192, 8192 / 200.0
"""Pitch bend: the middle of its 14 bits, and steps a cent at the usual range of two semitones."""
_CUT = 0.5
"""It cuts every pitch down to whole cents, half a cent on average."""
_POINTERS = ("new_fluid_settings", "new_fluid_synth")


@lru_cache(maxsize=1)
def library() -> Any:
    """FluidSynth's shared library; None where it is not installed."""
    for name in _NAMES.get(sys.platform, ("libfluidsynth.so.3", "libfluidsynth.so.2")):
        with contextlib.suppress(OSError):
            found = ctypes.CDLL(name)
            for function in _POINTERS:
                getattr(found, function).restype = ctypes.c_void_p
            found.fluid_version_str.restype = ctypes.c_char_p
            for level in range(_LEVELS):
                found.fluid_set_log_function(level, None, None)
            return found
    return None


def version() -> str:
    """'2.3.1'; empty where FluidSynth is not installed."""
    found = library()
    return found.fluid_version_str().decode("ascii", "replace") if found is not None else ""


class FluidTimbre(FontTimbre):
    """One preset of a SoundFont, played by FluidSynth.

    Args:
        font: the file, already read, for its tuning.
        program: which preset of bank 0; the first of the file if there is none.

    Raises:
        PortUnavailable: FluidSynth is not installed or refuses the file.
    """

    def __init__(self, font: SoundFont, program: int = PIANO_PROGRAM) -> None:
        super().__init__(font, program)
        self.name = f"{self.name[:-1]}, FluidSynth)"
        self._synths: dict[int, _Synth] = {}
        self._synth(48_000)

    def _synth(self, rate: int) -> _Synth:
        if rate not in self._synths:
            self._synths[rate] = _Synth(self._font.path, *self._key, rate)
        return self._synths[rate]

    def _make(self, midi: int, velocity: int, seconds: float, rate: int) -> Samples:
        zones = self._zones_of(midi, velocity)
        off = float(np.mean([self._off(z) for z in zones]))
        out = self._synth(rate).note(midi, velocity, round(seconds * rate), off)
        out.setflags(write=False)
        return out


class _Synth:
    """A synthesizer of its own for one preset; one note at a time."""

    def __init__(self, path: Path, bank: int, program: int, rate: int) -> None:
        found = library()
        if found is None:
            raise PortUnavailable("FluidSynth is not installed")
        self._library, self._lock = found, threading.Lock()
        settings = ctypes.c_void_p(found.new_fluid_settings())
        for name, value in (("synth.sample-rate", float(rate)), ("synth.gain", 1.0)):
            found.fluid_settings_setnum(settings, name.encode(), ctypes.c_double(value))
        # no room of its own; samples of the chosen preset alone are read from the file
        for name in ("synth.reverb.active", "synth.chorus.active"):
            found.fluid_settings_setint(settings, name.encode(), 0)
        found.fluid_settings_setint(settings, b"synth.dynamic-sample-loading", 1)
        self._synth = ctypes.c_void_p(found.new_fluid_synth(settings))
        # deleted with this object, the synthesizer first
        self._end = weakref.finalize(self, _delete, found, self._synth, settings)
        number = found.fluid_synth_sfload(self._synth, str(path).encode(), 0)
        if number < 0 or found.fluid_synth_program_select(self._synth, 0, number, bank, program) != 0:
            self._end()
            raise PortUnavailable("FluidSynth refuses the SoundFont", where=str(path))
        found.fluid_synth_set_interp_method(self._synth, -1, 7)

    def note(self, midi: int, velocity: int, count: int, off_cents: float) -> Samples:
        """A key held for ``count`` samples, brought down by ``off_cents``, as loud at any velocity."""
        size = -(-count // _BLOCK) * _BLOCK
        left, right = np.zeros(size, dtype=np.float32), np.zeros(size, dtype=np.float32)
        with self._lock:
            self._library.fluid_synth_pitch_bend(self._synth, 0, round(_MIDDLE + (_CUT - off_cents) * _PER_CENT))
            self._library.fluid_synth_noteon(self._synth, 0, min(max(midi, 0), 127), velocity)
            self._write(left, right)
            self._library.fluid_synth_all_sounds_off(self._synth, 0)
            rest = np.zeros(4 * _BLOCK, dtype=np.float32)
            self._write(rest, rest.copy())
        # the loudness follows the velocity in steps there (its square), and without steps in `FontTimbre.note`
        return np.asarray((left + right)[:count] * np.float32(0.5 * (127 / velocity) ** 2), dtype=np.float32)

    def _write(self, left: Samples, right: Samples) -> None:
        a, b = (ctypes.c_void_p(side.ctypes.data) for side in (left, right))
        self._library.fluid_synth_write_float(self._synth, len(left), a, 0, 1, b, 0, 1)


def _delete(found: Any, synth: ctypes.c_void_p, settings: ctypes.c_void_p) -> None:
    found.delete_fluid_synth(synth)
    found.delete_fluid_settings(settings)
