"""Chooses the items of a quiz: only questions with choices, only claims the engine is sure of, no two alike."""

from __future__ import annotations

import contextlib
import random
from collections import Counter
from collections.abc import Sequence

from tutor.errors import PackError
from tutor.practice.drill import Answer, Drill, Item, Material, NoMaterial
from tutor.quiz.pack import MOST_ITEMS, Pack, PackItem, Reveal

_TRIES = 12
"""Dice thrown for one place before another skill stands in."""
_PROBES = 3
"""Dice thrown to learn whether a skill draws on the songs at hand."""
_FRESH_EACH = 2
"""Fresh skills that each drill brings to a quiz of no chosen skills, easiest first."""
_FRESH_EVERY = 3
"""With songs at hand every third question is fresh (a choice of ours: two thirds stay with the songs)."""
Skill = tuple[str, str]
"""Name of a drill and one of its skills."""
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
        skills: (drill, skill) pairs to ask about, in turns; none: what the songs hold in about two thirds of the
            places and fresh music in the rest, or fresh music alone where there is no song.
        count: how many questions.
        mix: shares of easy, middling and hard questions.
        reveal: when explanations are shown.
        seed: seed of the dice.

    Raises:
        PackError: the count is out of bounds, or the songs and skills hold too few questions.
    """
    if not 1 <= count <= MOST_ITEMS:
        raise PackError(f"a quiz holds 1 to {MOST_ITEMS} questions", remedy="Give a number in between")
    wanted = [_turned(skills, p) for p in range(count)] if skills else _unchosen(drills, material, count, seed)
    levels = _levels(count, mix)
    items: list[PackItem] = []
    for place in range(count):
        item = _place(drills, material, wanted[place], place, levels[place], items, seed)
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


def song_skills(drills: Sequence[Drill], material: Material, seed: int = 1) -> list[Skill]:
    """The skills answered by a choice whose questions really come from the songs at hand, drill by drill in turn.

    Asked of the drills themselves: a skill counts when an item that it makes names its song.
    """
    if not material.songs:
        return []
    return _in_turn([[s for s in d.skills if _draws_on_song(d, s, material, seed)] for d in drills], drills)


def fresh_skills(drills: Sequence[Drill], seed: int = 1) -> list[Skill]:
    """The skills whose questions are answered by a choice and need no song, drill by drill in turn, easiest first."""
    return _in_turn([[s for s in d.skills if _asks_choice(d, s, Material(), seed)] for d in drills], drills)


def _in_turn(found: Sequence[Sequence[str]], drills: Sequence[Drill]) -> list[Skill]:
    """First one skill of each drill, then the second of each, and so on."""
    longest = max((len(f) for f in found), default=0)
    return [(d.name, f[n]) for n in range(longest) for d, f in zip(drills, found, strict=True) if n < len(f)]


def _probe(drill: Drill, skill: str, material: Material, seed: int) -> Item | None:
    for attempt in range(_PROBES):
        with contextlib.suppress(NoMaterial):
            return drill.item(skill, material, random.Random(f"{seed}-probe-{attempt}"), EASY_TO_HARD[1])
    return None


def _draws_on_song(drill: Drill, skill: str, material: Material, seed: int) -> bool:
    item = _probe(drill, skill, material, seed)
    return item is not None and bool(item.song_id) and drill.question(item).ask == "choice"


def _asks_choice(drill: Drill, skill: str, material: Material, seed: int) -> bool:
    item = _probe(drill, skill, material, seed)
    return item is not None and drill.question(item).ask == "choice"


def _unchosen(drills: Sequence[Drill], material: Material, count: int, seed: int) -> list[list[Skill]]:
    """For each place the skills to try, in order: songs in two places of three where songs hold something."""
    sung = song_skills(drills, material, seed)
    each: Counter[str] = Counter()
    fresh: list[Skill] = []
    for name, skill in fresh_skills(drills, seed):
        each[name] += 1
        if each[name] <= _FRESH_EACH:
            fresh.append((name, skill))
    if not sung:
        return [_turned(fresh, place) for place in range(count)]
    out, turns = [], [0, 0]
    for place in range(count):
        is_fresh = place % _FRESH_EVERY == _FRESH_EVERY - 1
        first, second = (fresh, sung) if is_fresh else (sung, fresh)
        out.append(_turned(first, turns[is_fresh]) + second)
        turns[is_fresh] += 1
    return out


def _turned(skills: Sequence[Skill], by: int) -> list[Skill]:
    at = by % len(skills) if skills else 0
    return [*skills[at:], *skills[:at]]


def _place(
    drills: Sequence[Drill], material: Material, wanted: Sequence[Skill], place: int, level: float,
    taken: Sequence[PackItem], seed: int,
) -> PackItem | None:  # fmt: skip
    """The question for one place: of the first skill wanted that has one, none like those taken."""
    named = {d.name: d for d in drills}
    seen = {_likeness(i) for i in taken}
    for name, skill in wanted:
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
