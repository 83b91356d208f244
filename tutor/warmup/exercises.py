"""The patterns of a warm-up, as a table.

A pattern is a line of scale degrees with their lengths, above a root that moves by a semitone from key to key.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Phase = Literal[
    "body and breath",
    "semi-occluded",
    "five notes",
    "octave",
    "transitions",
    "agility",
    "sustain",
    "messa di voce",
    "approach",
    "break",
    "cool-down",
]
PHASES: tuple[Phase, ...] = (
    "body and breath", "semi-occluded", "five notes", "octave", "transitions", "agility", "sustain",
    "messa di voce", "approach", "break", "cool-down",
)  # fmt: skip
"""In pedagogical order. Order of the first steps: Demorest and Ross, choral warm-up packet (2003), seen in a mirror;
the rest is common practice."""

_MAJOR = (0, 2, 4, 5, 7, 9, 11)

HEADINGS: dict[Phase, str] = {
    "body and breath": "Body and breath",
    "semi-occluded": "Semi-occluded sounds (through a narrow mouth)",
    "five notes": "Five-note patterns",
    "octave": "Octaves and leaps",
    "transitions": "Register transitions",
    "agility": "Agility",
    "sustain": "Held notes",
    "messa di voce": "Messa di voce (swell and fade on one note)",
    "approach": "The approach to the high note",
    "break": "Break",
    "cool-down": "Cool-down",
}
"""Phases as the singer reads them."""


def semitones(degree: int) -> int:
    """Semitones of a degree of the major scale above its first degree; 8 is the octave."""
    return 12 * ((degree - 1) // 7) + _MAJOR[(degree - 1) % 7]


@dataclass(frozen=True, slots=True)
class Exercise:
    """One pattern, or a task without notes."""

    name: str
    """Stable name."""
    phase: Phase
    title: str
    """Shown."""
    pattern: tuple[tuple[int, float], ...]
    """Scale degree and length in quarters; empty for body and breath."""
    sounds: tuple[str, ...]
    """What is sung, note by note; one sound is held throughout."""
    bpm: float
    """Quarter notes a minute."""
    instruction: str
    """One or two sentences to the singer."""
    source: str
    """Who says that this helps, or 'common practice'."""

    @property
    def span(self) -> int:
        """Semitones from the lowest to the highest note."""
        return self.top - self.bottom

    @property
    def top(self) -> int:
        """Semitones of the highest note above the root."""
        return max((semitones(d) for d, _ in self.pattern), default=0)

    @property
    def bottom(self) -> int:
        """Semitones of the lowest note above the root."""
        return min((semitones(d) for d, _ in self.pattern), default=0)

    @property
    def quarters(self) -> float:
        """Length of the sung pattern in quarters."""
        return sum(q for _, q in self.pattern)

    @property
    def vowel(self) -> str:
        """What is sung, on one line."""
        return " ".join(s for i, s in enumerate(self.sounds) if i == 0 or s != self.sounds[i - 1])


def keys_up(exercise: Exercise, first_root: int, top: int) -> list[int]:
    """Roots by semitone from ``first_root`` as long as the pattern stays within ``top``, MIDI numbers."""
    return list(range(first_root, top - exercise.top + 1))


def _even(degrees: str, quarters: float, last: float) -> tuple[tuple[int, float], ...]:
    """Equal lengths with a longer last note: ``_even("1 2 3", .5, 2)``."""
    found = [int(d) for d in degrees.split()]
    return (*((d, quarters) for d in found[:-1]), (found[-1], last))


_PRACTICE = "common practice"
_TITZE = "Titze, JSLHR 49(2), 2006: a narrowing at the lips asks less of the folds for the same sound"
_STRAW = "straw dose: 3 to 5 minutes is the common ground of the studies seen"
_GISH = "among the favourite patterns of 117 singers: Gish et al., J. of Voice 26(1), 2012"
_MILLER = "light and moving before held: R. Miller, The Structure of Singing (1986), recalled, not looked up"
_DOWN = "descending with nasals to cool down: Ribeiro et al., Rev. CEFAC 18(6), 2016"

_LEAPT = ("ya", "oo", "oo", "oo", "oo")
_FIVE = _even("1 2 3 4 5 4 3 2 1", 0.5, 2)

_TABLE = (
    Exercise(
        "body", "body and breath", "Loosen up", (), (), 60,
        "Roll the shoulders, turn the head slowly from side to side, let the jaw hang and the tongue lie loose. "
        "Stand with your weight on both feet.",
        "posture first: Demorest and Ross, choral warm-up packet (2003), seen in a mirror",
    ),
    Exercise(
        "breath", "body and breath", "Breathe low and let it go", (), (), 60,
        "Breathe in without lifting the shoulders, then let the air go on a long, even “sss”. "
        "Stop well before you are out of air, and let the next breath come by itself.",
        "breath after posture: Demorest and Ross, choral warm-up packet (2003), seen in a mirror",
    ),
    Exercise(
        "lip-trill", "semi-occluded", "Lip trill, five notes up and down", _FIVE, ("brr",), 100,
        "Let the lips flutter on a steady stream of air. If the trill stops, use less voice, not more air.",
        _TITZE,
    ),
    Exercise(
        "small-trill", "semi-occluded", "Lip trill, three notes up and down", _even("1 2 3 2 1", 1, 2), ("brr",), 100,
        "Let the lips flutter on a steady stream of air. If the trill stops, use less voice, not more air.",
        _TITZE,
    ),
    Exercise(
        "straw", "semi-occluded", "Straw, slide to the fifth and back", ((1, 1), (5, 2), (1, 2)), ("oo",), 84,
        "Hum through a straw, or through lips closed around a small “oo”, and slide between the notes.",
        _STRAW,
    ),
    Exercise(
        "hum", "semi-occluded", "Hum, three notes up and down", _even("1 2 3 2 1", 1, 2), ("mm",), 96,
        "Hum with the teeth apart and the lips just touching. Look for a light buzz at the lips.",
        _TITZE,
    ),
    Exercise(
        "five-note", "five notes", "Five notes up and down", _FIVE, ("noo",), 108,
        "Sing lightly and evenly; the top note is no louder than the first.",
        _GISH,
    ),
    Exercise(
        "five-note-vowels", "five notes", "Five notes, three vowels",
        ((1, 0.5), (2, 0.5), (3, 0.5), (4, 0.5), (5, 1), (3, 1), (1, 2)),
        ("mee", "eh", "ah", "ah", "ah", "eh", "ee"), 104,
        "Let one vowel melt into the next; the jaw moves little.",
        _GISH,
    ),
    Exercise(
        "five-note-down", "five notes", "Five notes down", _even("5 4 3 2 1", 0.5, 2), ("voh",), 100,
        "Start softly and let the voice settle downward; do not press the lowest note.",
        _GISH,
    ),
    Exercise(
        "octave-arpeggio", "octave", "Octave arpeggio", _even("1 3 5 8 5 3 1", 0.5, 1), ("wee",), 112,
        "Keep it quick and light: touch the top and leave it at once.",
        f"{_GISH}; {_MILLER}",
    ),
    Exercise(
        "octave-leap", "octave", "Leap of an octave", ((1, 1), (8, 1), (5, 0.5), (3, 0.5), (1, 1)), _LEAPT, 96,
        "Think the upper note before you leave the lower one, and arrive without a push.",
        _PRACTICE,
    ),
    Exercise(
        "sixth-leap", "octave", "Leap of a sixth", ((1, 1), (6, 1), (5, 0.5), (3, 0.5), (1, 1)), _LEAPT, 96,
        "Think the upper note before you leave the lower one, and arrive without a push.",
        _PRACTICE,
    ),
    Exercise(
        "fourth-leap", "octave", "Leap of a fourth", ((1, 1), (4, 1), (3, 0.5), (2, 0.5), (1, 1)), _LEAPT, 96,
        "Think the upper note before you leave the lower one, and arrive without a push.",
        _PRACTICE,
    ),
    Exercise(
        "fifth-leap", "octave", "Leap of a fifth", ((1, 1), (5, 1), (4, 0.5), (2, 0.5), (1, 1)), _LEAPT, 96,
        "Think the upper note before you leave the lower one, and arrive without a push.",
        _PRACTICE,
    ),
    Exercise(
        "transition-slide", "transitions", "Slide across the change", ((1, 1), (5, 1), (1, 2)), ("woo",), 80,
        "Slide slowly through the change of register and let the voice grow lighter on the way up.",
        "the change is a band, not one note; that is taught differently by different teachers; common practice",
    ),
    Exercise(
        "transition-arpeggio", "transitions", "Narrow vowel across the change",
        _even("1 3 5 3 1", 0.5, 2), ("noo",), 92,
        "Keep the vowel narrow where the voice wants to change, and do not carry weight upward.",
        "vowel modification: R. Miller, The Structure of Singing (1986), recalled, not looked up",
    ),
    Exercise(
        "quick-words", "agility", "Quick words", _even("5 5 5 5 4 4 3 3 2 2 1", 0.25, 1.5),
        ("ta", "da", "la", "da", "ta", "da", "la", "da", "ta", "da", "la"), 92,
        "Tongue and lips do the work; the jaw stays easy and the breath keeps flowing.",
        _PRACTICE,
    ),
    Exercise(
        "running-notes", "agility", "Running notes", _even("1 2 3 4 5 4 3 2 1 2 3 4 5 4 3 2 1", 0.25, 2), ("lah",), 88,
        "Let the notes run evenly on one breath, soft rather than loud.",
        _MILLER,
    ),
    Exercise(
        "closed-to-open", "sustain", "From a closed vowel to an open one",
        ((1, 0.5), (3, 0.5), (5, 2), (3, 0.5), (1, 1.5)),
        ("noo", "noo", "oo-ah", "ah", "ah"), 84,
        "Hold the top on “oo” and open it slowly to “ah” without getting louder.",
        "closed, narrow vowels first: Roll, J. of Voice 2016, read in an abstract; common practice",
    ),
    Exercise(
        "swell", "messa di voce", "Swell and fade on one note", ((1, 8),), ("ah",), 72,
        "Begin softly, grow to medium, and come back to soft on one breath. Stop short of loud.",
        "late and advanced work: R. Miller, The Structure of Singing (1986), recalled, not looked up",
    ),
    Exercise(
        "cool-hum", "cool-down", "Hum downward to cool down", _even("5 4 3 2 1", 1, 2), ("mm",), 92,
        "After recording, or now if you do not record: hum softly downward and let the voice come home to where you "
        "speak.",
        _DOWN,
    ),
)  # fmt: skip

EXERCISES: dict[str, Exercise] = {e.name: e for e in _TABLE}
"""Every exercise by name."""
