"""The order of a session: what is due, what is weak, one new thing, interleaved after a warm start.

Turns rather than blocks: C. Carter and J. Grahn, Frontiers in Psychology 7:1251 (2016), found for ten clarinettists
that where playing differed after three-minute turns and twelve-minute blocks, it favoured turns. The shares below
are choices of ours; tests/bench/learner.py shows what they do over thirty days.
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
FIRST_SONGS = 3
"""Kinds of question about songs offered to someone who has met none yet."""
FRONT = 4
"""Of what is not due, so many skills closest to being forgotten take turns, from songs and from fresh material."""

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
        songs: True when there are songs to draw on: what is due comes first, then half of the places go to them.
    """
    offered = {(d.name, s) for d in drills for s in d.skills}
    if skills is not None:
        chosen = [s for s in skills if s in offered]
        return interleaved([chosen[i % len(chosen)] for i in range(size)], rng) if chosen else []
    cut = song_skills(drills)
    askable = offered if songs else offered - set(cut)
    known = {k: c for k, c in cards.items() if k in askable and not c.new}
    firsts = [(d.name, d.skills[0]) for d in drills[:FIRST_DRILLS]]
    if not known:
        return _first_time([firsts, cut[:FIRST_SONGS]] if songs else [firsts], size, rng)
    warm = warm_start(known, now)
    fresh = new_skill(drills, known, cut if songs else ())
    places = max(0, size - 1)
    new_places = min(max(1, round(places * NEW_SHARE)), 4) if fresh and places > 1 else 0
    rest = _by_need(known, now, places - new_places, firsts, cut if songs else ())
    body = interleaved(rest, rng, after=warm)
    for n in range(new_places):
        assert fresh is not None
        _slip_in(body, fresh, round((n + 1) * places / (new_places + 1)), warm)
    return [warm, *body][:size]


def _slip_in(body: list[Skill], skill: Skill, at: int, before: Skill) -> None:
    """Put a skill in at a place, or the nearest where its drill does not follow itself."""

    def clash(place: int) -> bool:
        around = [body[place - 1] if place else before, *body[place : place + 1]]
        return any(s[0] == skill[0] for s in around)

    places = sorted(range(len(body) + 1), key=lambda p: (clash(p), abs(p - at), p))
    body.insert(places[0], skill)


def song_skills(drills: Sequence[Drill]) -> list[Skill]:
    """The skills that are cut from songs, one drill after the other, each drill's easiest first."""
    rows = [[(d.name, s) for s in d.skills if s in getattr(d, "from_songs", ())] for d in drills]
    longest = max((len(r) for r in rows), default=0)
    return [row[turn] for turn in range(longest) for row in rows if turn < len(row)]


def warm_start(known: Mapping[Skill, Card], now: datetime) -> Skill:
    """An easy known skill to begin with: the best remembered of those that go well."""
    return max(known, key=lambda k: ((known[k].recent or 0) >= WEAK, known[k].recall(now), known[k].stability_days, k))


def new_skill(drills: Sequence[Drill], known: Mapping[Skill, Card], cut: Sequence[Skill] = ()) -> Skill | None:
    """The one new thing: the easiest unmet skill of the drill in which least has been met and all goes well.

    Args:
        drills: what can be asked.
        known: what was met.
        cut: the skills that are cut from songs, where there are songs: they take turns with the others.
    """
    songs = set(song_skills(drills))
    of_songs = sum(k in songs for k in known)
    wants_song = bool(cut) and 2 * of_songs < len(known) - of_songs
    best: tuple[bool, int, int, Skill] | None = None
    for order, drill in enumerate(drills):
        met = [s for s in drill.skills if (drill.name, s) in known]
        if any((known[drill.name, s].recent or 0) < WEAK for s in met):
            continue
        for of_song in (False, True) if cut else (False,):
            unmet = [(drill.name, s) for s in drill.skills if s not in met and ((drill.name, s) in songs) == of_song]
            rank = (of_song != wants_song, len(met), order, unmet[0]) if unmet else None
            best = rank if rank is not None and (best is None or rank < best) else best
    return best[3] if best else None


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


def _by_need(
    known: Mapping[Skill, Card], now: datetime, places: int, firsts: Sequence[Skill], cut: Sequence[Skill]
) -> list[Skill]:
    """Due first, then weak, then what is closest to being forgotten, half of it from songs where there are any.

    Args:
        known: what was met.
        now: the time.
        places: how many.
        firsts: the easiest skills of the first drills; they keep the rounds from narrowing while little is known.
        cut: the skills that are cut from songs; empty where there is no song.
    """
    waiting = [c.key for c in due(known.values(), now)]
    weak = sorted((k for k in known if (known[k].recent or 0) < WEAK), key=lambda k: (known[k].recent or 0, k))
    out: list[Skill] = []
    for skill in dict.fromkeys([*waiting, *weak]):
        if len(out) < places and _spared(out, skill):
            out.append(skill)
    later = sorted(known, key=lambda k: (known[k].recall(now), k))
    fresh = [s for s in later if s not in cut]
    fresh += [s for s in firsts if s not in known][: max(0, FIRST_DRILLS - len(fresh))]
    songs = [s for s in later if s in cut]
    songs += [s for s in cut if s not in known][: max(0, FIRST_SONGS - len(songs))]
    turns = {True: songs[:FRONT], False: fresh[: FRONT if songs else FRONT + 2]}
    taken = {True: 0, False: 0}
    while len(out) < places:
        of_songs = sum(s in cut for s in out)
        want = bool(turns[True]) and (2 * of_songs < len(out) + 1 or not turns[False])
        pool = turns[want]
        if not pool:
            break
        skill = pool[taken[want] % len(pool)]
        taken[want] += 1
        if _spared(out, skill):
            out.append(skill)
        else:
            pool.remove(skill)
    return out


def _spared(out: Sequence[Skill], skill: Skill) -> bool:
    """True unless a drill that tires the voice has had its share."""
    return sum(s[0] == skill[0] for s in out) < SPARED.get(skill[0], len(out) + 1)


def _first_time(pools: Sequence[Sequence[Skill]], size: int, rng: random.Random) -> list[Skill]:
    """Nothing is known: the easiest skills of a few drills, in turns, and of songs where there are any."""
    pools = [p for p in pools if p]
    if not pools:
        return []
    turns = [pools[i % len(pools)][i // len(pools) % len(pools[i % len(pools)])] for i in range(size)]
    return [turns[0], *interleaved(turns[1:], rng, after=turns[0])]
