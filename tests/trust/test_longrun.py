"""Forty simulated minutes of practice: nothing grows, nothing sounds on. The bench lives through a day, with sound."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.bench import longrun
from tests.bench.longrun import Counted, Sign, Told
from tests.practice.songs import lanterns
from tutor.sound.ports import RATE, Clip
from tutor.studio import Studio


def test_forty_minutes_leave_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Rendered notes are kept up to a bound that an hour does not reach; the bench runs long enough to see it hold.
    monkeypatch.setattr(Studio, "render", lambda *_, **__: Clip(np.zeros(RATE, dtype=np.float32)))
    told = longrun.day(tmp_path, 40, [lanterns()], silent=True, hear_s=0.0)
    assert told.answers >= 35
    assert told.midi_messages > 0
    assert told.faults(settled=30) == []


def test_each_fault_is_found() -> None:
    calm = Sign(120, 100.0, 10.0, 12, 2, 100.0, 0.0, 0)
    for worse in (
        Sign(480, 200.0, 10.0, 12, 2, 100.0, 0.0, 0),
        Sign(480, 100.0, 40.0, 12, 2, 100.0, 0.0, 0),
        Sign(480, 100.0, 10.0, 20, 2, 100.0, 0.0, 0),
        Sign(480, 100.0, 10.0, 12, 9, 100.0, 0.0, 0),
        Sign(480, 100.0, 10.0, 12, 2, 100.0, 0.3, 0),
        Sign(480, 100.0, 10.0, 12, 2, 100.0, 0.0, 1),
    ):
        assert len(Told([calm, worse]).faults()) == 1
    assert len(Told([calm, calm], drift_ms=[80.0]).faults()) == 1
    assert Told([calm, calm]).faults() == []


def test_a_note_that_is_not_released_counts() -> None:
    told = Counted()
    told.send(0x90, 60, 80)
    told.send(0x91, 62, 80)
    told.send(0x80, 60, 0)
    assert sum(told.sounding.values()) == 1
