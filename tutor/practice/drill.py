"""The contract of a drill.

A drill makes an Item (plain data, kept in the store), shows it as a Question, and marks an Answer. One drill screen
serves every drill: it draws a Question by its `ask` and knows nothing else. Everything random comes from the
`random.Random` that is passed in, so a seed rebuilds any item.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, Protocol, runtime_checkable

from tutor.analysis.findings import Reading
from tutor.music.phrase import Phrase
from tutor.music.table import NoteTable
from tutor.music.take import Take

Ask = Literal["choice", "notes", "marks", "take"]
Sense = Literal["ear", "eye"]


@dataclass(frozen=True, slots=True)
class Song:
    """A song ready to be asked about."""

    id: str
    """SHA-256 of the file."""
    title: str
    table: NoteTable
    reading: Reading


@dataclass(frozen=True, slots=True)
class Material:
    """What a drill may draw on."""

    songs: tuple[Song, ...] = ()
    """Empty: only fresh material."""
    low_midi: int = 55
    """Lowest note the singer is asked to sing."""
    high_midi: int = 72
    """Highest note the singer is asked to sing."""
    confusions: Mapping[str, Sequence[str]] = field(default_factory=dict)
    """For a right answer's label, the labels this singer took it for, most often first."""

    def song(self, song_id: str) -> Song | None:
        """The song with this id, if it is here."""
        return next((s for s in self.songs if s.id == song_id), None)


@dataclass(frozen=True, slots=True)
class Item:
    """One thing asked. Plain data: it survives storing and is enough to show, mark and explain."""

    drill: str
    """Name of the drill."""
    skill: str
    """One of the drill's skills."""
    level: float
    """Difficulty, 0 to 1."""
    song_id: str
    """SHA-256 of the song it was cut from; empty for fresh material."""
    payload: Mapping[str, Any]
    """JSON values only."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One possible answer."""

    label: str
    """Stable name, stored and counted: 'first inversion'."""
    text: str
    """Shown: 'first inversion (the third is lowest)'."""


@dataclass(frozen=True, slots=True)
class Excerpt:
    """Music to hear or see, with its caption."""

    caption: str
    """'First time, bars 9–12'."""
    phrase: Phrase


@dataclass(frozen=True, slots=True)
class Question:
    """What the screen shows and plays."""

    prompt: str
    """One sentence."""
    ask: Ask
    """'choice': pick one; 'notes': play MIDI notes; 'marks': tap as sections pass; 'take': sing."""
    heard: tuple[Excerpt, ...] = ()
    """Played in turn; each can be heard again alone."""
    seen: tuple[Excerpt, ...] = ()
    """Drawn on the staff before the answer; empty when the question is by ear alone."""
    choices: tuple[Choice, ...] = ()
    """For 'choice': two to eight, in the order shown."""
    source: str = ""
    """'Bars 9–12 of “Title”', or 'fresh'."""
    hint: str = ""
    """One line of help shown on request."""
    notes_wanted: int = 1
    """For 'notes': how many make an answer."""
    in_order: bool = False
    """For 'notes': True when the order matters (a melody), False for a chord."""
    also: tuple[Ask, ...] = ()
    """Other ways in which the answer may be given: 'notes' where a keyboard may stand in for the voice."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What the singer gave; one field is filled, by the question's `ask`. All empty: "I don't know"."""

    choice: str | None = None
    """Label of the picked choice."""
    notes: tuple[int, ...] = ()
    """MIDI numbers in the order played."""
    marks: tuple[float, ...] = ()
    """Quarters from the start of the heard excerpt."""
    take: Take | None = None
    """What was sung."""


@dataclass(frozen=True, slots=True)
class Mark:
    """The judgement of one answer."""

    credit: float
    """0 to 1."""
    right: str
    """The right answer in words."""
    explanation: str
    """Two or three plain sentences with bar numbers where there is a song."""
    evidence: tuple[Excerpt, ...] = ()
    """The music drawn with the telling notes marked; each can be heard; the first is shown at once."""
    answered: str = ""
    """Label of what was answered, for the confusion table."""
    expected: str = ""
    """Label of what was right, for the confusion table."""

    @property
    def correct(self) -> bool:
        """True for full credit."""
        return self.credit >= 1.0 - 1e-9


class NoMaterial(LookupError):
    """The material holds nothing for this skill at this level; the session asks for something else."""


@runtime_checkable
class Drill(Protocol):
    """What a file in drills/ offers under the name `drill`."""

    name: str
    """Key in the store; never changes: 'inversions'."""
    title: str
    """Shown: 'Inversions'."""
    about: str
    """One plain sentence: what it trains."""
    lesson: str
    """Name of the lesson that teaches it."""
    skills: tuple[str, ...]
    """Easiest first; keys in the store."""

    def item(self, skill: str, material: Material, rng: random.Random, level: float = 0.3) -> Item:
        """Make an item.

        Args:
            skill: one of `skills`.
            material: songs and limits to draw on.
            rng: the only source of chance.
            level: difficulty, 0 to 1.

        Raises:
            NoMaterial: the skill needs a song and the material holds none that fits.
        """

    def question(self, item: Item) -> Question:
        """Show an item; the same item always gives the same question."""

    def right(self, item: Item) -> Answer:
        """A fully right answer."""

    def mark(self, item: Item, answer: Answer) -> Mark:
        """Judge an answer; an empty one earns nothing and still explains."""
