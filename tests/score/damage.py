"""Ways in which files get damaged."""

from __future__ import annotations

import random


def mutated(data: bytes, rng: random.Random) -> bytes:
    """Bytes changed, lost, doubled, added or cut off."""
    changed = bytearray(data)
    for _ in range(rng.choice((1, 2, 4, 16))):
        at = rng.randrange(len(changed))
        kind = rng.randrange(5)
        if kind == 0:
            changed[at] = rng.randrange(256)
        elif kind == 1:
            del changed[at : at + rng.randrange(1, 40)]
        elif kind == 2:
            end = min(len(changed), at + rng.randrange(1, 80))
            changed[at:at] = changed[at:end]
        elif kind == 3:
            changed[at:at] = rng.choice((b"-", b"0", b"99999", b"<", b">", b"\x00", b"&", b"|", b"z", b"[", b"/"))
        else:
            del changed[rng.randrange(len(changed) // 2 + 1) :]
        if not changed:
            return b""
    return bytes(changed)


def digits_changed(data: bytes, rng: random.Random) -> bytes:
    """Well-formed, with other numbers: what a byte-wise change of XML seldom gives."""
    pieces = list(data)
    places = [i for i, c in enumerate(pieces) if chr(c).isdigit()]
    for at in rng.sample(places, min(len(places), rng.randrange(1, 12))):
        pieces[at] = ord(rng.choice("0123456789-"))
    return bytes(pieces)
