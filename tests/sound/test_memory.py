"""Large arrays go back to the system; elsewhere than on Linux nothing is touched."""

from __future__ import annotations

import platform
import sys

import pytest

from tutor.sound.memory import return_large_blocks


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only this C library keeps dropped arrays")
def test_the_c_library_takes_it() -> None:
    assert return_large_blocks()


@pytest.mark.parametrize("system", ["win32", "darwin"])
def test_other_systems_are_left_alone(system: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", system)
    assert not return_large_blocks()


def test_another_c_library_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ctypes.CDLL", lambda _: object())
    assert not return_large_blocks()
