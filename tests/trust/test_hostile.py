"""A thousand damaged and made-up files over every reader: each ends in a reading or in one clear line, in time.

The bench `tests.bench.hostile` does the same with a hundred thousand.
"""

from __future__ import annotations

import random
import tempfile
import time
import zlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.trust.building import BUILT, built
from tests.trust.readers import READERS, Reader

COUNTS = {
    "song.musicxml": 14, "song.mxl": 14, "song.mid": 30, "song.abc": 12, "song.krn": 12, "analysis.rntxt": 170,
    "quiz.json": 170, "answers.txt": 190, "assignment.toml": 180, "sidecar.toml": 15, "look.json": 100, "settings": 40,
    "archive": 5, "font.sf2": 30,
}  # fmt: skip
"""Damaged files for each reader; with those built below they make a thousand."""
BUILT_EACH = 6
NAMED = {r.name: r for r in READERS}


def check(reader: Reader, data: bytes) -> str:
    with tempfile.TemporaryDirectory() as folder:
        started = time.process_time()  # a busy machine is not the reader's fault
        end = reader.end(data, Path(folder))
        assert time.process_time() - started < 10
    assert end in ("read", "told")
    return end


def test_there_are_a_thousand_of_every_kind() -> None:
    assert set(COUNTS) == set(NAMED)
    assert sum(COUNTS.values()) + BUILT_EACH * len(BUILT) >= 1000


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", sorted(NAMED))
def test_whole_files_are_read_and_damaged_ones_end_well(name: str) -> None:
    reader, dice = NAMED[name], random.Random(zlib.crc32(name.encode()))
    wholes = reader.wholes()
    assert [check(reader, data) for data in wholes] == ["read"] * len(wholes)
    for number in range(COUNTS[name]):
        check(reader, reader.damage(wholes[number % len(wholes)], dice))


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", sorted(BUILT))
def test_files_put_together_as_no_program_would_end_well(name: str) -> None:
    @settings(max_examples=BUILT_EACH)
    @given(st.randoms(use_true_random=False))
    def every(dice: random.Random) -> None:
        data = built(name, dice)
        assert data is not None
        check(NAMED[name], data)

    every()


def test_the_check_itself_can_fail() -> None:
    def crash(data: bytes, scratch: Path) -> None:
        raise KeyError("of a library")

    bad = Reader("x", lambda: (b"x",), crash, lambda whole, _: whole)
    assert bad.end(b"x", Path()).startswith("FAULT KeyError")
