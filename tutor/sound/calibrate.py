"""Getting to know the room and the devices: noise floor, latency, and when not to listen."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np

from tutor.errors import PortUnavailable
from tutor.sound.listen import level
from tutor.sound.ports import RATE, Block, Clip, Ear, Player, Samples
from tutor.sound.track import level_db

HEARING = (
    "Headphones: begin quietly, keep the level where you can still follow someone speaking to you, and take breaks. "
    "WHO and ITU (H.870) advise at most 80 dB for 40 hours a week, 75 dB for children; every 3 dB more halves the "
    "time. This program cannot measure the level at your ear; it only limits its own output. Ringing or dullness "
    "after listening is a reason to stop and to ask a doctor or an audiologist."
)
"""Shown once, before the first sound. Source: WHO-ITU standard H.870 (2018, 2022) as reported by hear-it.org (adults)
and in WHO's safe listening pages; halving by the energy principle. That samples do not tell the level at the ear is
reasoning.
"""


@dataclass(frozen=True, slots=True)
class Room:
    """What the microphone hears when nobody sings."""

    noise_db: float
    """Level of the quiet room, decibels below full scale."""
    words: str
    """What that means, in one sentence."""


def noise_floor(samples: Samples, rate: int = RATE) -> Room:
    """Judge two or three seconds of a quiet room.

    Args:
        samples: mono, shape (n,).
        rate: samples a second.
    """
    whole = level(samples)
    if whole.dead:
        return Room(-120.0, "Nothing comes in: the microphone is switched off, or this terminal may not use it.")
    step = max(1, rate // 20)
    count = len(samples) // step
    loud = level_db(samples[: count * step].reshape(count, step)) if count else np.array([whole.rms_db])
    noise = float(np.percentile(loud, 80))
    if noise > -35.0:
        return Room(noise, "The room is too loud to follow a voice: go nearer, or find a quieter place.")
    if noise > -50.0:
        return Room(noise, "There is some noise: sing near the microphone.")
    return Room(noise, "The room is quiet enough.")


def chirp(rate: int = RATE) -> Clip:
    """The sound that latency is measured with: a quarter of a second rising from 400 Hz to 3 kHz, not loud."""
    t = np.arange(round(0.25 * rate)) / rate
    phase = 2 * np.pi * (400.0 * t + (3000.0 - 400.0) * t * t / 0.5)
    return Clip((0.25 * np.sin(phase) * np.hanning(len(t))).astype(np.float32), rate)


def delay(heard: Samples, played: Samples, rate: int = RATE) -> float | None:
    """How much later a sound is heard in a recording, in seconds; None when it is not found for sure.

    Args:
        heard: the recording, longer than ``played``.
        played: what was played.
        rate: samples a second.
    """
    if len(heard) < len(played):
        return None
    size = 1 << int(np.ceil(np.log2(len(heard) + len(played))))
    match = np.fft.irfft(np.fft.rfft(heard, size) * np.conj(np.fft.rfft(played, size)), size)
    match = np.abs(match[: len(heard) - len(played) + 1])
    place = int(match.argmax())
    piece = heard[place : place + len(played)]
    power = float(np.sqrt(np.sum(piece.astype(np.float64) ** 2) * np.sum(played.astype(np.float64) ** 2)))
    if power <= 0.0 or float(match[place]) / power < 0.5:
        return None
    return place / rate


@dataclass(frozen=True, slots=True)
class Delay:
    """What the devices take longer than they say, from a sound played to the sound heard again."""

    late_s: float
    """The middle of all tries, seconds."""
    spread_s: float
    """Between the earliest and the latest try, seconds."""
    heard: int
    """Tries of which the sound came back."""


@runtime_checkable
class TimedEar(Ear, Protocol):
    """A microphone whose clock can be read."""

    def now(self) -> float:
        """Its clock, seconds."""


@runtime_checkable
class TimedPlayer(Player, Protocol):
    """A loudspeaker whose clock can be read."""

    def now(self) -> float:
        """Its clock, seconds."""


def measure_delay(
    player: TimedPlayer, ear: TimedEar, sleep: Callable[[float], None], *, tries: int = 5
) -> Delay | None:
    """Play a short sound some times and look when the microphone has it; None when most were not heard.

    The loudspeaker must reach the microphone. Both streams stamp their samples with what they know of their delay;
    measured is what they do not know: wireless headphones, a slow converter. The clocks of the two are compared, for
    the libraries count from different moments.

    Args:
        player: loudspeaker.
        ear: microphone; it is listened to for ``tries`` times 0.9 s and closed, which also ends the measuring early.
        sleep: passes time.
        tries: how many sounds; the middle one counts.
    """
    sound = chirp()
    blocks: list[Block] = []
    thread = threading.Thread(target=_into(blocks, ear), name="delay", daemon=True)
    thread.start()
    sleep(0.4)
    late: list[float] = []
    try:
        for _ in range(tries):
            if not thread.is_alive():
                return None
            first = len(blocks)
            playing = player.play(sound)
            sleep(0.9)
            found = _heard_at(blocks[first:], sound)
            began = getattr(playing, "heard_from_s", None)
            if found is not None and began is not None:
                late.append(found - ear.now() + player.now() - began)
    finally:
        ear.close()
        thread.join(1.0)
    late.sort()
    if len(late) <= tries // 2:
        return None
    return Delay(late[len(late) // 2], late[-1] - late[0], len(late))


def _into(blocks: list[Block], ear: Ear) -> Callable[[], None]:
    def listen() -> None:
        with contextlib.suppress(PortUnavailable):
            for block in ear.listen():
                blocks.append(block)

    return listen


def _heard_at(blocks: Sequence[Block], sound: Clip) -> float | None:
    """Time on the microphone's clock at which a sound begins in what was heard; None where it is not."""
    if not blocks:
        return None
    found = delay(np.concatenate([b.samples for b in blocks]), sound.samples)
    if found is None:
        return None
    left = round(found * RATE)
    for block in blocks:
        if left < len(block.samples):
            return block.at_s + left / RATE
        left -= len(block.samples)
    return None


class Bleed:
    """Says when the microphone would hear the program itself: then nothing is judged.

    Args:
        headphones: True once the singer has confirmed that loudspeakers are off.
        ring_s: how long after playing the room still rings.
    """

    def __init__(self, *, headphones: bool = False, ring_s: float = 0.35) -> None:
        self.headphones = headphones
        """True: listening goes on while the program plays."""
        self._ring_s = ring_s
        self._until_s = -1.0

    def playing(self, now_s: float) -> None:
        """Tell, again and again, that something is being played now."""
        self._until_s = now_s + self._ring_s

    def may_listen(self, now_s: float) -> bool:
        """Whether what is heard at this time can be judged."""
        return self.headphones or now_s >= self._until_s
