"""A song, its reading, a plan, drills and lessons that stay as they are: pictures change only with the screens."""

from __future__ import annotations

import json
import random
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tutor.analysis import contract
from tutor.lessons import BundledSong, Lesson, parse_lesson
from tutor.music.phrase import Phrase
from tutor.music.table import READER_VERSION, NoteTable
from tutor.practice.drill import Answer, Choice, Excerpt, Item, Mark, Material, Question
from tutor.store.records import SongCard
from tutor.store.store import Store
from tutor.warmup.model import Plan, plan_from_json

HERE = Path(__file__).parent
TABLE = (HERE / "table.json").read_text(encoding="utf-8")
READING: Mapping[str, Any] = json.loads((HERE / "reading.json").read_text(encoding="utf-8"))
_RAW = NoteTable.loads(TABLE)
CARD = SongCard(
    _RAW.sha256, _RAW.title, _RAW.composer, "frozen", True, datetime(2026, 3, 2, 18, 0, tzinfo=UTC), "A frozen song."
)


def furnish(store: Store) -> None:
    """Put the song in a store, read."""
    store.keep_song(CARD)
    store.keep_table(CARD.id, READER_VERSION, TABLE)
    store.keep_reading(CARD.id, f"{READER_VERSION}.{contract.ENGINE_VERSION}", json.dumps(READING))


def plan() -> Plan:
    """A warm-up."""
    return plan_from_json(json.loads((HERE / "plan.json").read_text(encoding="utf-8")))


def bundled() -> tuple[BundledSong, ...]:
    """Two songs that are not opened."""
    texts = [
        ("Lamps Along the Quay", "tenor", "Who waits, and for what: a strophic song with a lydian turn."),
        ("The Second Key", "alto", "A waltz that comes back a tone higher; nothing else is as it was, and it says so."),
    ]
    return tuple(BundledSong(t, HERE / "none.musicxml", f"frozen-{i}", v, b) for i, (t, v, b) in enumerate(texts))


def lessons() -> tuple[Lesson, ...]:
    """Two lessons."""
    first = (
        '+++\ntitle = "Which note is lowest"\nneeds = []\ndrills = ["pretend"]\nsources = []\n+++\n'
        "One question decides: **which member is in the bass?**\n\n- the root: *root position*\n"
        "- the third: *first inversion*\n\n"
        '```music bpm=72 caption="The same chord on two basses"\n'
        "upper: E4+G4+C5:2 E4+G4+C5:2\nlower: C3:2 E3:2\nfigures: C:2 C/E:2\n```\n\nHear the difference.\n"
    )
    second = (
        '+++\ntitle = "What comes back"\nneeds = ["lowest"]\ndrills = []\nsources = []\n+++\nListen for the bass.\n'
    )
    return parse_lesson(first, "01-lowest.md"), parse_lesson(second, "02-back.md")


class Pretend:
    """A drill that asks one thing in one way."""

    lesson = "lowest"

    def __init__(self, name: str, title: str, question: Question, right: Answer, evidence: tuple[Excerpt, ...]) -> None:
        self.name, self.title = name, title
        self.about = f"{title}: asks one thing, always the same."
        self.skills = ("one", "two")
        self._question, self._right, self._evidence = question, right, evidence

    def item(self, skill: str, material: Material, rng: random.Random, level: float = 0.3) -> Item:
        """The same item every time."""
        return Item(self.name, skill, level, "", {"kind": self.name})

    def question(self, item: Item) -> Question:
        """The question."""
        return self._question

    def right(self, item: Item) -> Answer:
        """The right answer."""
        return self._right

    def mark(self, item: Item, answer: Answer) -> Mark:
        """All or nothing."""
        right = answer == self._right
        given = answer.choice or " ".join(map(str, answer.notes or answer.marks))
        return Mark(
            1.0 if right else 0.0, "first inversion (the third is lowest)",
            "In bar 9 the third, E, lies in the bass. The root, C, lies above it.",
            self._evidence if not right and given else self._evidence[:1], given, "first inversion",
        )  # fmt: skip


def pretend_drills() -> tuple[Pretend, ...]:
    """One drill for each way of answering."""
    chord = Phrase(
        Phrase.parse("G4+C5+E5:2 G4+B4+F5:2", line="upper").tones + Phrase.parse("E3:2 D3:2", line="lower").tones,
        first_bar="9", figures=((0.0, "I6"), (2.0, "V43")),
    )  # fmt: skip
    heard = Excerpt("The chord, twice", chord)
    marked = Excerpt("Bar 9, the bass pointed out", chord.marked("bass", [52]))
    wrong = Excerpt("As you answered: the root in the bass", chord.marked("wrong", [52]))
    melody = Excerpt("The melody", Phrase.parse("G4:1 Bb4:1 A4:2", fifths=-1))
    choices = (
        Choice("root position", "root position (the root is lowest)"),
        Choice("first inversion", "first inversion (the third is lowest)"),
        Choice("second inversion", "second inversion (the fifth is lowest)"),
    )
    by_choice = Question(
        "Which inversion is the first chord?", "choice", (heard,), (heard,), choices, "Bar 9 of “A Frozen Song”",
        "Sing the lowest note, then the chord upwards.",
    )  # fmt: skip
    by_notes = Question("Play what you heard.", "notes", (melody,), notes_wanted=3, in_order=True, hint="It rises.")
    by_marks = Question("Tap when a new section begins.", "marks", (melody, heard))
    by_voice = Question("Sing it back.", "take", (melody,), (melody,), also=("notes",))
    return (
        Pretend("choosing", "Inversions", by_choice, Answer(choice="first inversion"), (marked, wrong)),
        Pretend("playing", "Melody by ear", by_notes, Answer(notes=(67, 70, 69)), (melody, heard)),
        Pretend("tapping", "Form", by_marks, Answer(marks=(2.0,)), (heard,)),
        Pretend("singing", "Sing at sight", by_voice, Answer(notes=(67, 70, 69)), (melody,)),
    )
