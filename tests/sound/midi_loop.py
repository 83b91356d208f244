"""MIDI ports for tests: a JACK server with its dummy driver, and a keyboard with sounds in a process of its own."""

from __future__ import annotations

import contextlib
import os
import queue
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path

NEEDED = ("jackd", "jack_lsp")
"""Programs it needs."""

SERVER = f"larkstair-test-{os.getpid()}"


def missing() -> str:
    """What is missing on this machine; empty when everything is there."""
    return ", ".join(n for n in NEEDED if shutil.which(n) is None)


class MidiLoop:
    """The server.

    Args:
        folder: where its log goes.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.server: subprocess.Popen[bytes] | None = None

    environment = {  # noqa: RUF012
        "JACK_DEFAULT_SERVER": SERVER,
        "JACK_NO_START_SERVER": "1",
        "JACK_NO_AUDIO_RESERVATION": "1",
    }

    def start(self) -> None:
        """Start the server and wait until it answers."""
        here = {**os.environ, **self.environment}
        with (self.folder / "jack.log").open("ab") as log:
            self.server = subprocess.Popen(
                ["jackd", "-n", SERVER, "--no-realtime", "--no-mlock", "-d", "dummy", "-r", "48000", "-p", "1024"],
                env=here,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        for _ in range(200):
            with contextlib.suppress(subprocess.TimeoutExpired):
                if subprocess.run(["jack_lsp"], env=here, capture_output=True, check=False, timeout=5).returncode == 0:
                    return
            time.sleep(0.05)
        self.stop()
        raise RuntimeError(f"the MIDI server did not start: {(self.folder / 'jack.log').read_text()[-2000:]}")

    def stop(self) -> None:
        """End the server and wait for it."""
        if self.server is not None:
            self.server.terminate()
            try:
                self.server.wait(3)
            except subprocess.TimeoutExpired:  # it sometimes waits for clients that have gone
                self.server.kill()
                self.server.wait(10)
            self.server = None


_GEAR = """
import sys, rtmidi
name = sys.argv[1]
keys = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name)
keys.open_virtual_port("keys")
synth = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name + "-synth")
synth.open_virtual_port("in")
synth.set_callback(lambda event, _: print(*event[0], flush=True))
print("ready", flush=True)
for line in sys.stdin:
    keys.send_message([int(word) for word in line.split()])
for port in (synth, keys):
    port.close_port()
    port.delete()
"""


class Gear:
    """A keyboard with its own sounds: what is sent to it can be read, what it plays can be told.

    Args:
        name: its name in the list of ports.
    """

    def __init__(self, name: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", _GEAR, name],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        self._ready = threading.Event()
        self._got: queue.Queue[tuple[int, ...]] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        if not self._ready.wait(15):
            self.process.kill()
            raise RuntimeError("the test keyboard did not start")

    def play(self, *messages: tuple[int, int, int]) -> None:
        """Send messages as if keys were pressed."""
        assert self.process.stdin is not None
        self.process.stdin.writelines(f"{a} {b} {c}\n" for a, b, c in messages)
        self.process.stdin.flush()

    def received(self, count: int, seconds: float = 5.0) -> list[tuple[int, ...]]:
        """The next messages that came in; fewer when no more come within the time."""
        got: list[tuple[int, ...]] = []
        deadline = time.monotonic() + seconds
        while len(got) < count:
            try:
                got.append(self._got.get(timeout=max(0.01, deadline - time.monotonic())))
            except queue.Empty:
                break
        return got

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if line == "ready\n":
                self._ready.set()
                continue
            self._got.put(tuple(int(word) for word in line.split()))

    def unplug(self) -> None:
        """Pull the plug; safe to call twice."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        if not self.process.stdin.closed:
            self.process.stdin.close()
        try:
            self.process.wait(5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(5)
        self._reader.join(5)
        self.process.stdout.close()
