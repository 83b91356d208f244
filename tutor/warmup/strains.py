"""Notes that strained: how they hold the next plans down, how that eases, and forgetting them.

Nothing published says when a note that strained may be sung again. The rule here is a choice of ours, common practice:
for two weeks nothing goes as high; then a semitone more each week, with one full-voice try at the most while the note
itself comes back. A note that strained three times, or on a day that was not kept, comes back only when the range is
measured again or the singer takes it off the list.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

from tutor.music.voice import SingerProfile
from tutor.warmup import limits
from tutor.warmup.words import count, note

MOST = 20
"""Notes that are kept for a singer."""
RULE = (
    f"Nothing goes as high for {limits.STRAIN_HOLD_DAYS.value / 7:g} weeks, then a semitone more each week, if nothing "
    f"strains (common practice). A note that strained {limits.STRAIN_OFTEN.value:g} times waits until your range is "
    "measured again."
)
"""The rule in the singer's words."""


@dataclass(frozen=True, slots=True)
class Held:
    """What one strained note takes away today."""

    midi: int
    on: date | None
    """Latest day on which it strained; None where it was not kept."""
    times: int
    """How often it strained."""
    top: int
    """Highest note that it allows today, MIDI."""
    rises: date | None
    """When it next allows a semitone more; None where that does not come by itself."""

    @property
    def back(self) -> bool:
        """True where the note itself is allowed again."""
        return self.top >= self.midi

    @property
    def words(self) -> str:
        """'E5 strained on 12 November'."""
        when = f" on {day_words(self.on)}" if self.on else ""
        often = f" {count(self.times, 'time')}, last" if self.times > 1 and self.on else ""
        return f"{note(self.midi)} strained{often}{when}"


def day_words(day: date) -> str:
    """'12 November'."""
    return f"{day.day} {day:%B}"


def held(singer: SingerProfile, today: date | None) -> tuple[Held, ...]:
    """What each strained note takes away, lowest note first.

    Args:
        singer: the voice.
        today: local day; None where it is not known, and then nothing eases.
    """
    latest: dict[int, date | None] = {}
    times: dict[int, int] = {}
    for strain in singer.strains:
        before = latest.get(strain.midi)
        undated = strain.on is None or (strain.midi in latest and before is None)
        latest[strain.midi] = None if undated or strain.on is None else max(before or strain.on, strain.on)
        times[strain.midi] = times.get(strain.midi, 0) + 1
    return tuple(_held(midi, on, times[midi], today) for midi, on in sorted(latest.items()))


def _held(midi: int, on: date | None, times: int, today: date | None) -> Held:
    if on is None or today is None or times >= limits.STRAIN_OFTEN.value:
        return Held(midi, on, times, midi - 1, None)
    hold, each = int(limits.STRAIN_HOLD_DAYS.value), int(limits.STRAIN_EASE_DAYS.value)
    up = max(0, ((today - on).days - hold) // each)
    return Held(midi, on, times, midi - 1 + up, on + timedelta(days=hold + each * (up + 1)))


def lowest(singer: SingerProfile, today: date | None, top: int) -> Held | None:
    """The note that holds today's plan down most; None where none keeps it under ``top`` (MIDI)."""
    found = min(held(singer, today), key=lambda h: (h.top, h.midi), default=None)
    return found if found is not None and found.top < top else None


def sentence(found: Held) -> str:
    """What a strained note means for today's plan."""
    if found.back:
        return (
            f"{found.words}. It is back, lightly: nothing goes above {note(found.top)}, and full voice is tried "
            f"{count(int(limits.STRAIN_TRIES.value), 'time')} at the most."
        )
    head = f"{found.words}, so nothing goes above {note(found.top)} today."
    if found.rises is not None:
        return f"{head} From {day_words(found.rises)} it may rise by a semitone a week, if nothing strains."
    if found.times >= limits.STRAIN_OFTEN.value:
        return f"{head} Show it to your teacher, and measure your range again on a good day before you go there."
    return f"{head} It stays so until you have measured your range again on a good day."


def remember(singer: SingerProfile, midi: int, on: date) -> SingerProfile:
    """The profile with one more note that strained."""
    return _with(singer, [*((s.midi, s.on) for s in singer.strains), (midi, on)][-MOST:])


def forget(singer: SingerProfile, midi: int) -> SingerProfile:
    """The profile without a note that strained."""
    return _with(singer, [(s.midi, s.on) for s in singer.strains if s.midi != midi])


def _with(singer: SingerProfile, kept: list[tuple[int, date | None]]) -> SingerProfile:
    return replace(singer, strained_at=tuple(m for m, _ in kept), strained_on=tuple(on for _, on in kept))
