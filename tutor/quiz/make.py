"""Chooses the items of a quiz: only questions with choices, only claims the engine is sure of, no two alike."""

from __future__ import annotations

import random
from collections.abc import Sequence

from tutor.errors import PackError
from tutor.practice.drill import Answer, Drill, Item, Material, NoMaterial
from tutor.quiz.pack import MOST_ITEMS, Pack, PackItem, Reveal

_TRIES = 12
"""Dice thrown for one place before another skill stands in."""
EASY_TO_HARD = (0.15, 0.45, 0.75)
"""Levels of an easy, a middling and a hard question (a choice of ours)."""


def make(
    drills: Sequence[Drill],
    material: Material,
    *,
    title: str,
    introduction: str = "",
    skills: Sequence[tuple[str, str]] = (),
    count: int = 10,
    mix: Sequence[int] = (5, 3, 2),
    reveal: Reveal = "at once",
    seed: int = 1,
) -> Pack:
    """Make a quiz; the same arguments always make the same one.

    Args:
        drills: what can be asked.
        material: songs to draw on.
        title: shown at the top.
        introduction: shown under the title.
        skills: (drill, skill) pairs to ask about, in turns; none: every drill's first two skills.
        count: how many questions.
        mix: shares of easy, middling and hard questions.
        reveal: when explanations are shown.
        seed: seed of the dice.

    Raises:
        PackError: the count is out of bounds, or the songs and skills hold too few questions.
    """
    if not 1 <= count <= MOST_ITEMS:
        raise PackError(f"a quiz holds 1 to {MOST_ITEMS} questions", remedy="Give a number in between")
    wanted = list(skills) or [(d.name, s) for d in drills for s in d.skills[:2]]
    levels = _levels(count, mix)
    items: list[PackItem] = []
    for place in range(count):
        item = _place(drills, material, wanted, place, levels[place], items, seed)
        if item is None:
            raise PackError(
                f"the songs and skills chosen give only {len(items)} different questions",
                remedy="Choose more skills or songs, or ask for fewer questions",
            )
        items.append(item)
    return Pack(title, introduction, reveal, seed, tuple(items))


def another(drills: Sequence[Drill], material: Material, pack: Pack, index: int, seed: int) -> Pack:
    """The pack with one item replaced by a fresh one of the same skill and level.

    Raises:
        PackError: there is no other.
    """
    old = pack.items[index]
    item = _place(drills, material, [(old.drill, old.skill)], 0, old.level, pack.items, seed)
    if item is None:
        raise PackError("there is no other question of this skill", remedy="Choose another skill or song")
    return pack.with_item(index, item)


def freeze(drill: Drill, item: Item) -> PackItem | None:
    """An item with everything it shows; None for a question that is not answered by a choice."""
    question = drill.question(item)
    right = drill.right(item)
    if question.ask != "choice" or right.choice is None:
        return None
    mark = drill.mark(item, Answer(choice=right.choice))
    return PackItem(
        drill=item.drill,
        skill=item.skill,
        level=item.level,
        prompt=question.prompt,
        source=question.source,
        heard=question.heard,
        seen=question.seen,
        choices=question.choices,
        right=right.choice,
        explanation=mark.explanation,
        evidence=mark.evidence[:2],
    )


def _place(
    drills: Sequence[Drill], material: Material, wanted: Sequence[tuple[str, str]], place: int, level: float,
    taken: Sequence[PackItem], seed: int,
) -> PackItem | None:  # fmt: skip
    """The question for one place, by the skills in turn, none like those taken."""
    named = {d.name: d for d in drills}
    seen = {_likeness(i) for i in taken}
    for turn in range(len(wanted)):
        name, skill = wanted[(place + turn) % len(wanted)]
        drill = named.get(name)
        if drill is None or skill not in drill.skills:
            continue
        for attempt in range(_TRIES):
            try:
                item = freeze(drill, drill.item(skill, material, random.Random(f"{seed}-{place}-{attempt}"), level))
            except NoMaterial:
                break
            if item is None:
                break
            if _likeness(item) not in seen:
                return item
    return None


def _likeness(item: PackItem) -> tuple[object, ...]:
    """What makes two questions the same to a viewer: what is asked and what is heard or seen."""
    return item.prompt, tuple(e.phrase.tones for e in item.heard), tuple(e.phrase.tones for e in item.seen)


def _levels(count: int, mix: Sequence[int]) -> list[float]:
    """A level for each place, easy first."""
    shares = [max(0, m) for m in mix] or [1]
    total = sum(shares) or 1
    return [
        EASY_TO_HARD[next((i for i in range(len(shares)) if (p + 0.5) / count * total <= sum(shares[: i + 1])), 0)]
        for p in range(count)
    ]
