"""Fixtures of the sound room: a sound card and MIDI ports that are really there."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator

import pytest

from tests.sound import audio_loop, midi_loop
from tests.sound.audio_loop import AudioLoop
from tests.sound.midi_loop import MidiLoop

REQUIRED = os.environ.get("LARKSTAIR_REQUIRE_DEVICES") == "1"
"""True where a missing server is a failure and no reason to skip."""


def need(lacking: str) -> None:
    """Skip (or fail, where devices are required) when something is missing."""
    if lacking and REQUIRED:
        pytest.fail(f"missing on this machine: {lacking}")
    if lacking:
        pytest.skip(f"missing on this machine: {lacking}")


def _restart_portaudio() -> None:
    """PortAudio reads its devices once; let it read them again if another test has loaded it."""
    sounddevice = sys.modules.get("sounddevice")
    if sounddevice is not None:
        sounddevice._terminate()
        sounddevice._initialize()


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Iterator[AudioLoop]:
    """A sound card with loudspeaker and microphone."""
    need(audio_loop.missing())
    loop = AudioLoop(tmp_path_factory.mktemp("card"))
    loop.start()
    patch = pytest.MonkeyPatch()
    for name, value in loop.environment.items():
        patch.setenv(name, value)
    try:
        import sounddevice  # noqa: F401
    except OSError:
        need("libportaudio2")
    _restart_portaudio()
    yield loop
    loop.stop()
    patch.undo()
    _restart_portaudio()


@pytest.fixture(scope="module")
def ports(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MidiLoop]:
    """A MIDI system."""
    need(midi_loop.missing())
    try:
        import rtmidi  # noqa: F401
    except ImportError:
        need("python-rtmidi")
    loop = MidiLoop(tmp_path_factory.mktemp("ports"))
    patch = pytest.MonkeyPatch()
    for name, value in loop.environment.items():
        patch.setenv(name, value)
    loop.start()
    yield loop
    loop.stop()
    patch.undo()
