"""The order of a session: what is due, what is weak, one new thing, interleaved after a warm start.

Turns rather than blocks: C. Carter and J. Grahn, Frontiers in Psychology 7:1251 (2016), found for ten clarinettists
that where playing differed after three-minute turns and twelve-minute blocks, it favoured turns. The shares below
are choices of ours.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from datetime import datetime

from tutor.practice.drill import Drill
from tutor.practice.schedule import Card, due

WEAK = 0.7
"""Recent mean credit below which a skill counts as weak."""
NEW_SHARE = 0.25
"""Share of a session that the one new skill may take."""
SPARED = {"high-note": 4}
"""Drills that a mixed session holds at most so often: high notes tire the voice (a choice of ours)."""
FIRST_DRILLS = 4
"""Drills offered to someone who has practised nothing yet."""

Skill = tuple[str, str]


def plan(
    drills: Sequence[Drill],
    cards: Mapping[Skill, Card],
    size: int,
    rng: random.Random,
    now: datetime,
    skills: Sequence[Skill] | None = None,
    *,
    songs: bool = False,
) -> list[Skill]:
    """The skills of a session in order.

    Args:
        drills: what can be asked.
        cards: what the singer has met.
        size: how many places.
        rng: the only source of chance.
        now: the time, for what is due.
        skills: only these, in turns; None for the mixture.
        songs: True when there are songs to draw on: half of the places then go to skills that do.
    """
    offered = {(d.name, s) for d in drills for s in d.skills}
    if skills is not None:
        chosen = [s for s in skills if s in offered]
        return interleaved([chosen[i % len(chosen)] for i in range(size)], rng) if chosen else []
    known = {k: c for k, c in cards.items() if k in offered and not c.new}
    cut = _cut_from_songs(drills, known, size // 2, rng, now) if songs else []
    order = _mixture(drills, known, size - len(cut), rng, now)
    for place, skill in enumerate(cut):
        order.insert(2 * place + 1, skill)
    return order


def song_skills(drills: Sequence[Drill]) -> list[Skill]:
    """The skills that are cut from songs, one drill after the other, each drill's easiest first."""
    rows = [[(d.name, s) for s in d.skills if s in getattr(d, "from_songs", ())] for d in drills]
    longest = max((len(r) for r in rows), default=0)
    return [row[turn] for turn in range(longest) for row in rows if turn < len(row)]


def _mixture(
    drills: Sequence[Drill], known: Mapping[Skill, Card], size: int, rng: random.Random, now: datetime
) -> list[Skill]:
    """What is due, what is weak and one new thing, after a warm start."""
    if not known:
        return _first_time(drills, size, rng)
    warm = warm_start(known, now)
    fresh = new_skill(drills, known)
    places = max(0, size - 1)
    new_places = min(max(1, round(places * NEW_SHARE)), 4) if fresh and places > 1 else 0
    rest = _by_need(known, now, places - new_places, spare=[(d.name, d.skills[0]) for d in drills[:FIRST_DRILLS]])
    body = interleaved(rest, rng, after=warm)
    for n in range(new_places):
        assert fresh is not None
        body.insert(min(len(body), round((n + 1) * places / (new_places + 1))), fresh)
    return [warm, *body][:size]


def warm_start(known: Mapping[Skill, Card], now: datetime) -> Skill:
    """An easy known skill to begin with: the best remembered of those that go well."""
    return max(known, key=lambda k: ((known[k].recent or 0) >= WEAK, known[k].recall(now), known[k].stability_days, k))


def new_skill(drills: Sequence[Drill], known: Mapping[Skill, Card]) -> Skill | None:
    """The one new thing: the easiest unmet skill of the drill in which least has been met and the last goes well."""
    best: tuple[int, int, Skill] | None = None
    for order, drill in enumerate(drills):
        met = [s for s in drill.skills if (drill.name, s) in known]
        unmet = [s for s in drill.skills if s not in met]
        if not unmet or any((known[drill.name, s].recent or 0) < WEAK for s in met):
            continue
        rank = (len(met), order, (drill.name, unmet[0]))
        best = rank if best is None or rank < best else best
    return best[2] if best else None


def interleaved(skills: Sequence[Skill], rng: random.Random, after: Skill | None = None) -> list[Skill]:
    """The skills shuffled so that one drill follows itself only where no other is left."""
    left = list(skills)
    rng.shuffle(left)
    out: list[Skill] = []
    last = after
    while left:
        counts: dict[str, int] = {}
        for name, _ in left:
            counts[name] = counts.get(name, 0) + 1
        other = [s for s in left if last is None or s[0] != last[0]] or left
        pick = max(other, key=lambda s: counts[s[0]])
        left.remove(pick)
        out.append(pick)
        last = pick
    return out


def _cut_from_songs(
    drills: Sequence[Drill], known: Mapping[Skill, Card], places: int, rng: random.Random, now: datetime
) -> list[Skill]:
    """Skills that are cut from songs: due first, then the drills in turns."""
    offered = song_skills(drills)
    waiting = {c.key for c in due(known.values(), now)}
    ready = [s for s in offered if s in waiting] + [s for s in offered if s not in waiting]
    chosen = [ready[i % len(ready)] for i in range(places)] if ready else []
    rng.shuffle(chosen)
    return chosen


def _by_need(known: Mapping[Skill, Card], now: datetime, places: int, spare: Sequence[Skill] = ()) -> list[Skill]:
    """Due first, then weak, then what is closest to being forgotten; round again until the places are full.

    Where little is known yet, the easiest skills of the first drills (``spare``) keep the rounds from narrowing.
    """
    waiting = [c.key for c in due(known.values(), now)]
    weak = sorted((k for k in known if (known[k].recent or 0) < WEAK), key=lambda k: (known[k].recent or 0, k))
    rest = sorted(known, key=lambda k: (known[k].recall(now), k))
    order = list(dict.fromkeys([*waiting, *weak, *rest]))
    order += [s for s in spare if s not in known][: max(0, FIRST_DRILLS - len(order))]
    front = max(1, len(set(waiting) | set(weak)), min(len(order), 6))
    pool = order[: max(front, 1)]
    out: list[Skill] = []
    turn = 0
    while len(out) < places:
        skill = pool[turn % len(pool)]
        turn += 1
        if sum(s[0] == skill[0] for s in out) < SPARED.get(skill[0], places):
            out.append(skill)
        elif all(s[0] in SPARED for s in pool):
            break
    return out


def _first_time(drills: Sequence[Drill], size: int, rng: random.Random) -> list[Skill]:
    """Nothing is known: the easiest skill of a few drills, in turns."""
    easiest = [(d.name, d.skills[0]) for d in drills[:FIRST_DRILLS]]
    if not easiest:
        return []
    turns = [easiest[i % len(easiest)] for i in range(size)]
    return [turns[0], *interleaved(turns[1:], rng, after=turns[0])]
