"""Words for intervals, times and notes, as the singer reads them."""

from __future__ import annotations

from tutor.music.pitch import Pitch, pretty

_INTERVALS = (
    "a unison", "a semitone", "a tone", "a minor third", "a major third", "a fourth", "a tritone", "a fifth",
    "a minor sixth", "a major sixth", "a minor seventh", "a major seventh", "an octave",
)  # fmt: skip


def interval(size: int) -> str:
    """The size of an interval in words: 3 → 'a minor third', 14 → 'an octave and a tone'."""
    size = abs(size)
    if size <= 12:
        return _INTERVALS[size]
    octaves, rest = divmod(size, 12)
    head = "an octave" if octaves == 1 else f"{octaves} octaves"
    return f"{head} and {_INTERVALS[rest]}" if rest else head


def moved(semitones: int) -> str:
    """A transposition in words: -2 → 'a tone down', 0 → 'as printed'."""
    if semitones == 0:
        return "as printed"
    return f"{interval(semitones)} {'down' if semitones < 0 else 'up'}"


def note(midi: int, fifths: int = 0) -> str:
    """A note with the usual signs: 70 → 'B♭4'."""
    return pretty(Pitch.from_midi(midi, fifths=fifths).name)


def clock(seconds: float) -> str:
    """Minutes and seconds: 754 → '12:34'."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def span(seconds: float) -> str:
    """A length in words: 45 → '45 seconds', 77 → '77 seconds', 90 → '1½ minutes', 600 → '10 minutes'."""
    whole = round(seconds)
    if whole < 75 or (whole < 120 and whole % 30):
        return f"{whole} seconds"
    halves = round(seconds / 30)
    whole, half = divmod(halves, 2)
    return f"{whole}{'½' if half else ''} minute{'s' if halves != 2 else ''}"


def count(number: int, thing: str) -> str:
    """'1 semitone', '3 semitones'."""
    return f"{number} {thing}{'' if number == 1 else 's'}"


def article(number: str) -> str:
    """A bar by its printed number: '27' → 'bar 27'; empty stays 'the song'."""
    return f"bar {number}" if number else "the song"
