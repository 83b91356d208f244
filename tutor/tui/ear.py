"""An open microphone behind a screen: held notes and phrases, with a pause while the program itself sounds."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from statistics import median
from typing import TYPE_CHECKING

from tutor.music.take import Take, TrackPoint

if TYPE_CHECKING:
    from tutor.sound.calibrate import Bleed
    from tutor.sound.listen import LivePitch
    from tutor.sound.ports import Block, Ear
    from tutor.studio import Studio

HELD_S = 0.6
"""A pitch that stays this long counts as a note held (a choice of ours)."""
STEADY = 0.6
"""Semitones within which it must stay (a choice of ours)."""
JUDGE_S = 1.0
"""How often what was sung since the program fell silent is judged, in seconds."""
MOST_S = 30.0
"""No more than this much of it is looked at."""
RING_S = 0.35
"""How long after playing the room still rings."""
_TOLD = 3
"""Points of pitch after which the screen is told: some thirty times a second."""
_BLOCKS = 6000
"""No more blocks than this are held in memory."""


def held(points: Sequence[TrackPoint]) -> float | None:
    """The pitch of a held note as a fractional MIDI number; None where nothing was held.

    Args:
        points: the latest stretch of live pitch, oldest first.
    """
    if len(points) < 2 or points[-1].at_s - points[0].at_s < HELD_S:
        return None
    latest = [p for p in points if points[-1].at_s - p.at_s <= HELD_S]
    if any(p.hz <= 0 for p in latest):
        return None
    midis = [69 + 12 * math.log2(p.hz / 440.0) for p in latest]
    return median(midis) if max(midis) - min(midis) <= STEADY else None


class OpenEar:
    """Listens until it is closed.

    `listen` runs in a worker. The callbacks come from its thread, perhaps once more after `close`, so a screen hands
    them on with `call_later`.

    Args:
        studio: opens the microphone.
        live: told of every stretch of pitch.
        note: told of each held note once, as a fractional MIDI number.
        phrase: told of everything sung since the program fell silent, about once a second.
    """

    def __init__(
        self,
        studio: Studio,
        *,
        live: Callable[[Sequence[TrackPoint]], None] | None = None,
        note: Callable[[float], None] | None = None,
        phrase: Callable[[Take], None] | None = None,
    ) -> None:
        self._studio = studio
        self._live, self._note, self._phrase = live, note, phrase
        self._ear: Ear | None = None
        self._closed = False
        self.sounding = False
        """True while the program plays: nothing is judged then, or the microphone would hear the program, unless the
        singer has confirmed headphones in Setup."""
        self._bleed: Bleed
        self._noise_db = -70.0
        self._points: list[TrackPoint] = []
        self._blocks: list[Block] = []
        self._fresh: list[TrackPoint] = []
        self._judged = 0.0
        self._last: float | None = None

    def listen(self) -> None:
        """Listen until `close`; blocks.

        Raises:
            PortUnavailable: there is no microphone.
        """
        from tutor.sound.calibrate import Bleed
        from tutor.sound.listen import LivePitch
        from tutor.studio import hearing

        known = hearing.hearing(self._studio.store)
        self._noise_db = hearing.noise_db(self._studio.store)
        # what wireless loudspeakers hold back still sounds after the program has fallen silent
        self._bleed = Bleed(headphones=known.headphones, ring_s=RING_S + (known.late_s or 0.0))
        self._ear = hearing.ear_of(self._studio)
        pitch = LivePitch(noise_db=self._noise_db)
        try:
            for block in self._ear.listen():
                if self._closed:
                    break
                self._hear(block, pitch)
        finally:
            self._ear.close()

    def close(self) -> None:
        """Stop listening; safe to call twice and from another thread."""
        self._closed = True
        if self._ear is not None:
            self._ear.close()

    def forget(self) -> None:
        """Begin anew: what was heard so far belongs to something else."""
        self._blocks, self._points, self._fresh, self._last = [], [], [], None

    def _hear(self, block: Block, pitch: LivePitch) -> None:
        fresh = list(pitch.feed(block))
        if self.sounding:
            self._bleed.playing(block.at_s)
        if not self._bleed.may_listen(block.at_s):
            self.forget()
            return
        self._fresh += fresh
        if self._live is not None and len(self._fresh) >= _TOLD:
            self._live(tuple(self._fresh))
            self._fresh = []
        self._points = [*self._points, *fresh][-200:]
        if self._note is not None:
            self._tell_note(self._note)
        if self._phrase is not None:
            self._blocks = [*self._blocks[-_BLOCKS:], block]
            if block.at_s - self._judged >= JUDGE_S:
                self._judged = block.at_s
                self._tell_phrase(self._phrase)

    def _tell_note(self, note: Callable[[float], None]) -> None:
        midi = held(self._points)
        if midi is None:
            if self._points and self._points[-1].hz <= 0:
                self._last = None
        elif self._last is None or abs(midi - self._last) > STEADY:
            self._last = midi
            note(midi)

    def _tell_phrase(self, phrase: Callable[[Take], None]) -> None:
        import numpy as np

        from tutor.sound.listen import take
        from tutor.sound.ports import RATE

        samples = np.concatenate([b.samples for b in self._blocks])[-round(MOST_S * RATE) :]
        phrase(take(samples, noise_db=self._noise_db))
