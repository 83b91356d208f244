"""Engraved phrases: from whatever thread they are asked for."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from tutor.music.phrase import Phrase
from tutor.score.engrave import engrave


def test_every_thread_draws_the_same() -> None:
    """The library remembers where its signs lie for the thread that loaded it alone."""
    phrase = Phrase.parse("C4+E4+G4:4")
    here = engrave(phrase)
    with ThreadPoolExecutor(1) as one, ThreadPoolExecutor(1) as other:
        assert {pool.submit(engrave, phrase).result() for pool in (one, other)} == {here}


def test_bars_keep_the_numbers_they_have_in_the_song() -> None:
    phrase = replace(Phrase.parse(" ".join(["C4+E4+G4:1"] * 48)), first_bar="21")
    told = [int(n) for n in re.findall(r"<tspan[^>]*>(\d+)</tspan>", engrave(phrase))]
    assert told[0] == 21
    assert len(told) > 1
    assert all(21 < n <= 32 for n in told[1:])
