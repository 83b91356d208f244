"""A small invented quiz for the tests."""

from __future__ import annotations

from tutor.music.phrase import Phrase
from tutor.practice.drill import Choice, Excerpt
from tutor.quiz.pack import Pack, PackItem


def item(number: int = 0, right: str = "first") -> PackItem:
    phrase = Phrase.parse("C4+E4+G4:2 G3+B3+D4:2" if number % 2 else "E3+G3+C4:4")
    return PackItem(
        drill="inversions",
        skill="triads",
        level=0.3,
        prompt=f"Which note is lowest? ({number})",
        source="fresh",
        heard=(Excerpt("The chord", phrase),),
        seen=(),
        choices=(Choice("root", "the root"), Choice("first", "the third"), Choice("second", "the fifth")),
        right=right,
        explanation="The third, E, is lowest.",
        evidence=(Excerpt("The chord on the staff", phrase),),
    )


def pack(count: int = 4) -> Pack:
    rights = ("first", "root", "second")
    return Pack("Tide chords", "Listen twice.", "at once", 7, tuple(item(n, rights[n % 3]) for n in range(count)))
