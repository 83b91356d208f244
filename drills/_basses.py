"""The same chords over their roots and over a bass that walks by step."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from drills._chords import ORDINALS, tone_words
from drills._draw import Draw, and_list, capital, key_heard, number
from drills._sheet import Sheet
from drills._texture import laid
from drills._voicing import Voicing, lead
from tutor.music.phrase import Phrase
from tutor.music.progression import harmonies
from tutor.music.scale import Key
from tutor.practice.drill import Choice, Excerpt

PAIRS = {
    "major": (
        (("I", "V", "vi", "IV", "I", "IV", "V", "I"), ("I", "V6", "vi", "IV", "I6", "IV", "V", "I")),
        (("I", "V", "I", "IV", "I", "V", "I"), ("I", "V6", "I", "IV6", "I64", "V", "I")),
        (("I", "V7", "I", "IV", "V", "I"), ("I", "V43", "I6", "IV", "V", "I")),
        (("I", "V", "vi", "ii", "V7", "I"), ("I", "V6", "vi", "ii6", "V7", "I")),
        (("I", "IV", "V", "I"), ("I", "IV", "V42", "I6")),
        (("I", "V", "I", "ii", "V", "I"), ("I", "viio6", "I6", "ii6", "V", "I")),
        (("I", "IV", "I", "V7", "I"), ("I", "IV6", "I64", "V7", "I")),
    ),
    "minor": (
        (("i", "v", "iv", "V", "i"), ("i", "v6", "iv6", "V", "i")),
        (("i", "V7", "i", "iv", "V", "i"), ("i", "V43", "i6", "iv", "V", "i")),
        (("i", "V", "i", "iv", "V", "i"), ("i", "V6", "i", "iv6", "V", "i")),
        (("i", "V", "VI", "iv", "V7", "i"), ("i", "V6", "VI", "iio6", "V7", "i")),
    ),
}  # fmt: skip
"""Pairs of figures: roots in the bass; the same functions with a bass by step. Chosen by us."""


FRONTS = {
    "major": ((), ("I", "IV"), ("I", "V"), ("I", "vi", "IV"), ("I", "IV", "V"), ("I", "ii", "V")),
    "minor": ((), ("i", "iv"), ("i", "V"), ("i", "VI", "iv"), ("i", "iv", "V")),
}  # fmt: skip
"""Chords that may go before, the same in both settings."""


def _pairs(mode: str) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Those pairs in which only the bass differs: the chords are the same, figure by figure."""
    key = Key.parse(f"C {mode}")
    out: list[tuple[tuple[str, ...], tuple[str, ...]]] = []
    for roots, steps in PAIRS[mode]:
        a, b = harmonies(roots, key), harmonies(steps, key)
        if all((x.chord.root, x.chord.quality) == (y.chord.root, y.chord.quality) for x, y in zip(a, b, strict=True)):
            out.append((roots, steps))
    return out


SAME = {mode: tuple(_pairs(mode)) for mode in PAIRS}


def steps(voicings: tuple[Voicing, ...]) -> int:
    """How many moves of the bass are steps."""
    return sum(abs(a[0].diatonic - b[0].diatonic) == 1 for a, b in pairwise(voicings))


def pair(draw: Draw) -> tuple[Key, tuple[str, ...], tuple[str, ...], Phrase, Phrase] | None:
    """Two settings of the same chords: (key, figures over roots, figures by step, phrase over roots, by step)."""
    key = draw.key()
    front = draw.rng.choice(FRONTS[key.mode])
    roots, walk = ((*front, *figures) for figures in draw.rng.choice(SAME[key.mode]))
    a, b = lead(harmonies(roots, key), draw.rng), lead(harmonies(walk, key), draw.rng)
    if a is None or b is None or steps(b) <= steps(a):
        return None
    bpm = draw.bpm()
    texture = draw.rng.choice(("block", "broken", "afterbeat")) if draw.level > 0.4 else "block"
    first, second = (laid(v, key, [2.0] * len(roots), bpm, texture) for v in (a, b))
    return key, roots, walk, first, second


def _figured(phrase: Phrase, names: tuple[str, ...]) -> Phrase:
    lows = {
        o: min(t.midi for t in phrase.tones if abs(t.onset_quarters - o) < 1e-6) for o in range(0, 2 * len(names), 2)
    }
    tones = tuple(
        replace(t, mark="bass") if lows.get(round(t.onset_quarters)) == t.midi and t.onset_quarters % 2 == 0 else t
        for t in phrase.tones
    )
    return replace(phrase, tones=tones, figures=tuple((2.0 * i, n) for i, n in enumerate(names)))


def two_basses(draw: Draw) -> Sheet | None:
    """Two settings: which has roots in the bass, which walks."""
    made = pair(draw)
    if made is None:
        return None
    key, roots, walk, a, b = made
    walk_first = draw.rng.random() < 0.5
    ask_steps = draw.rng.random() < 0.5
    first, second = (b, a) if walk_first else (a, b)
    right = "first" if walk_first == ask_steps else "second"
    asked = "walk more by step" if ask_steps else "give every chord its root"
    what = "walks more by step" if ask_steps else "has every chord over its root"
    shown_steps, shown_roots = (
        Excerpt("The bass by step", _figured(b, walk)),
        Excerpt("Roots in the bass", _figured(a, roots)),
    )
    changed = [ORDINALS[i] for i, (x, y) in enumerate(zip(roots, walk, strict=True)) if x != y]
    return Sheet(
        prompt=f"The same chords twice. In which setting does the bass {asked}?",
        ask="choice", right=right, words=f"the {right} setting {what}",
        why=f"Over roots: {' '.join(roots)}. By step: {' '.join(walk)}; inverting the {and_list(changed)} "
        f"chord{'s' if len(changed) > 1 else ''} brings the bass notes closer together.",
        shown=shown_steps if ask_steps else shown_roots,
        heard=(key_heard(draw, key), Excerpt("First setting", first), Excerpt("Second setting", second)),
        choices=(Choice("first", "the first setting"), Choice("second", "the second setting")),
        contrasts={x: shown_roots if ask_steps else shown_steps for x in ("first", "second") if x != right},
        hint="Hum the lowest line of each.",
    )  # fmt: skip


def two_basses_where(draw: Draw) -> Sheet | None:
    """Roots first, then the walking bass: at which chord do they part."""
    made = pair(draw)
    if made is None:
        return None
    key, roots, walk, a, b = made
    place = next(i for i, (x, y) in enumerate(zip(roots, walk, strict=True)) if x != y)
    pool = {ORDINALS[i]: f"the {ORDINALS[i]} chord" for i in range(1, len(roots))}
    right = ORDINALS[place]
    tone = harmonies(walk, key)[place].chord.bass
    over_roots = Excerpt("Roots in the bass", _figured(a, roots))
    return Sheet(
        prompt=f"{capital(number(len(roots)))} chords over their roots, then the same chords over another bass. "
        "Which is the first that does not stand over its root?",
        ask="choice", right=right, words=pool[right],
        why=f"At the {right} chord the bass takes {tone_words(tone)} ({walk[place]}), not the root ({roots[place]}).",
        shown=Excerpt("The bass by step", _figured(b, walk)),
        heard=(key_heard(draw, key), Excerpt("Over the roots", a), Excerpt("With another bass", b)),
        choices=draw.choose(right, pool, 5), contrasts={x: over_roots for x in pool if x != right},
        hint="Tap along and name each bass note as a degree.",
    )  # fmt: skip
