"""What a warm-up is planned for besides song and voice: minutes, the recording, the last singing, the margin."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import get_args

from tutor.music.voice import VoiceType
from tutor.tui.widgets.menu import Row
from tutor.warmup import limits

_MINUTES = {
    5: "the least that still climbs", 10: "the usual", 15: "with time to rest", 20: "everything, unhurried",
    30: "before a long rehearsal",
}  # fmt: skip
_RECORDING: tuple[tuple[float | None, str], ...] = (
    (None, "straight after it, or not today"), (10, "in 10 minutes"), (20, "in 20 minutes"), (45, "in 45 minutes"),
    (90, "in 1½ hours"), (180, "in 3 hours"), (300, "in 5 hours or later"),
)  # fmt: skip
_SANG = ((0, "today or yesterday"), (3, "a few days ago"), (7, "a week ago"), (14, "two weeks ago or longer"))
_VOICE: tuple[tuple[VoiceType, str], ...] = tuple((v, v) for v in get_args(VoiceType))
_MARGIN = ((0, "nothing"), (1, "a semitone, lightly"), (2, "a tone, lightly"))
ASKED = {"voice": _VOICE, "record": _RECORDING, "sang": _SANG, "above": _MARGIN}
"""Rows that are changed with the arrows, and what they may say."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What the singer wants today."""

    minutes: tuple[int, ...] = tuple(_MINUTES)
    """The lengths offered; each may be changed by a minute."""
    record: int = 0
    """Index of the time until the recording."""
    sang: int = 0
    """Index of the days since the last singing."""
    above: int = 0
    """Index of the semitones above the comfortable top."""
    voice: int | None = None
    """Index of the voice type of a singer who has not told it yet; None where it is known."""

    @property
    def tells_voice(self) -> VoiceType | None:
        """The voice type, where it is asked here."""
        return None if self.voice is None else _VOICE[self.voice][0]

    @property
    def until_recording_min(self) -> float | None:
        """Minutes until the recording; None for at once or not today."""
        return _RECORDING[self.record][0]

    @property
    def days_since_singing(self) -> int:
        """Whole days."""
        return _SANG[self.sang][0]

    @property
    def margin_semitones(self) -> int:
        """Semitones above the comfortable top."""
        return _MARGIN[self.above][0]

    def rows(self) -> list[Row]:
        """The menu: a length plans, the others are changed with the arrows."""
        out = [Row(f"min:{i}", f"{m} minutes", _MINUTES.get(m, "")) for i, m in enumerate(self.minutes)]
        out.append(Row("", "And so that it fits you", heading=True))
        titles = {} if self.voice is None else {"voice": "I am a"}
        titles |= {"record": "I record", "sang": "I last sang", "above": "Above my easy top"}
        return out + [Row(f"ask:{k}", t, ASKED[k][getattr(self, k)][1]) for k, t in titles.items()]

    def changed(self, row: str, by: int) -> Wish:
        """With the row in the light changed."""
        kind, _, value = row.partition(":")
        if kind == "ask":
            at = (getattr(self, value) + by) % len(ASKED[value])
            return replace(self, **{value: at})
        if kind != "min":
            return self
        least, most = int(limits.MINUTES_LEAST.value), int(limits.MINUTES_MOST.value)
        i = int(value)
        made = max(least, min(most, self.minutes[i] + by))
        return replace(self, minutes=(*self.minutes[:i], made, *self.minutes[i + 1 :]))


def first_wish(days: int | None, voice: VoiceType | None = None) -> Wish:
    """The wish that stands there at first.

    Args:
        days: days since the last warm-up in the diary; None where there is none.
        voice: the voice type taken for a singer who has not told it; None where it is known.
    """
    known = days or 0
    asked = next((i for i, (v, _) in enumerate(_VOICE) if v == voice), None)
    return Wish(
        voice=asked, sang=0 if known < 2 else max(i for i, (least, _) in enumerate(_SANG) if known >= least or i == 1)
    )
