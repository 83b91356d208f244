"""Engraved phrases: from whatever thread they are asked for."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

from tutor.music.phrase import Phrase
from tutor.score.engrave import engrave


def test_every_thread_draws_the_same() -> None:
    """The library remembers where its signs lie for the thread that loaded it alone."""
    phrase = Phrase.parse("C4+E4+G4:4")
    here = engrave(phrase)
    with ThreadPoolExecutor(1) as one, ThreadPoolExecutor(1) as other:
        assert {pool.submit(engrave, phrase).result() for pool in (one, other)} == {here}
