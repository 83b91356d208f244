"""Independent routes to the answers about lines: form, changes, bass, melody, sight, high notes."""

from __future__ import annotations

import re
from collections.abc import Sequence

from tests.drills.notes import ORDINALS, at, by_ear, degree, interval_name, key_heard, lowest, steps_of, voice
from tutor.music.phrase import Phrase
from tutor.practice.drill import Answer, Item, Question


def line(phrase: Phrase) -> list[tuple[float, float, int]]:
    return [(t.onset_quarters, t.duration_quarters, t.midi) for t in voice(phrase)]


def relation(question: Question, item: Item) -> str:
    a, b = (line(e.phrase) for e in (question.heard or question.seen))
    if a == b:
        return "same"
    rhythm = [x[:2] for x in a] == [x[:2] for x in b]
    share = len(set(a) & set(b)) / max(len(a), len(b))
    if item.song_id:
        places = [{(o, m) for o, _, m in x} for x in (a, b)]
        return "varied" if len(places[0] & places[1]) / max(len(a), len(b)) >= 0.5 else "new"
    assert (share >= 0.5 and rhythm) or (share <= 0.4 and not rhythm), share
    return "varied" if rhythm else "new"


def comes_back(question: Question, item: Item) -> str:
    """The later phrase that shares most of its notes with the first; the others share few, wherever they are moved."""
    first, *later = (line(e.phrase) for e in question.heard)
    back = []
    for label, other in zip(("first", "second", "third"), later, strict=False):
        size = max(len(first), len(other))
        moved = [
            len({(o, m + by) for o, _, m in first} & {(o, m) for o, _, m in other}) / size for by in range(-12, 13)
        ]
        if moved[12] >= 0.6:
            back.append(label)
        else:
            assert max(moved) <= 0.34, moved
    assert len(back) <= 1
    return back[0] if back else "none"


def sets_off_again(question: Question, item: Item, right: Answer) -> str | None:
    """Every place where the sung line has its first pitches again, at the same distances."""
    notes = line(question.heard[0].phrase)
    named = re.search(r"same first (three|four|five|six) notes", question.prompt)
    assert named is not None
    size = {"three": 3, "four": 4, "five": 5, "six": 6}[named[1]]
    heads = [[(round(o - notes[i][0], 3), m) for o, _, m in notes[i : i + size]] for i in range(len(notes) - size + 1)]
    places = [notes[i][0] for i in range(1, len(heads)) if heads[i] == heads[0]]
    return None if list(right.marks) == places else f"it sets off at {places}, not at {list(right.marks)}"


def letters(phrase: Phrase, size: float, count: int) -> str:
    seen: list[list[tuple[float, float, int]]] = []
    out = ""
    for i in range(count):
        here = [(o - i * size, d, m) for o, d, m in line(phrase) if i * size <= o < (i + 1) * size]
        if here not in seen:
            seen.append(here)
        out += "ABCDEFGH"[seen.index(here)]
    return out


def name_form(question: Question, item: Item) -> str:
    return letters(question.heard[0].phrase, 8.0, 4)


def section(question: Question, item: Item) -> str:
    phrase, alone = question.heard[0].phrase, question.heard[1].phrase
    plan = re.findall(r"[A-D]{4}", question.prompt)[0]
    assert letters(phrase, 8.0, 4) == plan
    parts = [[(o - i * 8.0, d, m) for o, d, m in line(phrase) if i * 8 <= o < i * 8 + 8] for i in range(4)]
    return str(plan[parts.index(line(alone))])


def mark_sections(question: Question, item: Item, right: Answer) -> str | None:
    phrase = question.heard[0].phrase
    places = right.marks
    size = places[0]
    even = list(places) == [size * i for i in range(1, 4)]
    return None if even and letters(phrase, size, 4) in ("AABA", "ABAB", "ABAC", "AABB") else "the places are uneven"


def differing(question: Question) -> int:
    a, b = (voice(e.phrase) for e in (question.heard or question.seen))
    places = [i for i, (x, y) in enumerate(zip(a, b, strict=True)) if x.midi != y.midi]
    assert len(places) == 1, places
    assert [(x.onset_quarters, x.duration_quarters) for x in a] == [(y.onset_quarters, y.duration_quarters) for y in b]
    return places[0]


def where_differs(question: Question, item: Item) -> str:
    return f"bar {int(voice(question.heard[0].phrase)[differing(question)].onset_quarters // 4) + 1}"


def withheld(question: Question, item: Item) -> str:
    a, b = (line(e.phrase) for e in question.heard)
    assert a[: len(b)] == b
    missing = {int(o // 4) for o, _, _ in a[len(b) :]}
    return {frozenset(): "nothing", frozenset({3}): "last bar", frozenset({2, 3}): "last two bars"}[frozenset(missing)]


def direction(question: Question, item: Item) -> str:
    place = differing(question)
    a, b = (voice(e.phrase)[place] for e in question.heard)
    return "higher" if b.midi > a.midi else "lower"


def which_note(question: Question, item: Item) -> str:
    return ORDINALS[differing(question)]


def how_far(question: Question, item: Item) -> str:
    place = differing(question)
    a, b = (voice(e.phrase)[place] for e in question.heard)
    return interval_name(a, b)


def change_kind(question: Question, item: Item) -> str:
    a, b = (e.phrase for e in question.heard)
    va, vb = voice(a), voice(b)
    if line(a) == line(b):
        under = [{(t.onset_quarters, t.midi % 12) for t in x.tones if t.line != "voice"} for x in (a, b)]
        assert under[1] - under[0]
        return "harmony"
    if [t.midi for t in va] == [t.midi for t in vb]:
        return "rhythm"
    moves = {abs(x.midi - y.midi) for x, y in zip(va, vb, strict=True)} - {0}
    return "octave" if moves == {12} else "pitch"


def chord_changed(question: Question, item: Item) -> str:
    a, b = (e.phrase for e in question.heard)
    count = round(a.length_quarters / 2)
    names = [[(c.root().name, c.quality, c.inversion()) for c in steps_of(p, count)] for p in (a, b)]
    places = [i for i, (x, y) in enumerate(zip(*names, strict=True)) if x != y]
    assert len(places) == 1, places
    return ORDINALS[places[0]]


def new_note(question: Question, item: Item, right: Answer) -> str | None:
    now = voice(question.heard[1].phrase)[differing(question)]
    return None if right.notes == (now.midi,) else "another note is wanted"


def bass_move(question: Question, item: Item) -> str:
    phrase = question.heard[0].phrase
    lows = [lowest(at(phrase, o)) for o in sorted({2.0 * int(t.onset_quarters // 2) for t in phrase.tones})]
    a, b = lows[-2:]
    size = "step" if abs(a.pitch.diatonic - b.pitch.diatonic) == 1 else "leap"
    return f"{size} {'up' if b.midi > a.midi else 'down'}"


def bass_degrees(question: Question, item: Item) -> str:
    phrase, key = question.heard[1].phrase, key_heard(question)
    lows = [lowest(at(phrase, o)) for o in sorted({2.0 * int(t.onset_quarters // 2) for t in phrase.tones})]
    return " ".join(degree(key, t).replace("b", "♭").replace("#", "♯") for t in lows)


def wanted_basses(question: Question, item: Item, right: Answer) -> str | None:
    phrase = question.heard[1].phrase
    lows = [lowest(at(phrase, o)).midi for o in sorted({2.0 * int(t.onset_quarters // 2) for t in phrase.tones})]
    return same_line(lows, right)


def same_line(midis: Sequence[int], right: Answer) -> str | None:
    given = [round(n.midi) for n in right.take.notes] if right.take else list(right.notes)
    moved = {g - m for g, m in zip(given, midis, strict=True)}
    return None if len(moved) == 1 and next(iter(moved)) % 12 == 0 else "another line is wanted"


def wanted_melody(question: Question, item: Item, right: Answer) -> str | None:
    source = question.seen or question.heard
    return same_line([t.midi for t in voice(source[-1].phrase)], right)


def high_leap(question: Question, item: Item) -> str:
    a, b = voice(question.heard[0].phrase)[-2:]
    assert b.midi == max(t.midi for t in question.heard[0].phrase.tones)
    return by_ear(interval_name(a, b))
