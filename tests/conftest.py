"""For every test: no network, since Larkstair never asks anything of one; and the same dice on every run.

Property tests draw the same cases each time, so that a run can be repeated. ``LARKSTAIR_FRESH_DICE=1`` draws new ones.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
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
