"""What changed when a passage came back, in words."""

from __future__ import annotations

from tutor.analysis.findings import Change, ChangedNote
from tutor.music.chordsymbol import symbol_words
from tutor.music.pitch import pretty
from tutor.practice.material import and_list, beat_words, length_words

_COUNTED = ("", "one", "two", "three", "four")


def change_sides(change: Change) -> tuple[str, str]:
    """What stood there the first time, and what stands there now.

    'C4 for an eighth note', 'G4 on beat 4 of bar 7', 'A4 held', 'a rest', 'C4 and B♭3', 'Gm/B♭', and 'nothing' for
    the other side of notes added or left out at an end.
    """
    if change.what == "harmony":
        was, now = (symbol_words(text).replace("%", "ø") for text in (change.was, change.now))
        return was, now
    return _side(change, change.before), _side(change, change.after)


def _lengths(notes: tuple[ChangedNote, ...]) -> str:
    """'a quarter note and an eighth note', 'two eighth notes'."""
    words = [length_words(n.quarters) for n in notes]
    _, _, name = words[0].partition(" ")
    alike = len(set(words)) == 1 and name.endswith(" note") and " of " not in name
    return f"{_COUNTED[len(words)]} {name}s" if alike and 1 < len(words) < len(_COUNTED) else and_list(words)


def _side(change: Change, notes: tuple[ChangedNote, ...]) -> str:
    if not notes:
        return "nothing" if change.what in ("cut short", "extended") else "a rest"
    names = and_list([pretty(n.pitch) for n in notes])
    if change.what != "rhythm" or not (change.before and change.after):
        return names
    if not (change.before[0].struck and change.after[0].struck):
        return names if notes[0].struck else f"{names} held"
    if len(change.before) == len(change.after) > 1:
        return f"{names} from {beat_words(notes[0].beat)} of bar {notes[0].bar}"
    if len(notes) > 1 or abs(change.before[0].at - change.after[0].at) < 1e-3:
        return f"{pretty(notes[0].pitch)} for {_lengths(notes)}"
    place = f"{names} on {beat_words(notes[0].beat)}"
    return place if change.before[0].bar == change.after[0].bar else f"{place} of bar {notes[0].bar}"
