"""Sung phrases of a song side by side: the same melody, varied, or another; which of them brings one back.

Both rest on the notes alone: where the sections of a song are not sure, its phrases can still be compared note by note.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

from drills._chords import ORDINALS
from drills._draw import Draw, and_list, capital, number
from drills._sheet import Sheet
from drills._songs import per_song, tune_of
from tutor.analysis.findings import PhraseSpan
from tutor.music.phrase import Phrase
from tutor.practice.drill import Choice, Excerpt, Song
from tutor.practice.material import bar_words, cut, sung_notes

RELATION = {
    "same": "the same",
    "varied": "varied: the same idea with some notes changed",
    "new": "new: another idea",
}
VARIED_FROM, NEW_TO = 0.6, 0.2
"""Shares of agreeing notes: from the first on a phrase counts as varied, up to the second (in any transposition) as
new; what lies between is not asked (choices of ours)."""
ANOTHER_TO = 0.34
"""The same where several phrases are heard and one of them comes back: up to a third, as in fresh music."""
SHAPE_TO = 0.7
"""A phrase that moves the same way at the same moments in this share of its notes is no other melody: it may be heard
as the first one on other degrees, so it is not asked about (a choice of ours)."""


def _notes(song: Song, span: PhraseSpan) -> list[tuple[float, float, int]]:
    return [
        (round(n.onset_quarters - span.start, 4), n.duration_quarters, n.midi)
        for n in sung_notes(song.table, span.start, span.end)
    ]


def compared(
    a: list[tuple[float, float, int]], b: list[tuple[float, float, int]], new_to: float = NEW_TO
) -> str | None:
    """'same', 'varied' or 'new'; None where it could be argued.

    Args:
        a: onset, length and MIDI number of each note of the first phrase, from its start.
        b: the same of the second.
        new_to: up to which share of agreeing notes, in any transposition, the second counts as new.
    """
    if a == b:
        return "same"
    size = max(len(a), len(b))
    places = {(o, m) for o, _, m in a}
    shares = [len(places & {(o, m + shift) for o, _, m in b}) / size for shift in range(-12, 13)]
    if shares[12] >= VARIED_FROM:
        return "varied" if {(o, m) for o, _, m in b} != places else None
    return "new" if max(shares) <= new_to else None


@per_song
def _pairs(song: Song, new_to: float = NEW_TO) -> dict[str, list[tuple[PhraseSpan, PhraseSpan]]]:
    out: dict[str, list[tuple[PhraseSpan, PhraseSpan]]] = {x: [] for x in RELATION}
    spans = [(p, _notes(song, p)) for p in song.reading.phrases]
    for i, (first, a) in enumerate(spans):
        for second, b in spans[i + 1 :]:
            if min(len(a), len(b)) >= 4 and max(first.end - first.start, second.end - second.start) <= 32:
                found = compared(a, b, new_to)
                if found is not None:
                    out[found].append((first, second))
    return out


@per_song
def _related(song: Song) -> dict[str, list[tuple[PhraseSpan, PhraseSpan]]]:
    """Pairs whose relation is beyond argument: notes split or joined for the words alone may be called the same."""

    def tune(span: PhraseSpan) -> list[tuple[float, float, int]]:
        return tune_of(sung_notes(song.table, span.start, span.end), span.start)

    return {
        kind: [(a, b) for a, b in pairs if kind != "varied" or tune(a) != tune(b)]
        for kind, pairs in _pairs(song).items()
    }


def song_relation(draw: Draw) -> Sheet | None:
    """Two sung phrases of a song."""
    song = draw.song(lambda s: sum(bool(x) for x in _related(s).values()) >= 2)
    right = draw.rng.choice([x for x, pairs in _related(song).items() if pairs])
    first, second = draw.rng.choice(_related(song)[right])
    a, b = (_line(song, p) for p in (first, second))
    changed, moved = _changed(a, b)
    varied = right == "varied"
    words = {
        "same": "every sung note agrees.",
        "varied": f"{_of_notes(moved, b)} {'differs' if moved == 1 else 'differ'}; the rest agree in place and pitch.",
        "new": "hardly a note agrees, in this key or moved to another.",
    }
    where = [bar_words(song.table, p.start, p.end) for p in (first, second)]
    heard = (Excerpt("First", wordless(a)), Excerpt("Second", wordless(b)))
    return Sheet(
        prompt="Two sung phrases of one song. What is the second melody, compared with the first?", ask="choice",
        right=right, words=RELATION[right], why=f"{capital(where[0])} and {where[1]}: {words[right]}",
        shown=Excerpt(f"The second, {where[1]}" + (", changes marked" if varied else ""), changed if varied else b),
        heard=heard,
        choices=tuple(Choice(x, t) for x, t in RELATION.items()),
        contrasts={x: Excerpt(f"The first, {where[0]}", a) for x in RELATION if x != right},
        source=f"“{song.title}”", song_id=song.id,
        hint="Sing the first along with the second in your mind.",
    )  # fmt: skip


BACK = {"first": "the first", "second": "the second", "third": "the third", "none": "none of them: all are new"}
LONGEST_QUARTERS = 24.0
"""A phrase that lasts longer is too much to keep in mind beside three others (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class Later:
    """A sung phrase and those after it in the song."""

    phrase: PhraseSpan
    back: tuple[PhraseSpan, ...]
    """Those that bring its melody back, note for note or varied."""
    new: tuple[PhraseSpan, ...]
    """Those that surely bring another."""


@per_song
def _later(song: Song) -> list[Later]:
    """Phrases that come back, each with later phrases of about its length."""
    pairs, out = _pairs(song, ANOTHER_TO), []
    for phrase in song.reading.phrases:
        length = phrase.end - phrase.start
        alike = {
            kind: tuple(
                b
                for a, b in found
                if a.id == phrase.id
                and 0.5 <= (b.end - b.start) / length <= 2
                and (kind != "new" or same_shape(_notes(song, a), _notes(song, b)) <= SHAPE_TO)
            )
            for kind, found in pairs.items()
        }
        back = alike["same"] + alike["varied"]
        if back and alike["new"] and length <= LONGEST_QUARTERS:
            out.append(Later(phrase, back, alike["new"]))
    return out


def same_shape(a: list[tuple[float, float, int]], b: list[tuple[float, float, int]]) -> float:
    """Share of the notes that are reached at the same moment and in the same direction, up, down or on one pitch."""
    moves = [{(o, (m > before) - (m < before)) for (_, _, before), (o, _, m) in pairwise(x)} for x in (a, b)]
    return len(moves[0] & moves[1]) / max(len(moves[0]), len(moves[1]))


def song_return(draw: Draw) -> Sheet | None:
    """A sung phrase of a song, then later ones: which of them brings it back."""
    song = draw.song(lambda s: bool(_later(s)))
    later = draw.rng.choice(_later(song))
    count = min(3 if draw.level > 0.4 else 2, len(later.new) + 1)
    none = count <= len(later.new) and draw.rng.random() < 1 / (count + 1)
    back = None if none else draw.rng.choice(later.back)
    others = draw.rng.sample(later.new, count if back is None else count - 1)
    asked = sorted([*others, *([back] if back else [])], key=lambda p: p.start)
    right = "none" if back is None else ORDINALS[asked.index(back)]
    here, lines = _line(song, later.phrase), [_line(song, p) for p in asked]
    where, bars = _bars(song, later.phrase), [_bars(song, p) for p in asked]
    pool = dict(zip(ORDINALS, (f"the {x}" for x in ORDINALS[:count]), strict=False))
    pool["none"] = "neither of them: both are new" if count == 2 else BACK["none"]
    if back is None:
        shown = Excerpt(f"The phrase, {where}", here)
        why = f"{capital(and_list(bars))} agree with {where} in a third of the notes at most, in whatever key."
    else:
        changed, moved = _changed(here, _line(song, back))
        same = f"with {_of_notes(moved, changed)} changed" if moved else "note for note"
        why = f"{capital(_bars(song, back))} {_bring(song, back)} the melody of {where} back {same}."
        shown = Excerpt(f"It comes back, {_bars(song, back)}" + (", changes marked" if moved else ""), changed)
    contrasts = {x: Excerpt(f"The {x}, {b}", p) for x, b, p in zip(ORDINALS, bars, lines, strict=False)}
    contrasts["none"] = Excerpt(f"The phrase, {where}", here)
    return Sheet(
        prompt=f"A sung phrase of a song, then {number(count)} later ones. Which of these brings its melody back, note "
        "for note or a little changed?", ask="choice", right=right, words=pool[right], why=why, shown=shown,
        heard=(Excerpt("The phrase", wordless(here)),
               *(Excerpt(f"The {x} later one", wordless(p)) for x, p in zip(ORDINALS, lines, strict=False))),
        choices=tuple(Choice(x, t) for x, t in pool.items()),
        contrasts={x: e for x, e in contrasts.items() if x != right}, source=f"“{song.title}”", song_id=song.id,
        hint="Keep in mind how the phrase sets off, and ask of each later one: does it set off like that?",
    )  # fmt: skip


def _line(song: Song, span: PhraseSpan) -> Phrase:
    return cut(song.table, span.start, span.end).only("voice")


def _bars(song: Song, span: PhraseSpan) -> str:
    return bar_words(song.table, span.start, span.end)


def _bring(song: Song, span: PhraseSpan) -> str:
    return "brings" if _bars(song, span).startswith("bar ") else "bring"


def _changed(first: Phrase, second: Phrase) -> tuple[Phrase, int]:
    """The second phrase with the notes marked that the first has not in their place, and how many they are."""
    known = {(round(t.onset_quarters, 4), t.midi) for t in first.tones}
    tones = tuple(
        t if (round(t.onset_quarters, 4), t.midi) in known else replace(t, mark="changed") for t in second.tones
    )
    return replace(second, tones=tones), sum(t.mark == "changed" for t in tones)


def _of_notes(count: int, phrase: Phrase) -> str:
    """'two of eleven notes', '2 of 15 notes'."""
    total = number(len(phrase.tones))
    return f"{count if total.isdigit() else number(count)} of {total} notes"


def wordless(phrase: Phrase) -> Phrase:
    """Without words, which would tell."""
    return replace(phrase, tones=tuple(replace(t, syllable="") for t in phrase.tones))
