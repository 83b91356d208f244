"""Independent routes to the answers about songs: from the notes that the evidence points out."""

from __future__ import annotations

import re
from collections.abc import Callable

import music21

from tests.drills.notes import (
    INVERSIONS,
    TEMPLATES,
    by_ear,
    chord,
    degree,
    interval_name,
    lowest,
    quality,
    voice,
)  # fmt: skip
from tutor.music.phrase import Phrase, Tone
from tutor.practice.drill import Item, Mark, Question

_KINDS = {
    "major triad": "major", "minor triad": "minor", "dominant seventh": "dominant-seventh",
    "major seventh chord": "major-seventh", "minor seventh chord": "minor-seventh",
    "half-diminished seventh": "half-diminished-seventh",
}  # fmt: skip


def pointed(phrase: Phrase, mark: str) -> list[Tone]:
    return [t for t in phrase.tones if t.mark == mark]


def _pc(name: str) -> int:
    return int(music21.pitch.Pitch(name.replace("♯", "#").replace("♭", "-")).pitchClass)


def inversion(question: Question, item: Item, mark: Mark) -> str | None:
    """The marked lowest note as a member of the chord that the prompt names."""
    named = re.search(r"the ([A-G][♯♭]*) ([a-z -]+)\. In which", question.prompt)
    assert named is not None
    lows = {t.midi % 12 for t in pointed(mark.evidence[0].phrase, "bass")}
    assert len(lows) == 1
    return INVERSIONS[TEMPLATES[_KINDS[named[2]]].index((lows.pop() - _pc(named[1])) % 12)]


def kind(question: Question, item: Item, mark: Mark) -> str | None:
    tones = pointed(mark.evidence[0].phrase, "target")
    return quality(tones, int(chord(tones).root().pitchClass))


def phrase_end(question: Question, item: Item, mark: Mark) -> str | None:
    named = re.search(r"key is ([A-G][♯♭]?) (major|minor)", question.prompt)
    assert named is not None
    tone = pointed(mark.evidence[0].phrase, "target")[-1]
    return degree(music21.key.Key(named[1].replace("♯", "#").replace("♭", "-")), tone)


def leap(question: Question, item: Item, mark: Mark) -> str | None:
    a, b = pointed(mark.evidence[0].phrase, "target")[-2:]
    return by_ear(interval_name(a, b))


def sung_note(question: Question, item: Item, mark: Mark) -> str | None:
    """What sounds with the marked sung note: a semitone away it rubs."""
    phrase = mark.evidence[0].phrase
    sung = next(t for t in phrase.tones if t.line == "voice" and t.mark)
    others = [t for t in phrase.tones if t.line != "voice"
              and t.onset_quarters < sung.end_quarters and t.end_quarters > sung.onset_quarters]  # fmt: skip
    gaps = {(sung.midi - t.midi) % 12 for t in others}
    # A broken chord may sound the note's own tone elsewhere in the bar.
    bar = {(sung.midi - t.midi) % 12 for t in phrase.tones if t.line != "voice"}
    if 0 in gaps:
        return "rests"
    return mark.expected if 0 in bar else "rubs" if gaps & {1, 11, 6} else "rests"


Route = Callable[[Question, Item, Mark], str | None]
SONGS: dict[str, Route] = {
    "inversions: song": inversion, "inversions: song-staff": inversion, "chord-quality: song": kind,
    "chord-quality: song-staff": kind, "degrees: song": phrase_end, "high-note: song-leap": leap,
    "rub-or-rest: song": sung_note,
}  # fmt: skip
"""Routes to a label: (question, item, mark of the right answer)."""


def basses(question: Question, wanted: list[tuple[int, float]]) -> bool:
    """True when each wanted note is the lowest that sounds at its place in the first excerpt heard."""
    phrase = question.heard[0].phrase
    start = wanted[0][1]
    offsets = sorted({t.onset_quarters for t in phrase.tones})
    for shift in offsets:
        found = []
        for _, onset in wanted:
            at = onset - start + shift
            here = [t for t in phrase.tones if t.onset_quarters <= at + 1e-6 < t.end_quarters]
            found.append(lowest(here).midi if here else None)
        if found == [m for m, _ in wanted]:
            return True
    return False


def sung(phrase: Phrase) -> list[int]:
    """The sung notes in order."""
    return [t.midi for t in sorted(voice(phrase), key=lambda t: t.onset_quarters)]
