"""Two sung phrases of a song side by side: the same melody, varied, or another."""

from __future__ import annotations

from dataclasses import replace

from drills._draw import Draw, capital, number
from drills._sheet import Sheet
from drills._songs import per_song
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


def _notes(song: Song, span: PhraseSpan) -> list[tuple[float, float, int]]:
    return [
        (round(n.onset_quarters - span.start, 4), n.duration_quarters, n.midi)
        for n in sung_notes(song.table, span.start, span.end)
    ]


def compared(a: list[tuple[float, float, int]], b: list[tuple[float, float, int]]) -> str | None:
    """'same', 'varied' or 'new'; None where it could be argued.

    Args:
        a: onset, length and MIDI number of each note of the first phrase, from its start.
        b: the same of the second.
    """
    if a == b:
        return "same"
    size = max(len(a), len(b))
    places = {(o, m) for o, _, m in a}
    shares = [len(places & {(o, m + shift) for o, _, m in b}) / size for shift in range(-12, 13)]
    if shares[12] >= VARIED_FROM:
        return "varied" if {(o, m) for o, _, m in b} != places else None
    return "new" if max(shares) <= NEW_TO else None


@per_song
def _pairs(song: Song) -> dict[str, list[tuple[PhraseSpan, PhraseSpan]]]:
    out: dict[str, list[tuple[PhraseSpan, PhraseSpan]]] = {x: [] for x in RELATION}
    spans = [(p, _notes(song, p)) for p in song.reading.phrases]
    for i, (first, a) in enumerate(spans):
        for second, b in spans[i + 1 :]:
            if min(len(a), len(b)) >= 4 and max(first.end - first.start, second.end - second.start) <= 32:
                found = compared(a, b)
                if found is not None:
                    out[found].append((first, second))
    return out


def song_relation(draw: Draw) -> Sheet | None:
    """Two sung phrases of a song."""
    song = draw.song(lambda s: sum(bool(x) for x in _pairs(s).values()) >= 2)
    right = draw.rng.choice([x for x, pairs in _pairs(song).items() if pairs])
    first, second = draw.rng.choice(_pairs(song)[right])
    a, b = (cut(song.table, p.start, p.end).only("voice") for p in (first, second))
    known = {(round(t.onset_quarters, 4), t.midi) for t in a.tones}
    changed = tuple(t if (round(t.onset_quarters, 4), t.midi) in known else replace(t, mark="changed") for t in b.tones)
    moved = sum(t.mark == "changed" for t in changed)
    words = {
        "same": "every sung note agrees.",
        "varied": f"{number(moved)} of {number(len(b.tones))} notes {'differs' if moved == 1 else 'differ'}; the rest "
        "agree in place and pitch.",
        "new": "hardly a note agrees, in this key or moved to another.",
    }
    where = [bar_words(song.table, p.start, p.end) for p in (first, second)]
    heard = (Excerpt("First", _plain(a)), Excerpt("Second", _plain(b)))
    return Sheet(
        prompt="Two sung phrases of one song. What is the second melody, compared with the first?", ask="choice",
        right=right, words=RELATION[right], why=f"{capital(where[0])} and {where[1]}: {words[right]}",
        shown=Excerpt(f"The second, {where[1]}" + (", changes marked" if moved else ""), replace(b, tones=changed)),
        heard=heard,
        choices=tuple(Choice(x, t) for x, t in RELATION.items()),
        contrasts={x: Excerpt(f"The first, {where[0]}", a) for x in RELATION if x != right},
        source=f"“{song.title}”", song_id=song.id,
        hint="Sing the first along with the second in your mind.",
    )  # fmt: skip


def _plain(phrase: Phrase) -> Phrase:
    """Without words, which would tell."""
    return replace(phrase, tones=tuple(replace(t, syllable="") for t in phrase.tones))
