"""A small SoundFont for the tests."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np


def soundfont(path: Path, *, cents_sharp: float, looped: bool = True) -> None:
    """Write a SoundFont with one preset of one sample: A4 with three partials, out of tune by some cents."""
    hz = 440 * 2 ** (cents_sharp / 1200)
    t = np.arange(44_100) / 44_100
    wave_ = sum(np.sin(2 * np.pi * n * hz * t) / n for n in (1, 2, 3))
    period = 44_100 / hz
    begin = 20_000
    end = begin + round(round(10_000 / period) * period)
    sound = (9000 * np.asarray(wave_)).astype("<i2").tobytes() + b"\0" * 92

    def chunk(name: bytes, data: bytes) -> bytes:
        return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)

    def text(name: str) -> bytes:
        return name.encode().ljust(20, b"\0")

    mode = 1 if looped else 0
    pgen = struct.pack("<HHHH", 41, 0, 0, 0)
    igen = struct.pack("<HHHHHHHHHH", 43, 127 << 8, 54, mode, 58, 69, 53, 0, 0, 0)
    header = struct.pack("<IIIIIBbHH", 0, 44_100, begin, end, 44_100, 60, 0, 0, 1)
    pdta = chunk(
        b"phdr",
        text("Test piano")
        + struct.pack("<HHHIII", 0, 0, 0, 0, 0, 0)
        + text("EOP")
        + struct.pack("<HHHIII", 0, 0, 1, 0, 0, 0),
    )
    pdta += chunk(b"pbag", struct.pack("<HHHH", 0, 0, 1, 0)) + chunk(b"pmod", b"\0" * 10) + chunk(b"pgen", pgen)
    pdta += chunk(b"inst", text("one") + struct.pack("<H", 0) + text("EOI") + struct.pack("<H", 1))
    pdta += chunk(b"ibag", struct.pack("<HHHH", 0, 0, 4, 0)) + chunk(b"imod", b"\0" * 10) + chunk(b"igen", igen)
    pdta += chunk(b"shdr", text("a4") + header + text("EOS") + b"\0" * 26)
    info = chunk(b"ifil", struct.pack("<HH", 2, 1)) + chunk(b"isng", b"EMU8000\0") + chunk(b"INAM", b"Test\0\0")
    body = b"sfbk" + chunk(b"LIST", b"INFO" + info)
    body += chunk(b"LIST", b"sdta" + chunk(b"smpl", sound)) + chunk(b"LIST", b"pdta" + pdta)
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)
