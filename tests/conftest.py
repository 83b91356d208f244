"""For every test: no network, as Larkstair never asks anything of one; the same dice; each score is read once.

Property tests draw the same cases each time, so that a run can be repeated. ``LARKSTAIR_FRESH_DICE=1`` draws new ones.
"""

from __future__ import annotations

import hashlib
import os
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
if not os.environ.get("LARKSTAIR_FRESH_DICE"):
    settings.load_profile("steady")

_LOCAL = ("127.", "::1", "localhost")


@pytest.fixture(autouse=True, scope="session")
def no_network() -> Iterator[None]:
    """Refuse every connection that leaves this machine (the browser's driver is on the loopback)."""
    connect, lookup = socket.socket.connect, socket.getaddrinfo

    def guarded(self: socket.socket, address: Any) -> None:
        if self.family != getattr(socket, "AF_UNIX", None) and not str(address[0]).startswith(_LOCAL):
            raise AssertionError(f"a connection to {address} was tried")
        connect(self, address)

    def looked_up(host: Any, *rest: Any, **more: Any) -> Any:
        if host and not str(host).startswith(_LOCAL):
            raise AssertionError(f"the address of {host} was looked up")
        return lookup(host, *rest, **more)

    socket.socket.connect = guarded  # type: ignore[method-assign, assignment]
    socket.getaddrinfo = looked_up
    yield
    socket.socket.connect = connect  # type: ignore[method-assign]
    socket.getaddrinfo = lookup


@pytest.fixture(autouse=True, scope="session")
def each_score_is_read_once() -> Iterator[None]:
    """Opening a song reads its file in a process of its own, which takes seconds: once is enough for all tests."""
    from tutor.music.table import NoteTable
    from tutor.studio import library

    real, known = library._read, dict[tuple[str, str], NoteTable]()

    def once(path: Path, stop: threading.Event | None) -> NoteTable:
        key = path.name, hashlib.sha256(path.read_bytes()).hexdigest()
        if key not in known or (stop is not None and stop.is_set()):
            known[key] = real(path, stop)
        return known[key]

    library._read = once
    yield
    library._read = real
