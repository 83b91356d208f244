"""Why a step is there, in one sentence that names the bar it serves."""

from __future__ import annotations

from tutor.warmup.facts import SongFacts
from tutor.warmup.today import Today
from tutor.warmup.words import interval, note

LEAPS = {"fourth-leap": 6, "fifth-leap": 7, "sixth-leap": 9, "octave-leap": 12}
"""Patterns for leaps, and the widest leap that each has room for, semitones."""


def because(exercise: str, facts: SongFacts, day: Today, top: int = 0) -> tuple[str, str]:
    """The reason for an exercise, and the printed bar it serves.

    Args:
        exercise: its stable name.
        facts: the song.
        day: the day's limits.
        top: highest note to which the exercise goes, MIDI; 0 without singing.
    """
    peak, bar = facts.spelled(facts.peak.pitch.name), facts.peak_bar
    if exercise == "breath" and facts.long_phrase:
        start, seconds = facts.long_phrase
        return f"Because the phrase from bar {start} lasts {round(seconds)} seconds on one breath.", start
    if exercise in LEAPS and facts.leap:
        leap = facts.leap
        size = interval(leap.semitones)
        return f"Because bar {leap.bar} leaps {size} up to {facts.spelled(leap.upper)}.", leap.bar
    if exercise == "five-note-down" and facts.low_start:
        start, pitch = facts.low_start
        return f"Because the song starts low, on {facts.spelled(pitch)} in bar {start}.", start
    if exercise == "quick-words" and facts.quick:
        return f"Because the words run quickly in bar {facts.quick}.", facts.quick
    if exercise in ("closed-to-open", "swell") and facts.long_note:
        held = facts.long_note
        return f"Because bar {held.bar} holds {facts.spelled(held.pitch)} for {held.seconds:.0f} seconds.", held.bar
    if exercise in ("transition-slide", "transition-arpeggio"):
        return _transition(facts, day, peak, bar), bar
    if exercise == "octave-arpeggio" and top < facts.target:
        return f"Because the way to {peak} in bar {bar} is best tried lightly, in passing and below it first.", bar
    return _general(exercise, peak, bar), bar


def zone(facts: SongFacts, day: Today) -> int:
    """The register transition that the song asks for and patterns cross today, MIDI."""
    return day.upper if min(facts.high, day.top) >= day.upper else day.lower


def _transition(facts: SongFacts, day: Today, peak: str, bar: str) -> str:
    at = zone(facts, day)
    if facts.target > at:
        return f"Because the way to {peak} in bar {bar} crosses your register change near {note(at)}."
    return f"Because {peak} in bar {bar} lies close to your register change near {note(at)}."


def _general(exercise: str, peak: str, bar: str) -> str:
    return {
        "body": f"Because {peak} in bar {bar} needs a body that lets go, not one that braces.",
        "breath": f"Because {peak} in bar {bar} rides on an even breath.",
        "small-trill": f"Because a narrow opening asks least of the voice on its way to bar {bar}.",
        "lip-trill": f"Because a narrow opening asks least of the voice on its way to bar {bar}.",
        "straw": f"Because the slide joins low and high softly before {peak} in bar {bar}.",
        "hum": f"Because a hum is the gentlest start toward bar {bar}.",
        "five-note": f"Because small steps prepare the height of bar {bar} before any leap.",
        "five-note-vowels": f"Because the vowels must stay even on the way up to {peak} in bar {bar}.",
        "five-note-down": f"Because the voice stays released when what goes up to bar {bar} also comes down.",
        "octave-arpeggio": f"Because {peak} in bar {bar} is best met lightly and in passing first.",
        "running-notes": f"Because moving notes keep the voice light before {peak} in bar {bar}.",
        "swell": f"Because {peak} in bar {bar} has to grow and fade under control.",
        "closed-to-open": f"Because the vowel of {peak} in bar {bar} opens best from a closed one.",
        "cool-hum": f"Because the voice that climbed toward {peak} in bar {bar} comes home downward.",
        "silence": f"Because {peak} in bar {bar} is better met with a rested voice than with a used one.",
    }[exercise]
