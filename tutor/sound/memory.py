"""Memory of large arrays, given back to the system."""

from __future__ import annotations

import sys

_M_MMAP_THRESHOLD = -3
_LARGE_BYTES = 128 * 1024


def return_large_blocks() -> bool:
    """Let every array above 128 kB go back to the system when it is dropped.

    The C library of Linux raises that bound by itself once such an array was freed, and then keeps the room between the
    notes that are rendered and forgotten all day: 40 MB more in eight hours, measured by `tests.bench.longrun`, and
    none with the bound fixed (mallopt(3), M_MMAP_THRESHOLD).

    Returns:
        True where the library took it; elsewhere nothing is changed.
    """
    if sys.platform != "linux":
        return False
    import ctypes

    try:
        return bool(ctypes.CDLL(None).mallopt(_M_MMAP_THRESHOLD, _LARGE_BYTES))
    except (AttributeError, OSError):  # another C library
        return False
