"""Cadences: how a phrase comes to rest.

Axes of difficulty: two kinds, then four; three chords, then seven; plain approach, then six-fours and inversions;
block chords, then broken. American and British names stand side by side, for "imperfect" means different things.
"""

from __future__ import annotations

from dataclasses import replace

from drills._draw import Draw, Drawn, key_heard, pretty_key, stretch
from drills._modal import degree_words
from drills._positions import positions
from drills._sheet import Part, Sheet
from drills._songs import per_song
from drills._texture import laid
from drills._voicing import Voicing, lead
from tutor.analysis.findings import ChordSpan
from tutor.music.cadence import CADENCES, cadence_of
from tutor.music.phrase import Phrase
from tutor.music.pitch import pretty
from tutor.music.progression import harmonies
from tutor.music.roman import printed
from tutor.music.scale import Key
from tutor.practice.drill import Choice, Excerpt, Song
from tutor.practice.material import SURE, cut, source_words, whole_bars

_FRONTS = {
    "major": (("I",), ("I", "vi"), ("I", "V", "I"), ("I", "IV", "I"), ("I", "V6", "I"), ("I", "viio6", "I6"),
              ("I", "I6"), ("I", "IV", "V", "vi")),
    "minor": (("i",), ("i", "VI"), ("i", "V", "i"), ("i", "iv", "i"), ("i", "V6", "i"), ("i", "viio6", "i6"),
              ("i", "i6"), ("i", "iv", "V", "VI")),
}  # fmt: skip
_TAILS = {
    "major": {
        "authentic": (("IV", "V", "I"), ("ii6", "V7", "I"), ("ii6", "I64", "V", "I"), ("IV", "V7", "I")),
        "half": (("IV", "V"), ("ii6", "V"), ("IV", "I64", "V"), ("IV", "I", "V")),
        "plagal": (("IV", "I"),),
        "deceptive": (("IV", "V", "vi"), ("ii6", "V7", "vi"), ("IV", "V7", "vi")),
    },
    "minor": {
        "authentic": (("iv", "V", "i"), ("iio6", "V7", "i"), ("iv", "i64", "V", "i"), ("iv", "V7", "i")),
        "half": (("iv", "V"), ("iio6", "V"), ("iv", "i64", "V"), ("iv", "i", "V")),
        "plagal": (("iv", "i"),),
        "deceptive": (("iv", "V", "VI"), ("iio6", "V7", "VI"), ("iv", "V7", "VI")),
    },
}  # fmt: skip


def _phrase(draw: Draw, kind: str) -> tuple[Key, tuple[str, ...], tuple[Voicing, ...], Phrase] | None:
    key = draw.key()
    fronts = _FRONTS[key.mode][: 3 + round(draw.level * 5)]
    tails = _TAILS[key.mode][kind][: 1 + round(draw.level * 3)]
    front, tail = draw.rng.choice(fronts), draw.rng.choice(tails)
    if front[-1] == tail[0] or (front[-1] in ("I6", "i6") and tail[0] in ("ii6", "iio6")):
        return None
    names = (*front, *tail)
    voicings = lead(harmonies(names, key), draw.rng)
    if voicings is None:
        return None
    texture = draw.rng.choice(("block", "broken", "afterbeat")) if draw.level > 0.45 else "block"
    lengths = [2.0] * (len(names) - 1) + [4.0]
    return key, names, voicings, laid(voicings, key, lengths, draw.bpm(76, 104), texture)


def _figured(phrase: Phrase, names: tuple[str, ...]) -> Phrase:
    last = 2.0 * (len(names) - 2)
    tones = tuple(replace(t, mark="target") if t.onset_quarters >= last else t for t in phrase.tones)
    return replace(phrase, tones=tones, figures=tuple((2.0 * i, n) for i, n in enumerate(names)))


def _examples(draw: Draw, pool: tuple[str, ...]) -> dict[str, Excerpt]:
    """A short phrase with each kind of cadence."""
    made = {x: _phrase(replace(draw, level=0.1), x) for x in pool}
    return {x: Excerpt(f"For comparison: {x}", _figured(p[3], p[1])) for x, p in made.items() if p is not None}


def _kinds(draw: Draw, pool: tuple[str, ...], by_eye: bool = False) -> Sheet | None:
    right = draw.rng.choice(pool)
    made = _phrase(draw, right)
    if made is None:
        return None
    key, names, _, phrase = made
    if cadence_of(names[-2], names[-1]) != right:
        return None
    contrasts = {x: e for x, e in _examples(draw, pool).items() if x != right}
    whole = Excerpt("The phrase", phrase)
    return Sheet(
        prompt=f"{f'The key is {pretty_key(key)}. ' if by_eye else ''}How does the phrase end? Name the cadence.",
        ask="choice", right=right, words=CADENCES[right].words,
        why=f"The last two chords are {names[-2]} and {names[-1]}. {CADENCES[right].what}",
        shown=Excerpt("The last two chords marked", _figured(phrase, names)),
        heard=() if by_eye else (key_heard(draw, key), whole), seen=(whole,) if by_eye else (),
        choices=tuple(Choice(x, CADENCES[x].words) for x in pool), contrasts=contrasts,
        hint="Is it at rest? If not: does it wait on the dominant, or was it led elsewhere?",
    )  # fmt: skip


def two(draw: Draw) -> Sheet | None:
    """Closed or open."""
    return _kinds(draw, ("authentic", "half"))


def three(draw: Draw) -> Sheet | None:
    """Closed, open or deceived."""
    return _kinds(draw, ("authentic", "half", "deceptive"))


def four(draw: Draw) -> Sheet | None:
    """All four."""
    return _kinds(draw, ("authentic", "half", "plagal", "deceptive"))


def staff(draw: Draw) -> Sheet | None:
    """All four, on the staff in the key of the signature."""
    return _kinds(draw, ("authentic", "half", "plagal", "deceptive"), by_eye=True)


def firmness(draw: Draw) -> Sheet | None:
    """Perfect or imperfect authentic, by the melody's last note."""
    made = _phrase(draw, "authentic")
    if made is None:
        return None
    key, names, voicings, phrase = made
    right = draw.rng.choice(("perfect-authentic", "imperfect-authentic"))
    degree = key.degree_of(voicings[-1][3].pitch_class)
    if (degree == "1") != (right == "perfect-authentic"):
        return None
    pool = ("perfect-authentic", "imperfect-authentic")
    end = 2.0 * (len(names) - 1)
    top = voicings[-1][3].midi
    marked = replace(_figured(phrase, names), tones=tuple(
        replace(t, mark="target" if t.midi == top and t.onset_quarters >= end else "") for t in phrase.tones
    ))  # fmt: skip
    return Sheet(
        prompt="The phrase closes V–I. Listen to its highest line: how firm is the close?", ask="choice", right=right,
        words=CADENCES[right].words, why=f"The highest line ends on {degree_words(degree)}. {CADENCES[right].what}",
        shown=Excerpt("The last note of the highest line marked", marked),
        heard=(key_heard(draw, key), Excerpt("The phrase", phrase)),
        choices=tuple(Choice(x, CADENCES[x].words) for x in pool),
        contrasts={x: Excerpt("The last chord", stretch(phrase, end, end + 4)) for x in pool if x != right},
        hint="Sing the last note of the highest line, then the tonic: are they the same?",
    )  # fmt: skip


@per_song
def _ends(song: Song) -> list[tuple[ChordSpan, ChordSpan, str, float, float]]:
    """Phrase ends of a song with a cadence that both chords make for sure, in root position."""
    chords = song.reading.chords
    out = []
    for phrase in song.reading.phrases:
        last = next((i for i, c in enumerate(chords) if c.start - 1e-6 <= phrase.end - 0.01 < c.end), 0)
        if not last:
            continue
        a, b = chords[last - 1], chords[last]
        kind = cadence_of(a.figure, b.figure)
        if kind == "plagal" and not _closes(song, phrase.end):
            continue
        if "/" in a.figure:  # after its own dominant a chord sounds like a tonic: V7/V to V could be told either way
            continue
        if kind and min(a.confidence, b.confidence) >= SURE and a.key == b.key and not (a.inversion or b.inversion):
            out.append((a, b, kind, phrase.start, max(phrase.end, b.end)))
    return out


def _closes(song: Song, at: float) -> bool:
    """True at the end of a section: elsewhere IV–I merely prolongs the tonic and closes nothing."""
    return any(abs(s.end - at) <= song.table.bar_at(s.end - 0.01).bar_quarters for s in song.reading.form.sections)


def song(draw: Draw) -> Sheet | None:
    """The end of a phrase of one of the songs."""
    chosen = draw.song(lambda s: bool(_ends(s)))
    a, b, right, start, end = draw.rng.choice(_ends(chosen))
    start = whole_bars(chosen.table, start, end)[0]
    phrase = cut(chosen.table, start, end)
    tones = tuple(
        replace(t, mark="target") if a.start - start <= t.onset_quarters < b.end - start and t.line != "voice" else t
        for t in phrase.tones
    )
    figured = replace(
        phrase, tones=tones, figures=((a.start - start, printed(a.figure)), (b.start - start, printed(b.figure)))
    )
    pool = ("authentic", "half", "plagal", "deceptive")
    where = f"Bar {a.bar} has" if a.bar == b.bar else f"Bars {a.bar} and {b.bar} have"
    last = Excerpt("The last two chords alone", cut(chosen.table, a.start, b.end))
    return Sheet(
        prompt=f"How does the phrase end in bar {b.bar}? Name the cadence.", ask="choice", right=right,
        words=CADENCES[right].words,
        why=f"{where} {degree_words(a.figure)} and {degree_words(b.figure)} in {pretty(b.key)}. {CADENCES[right].what}",
        shown=Excerpt(source_words(chosen, start, end), figured),
        heard=(Excerpt(source_words(chosen, start, end), phrase), last),
        choices=tuple(Choice(x, CADENCES[x].words) for x in pool),
        contrasts={x: e for x, e in _examples(draw, pool).items() if x != right},
        source=source_words(chosen, start, end), song_id=chosen.id, hint="Listen to the last two notes of the bass.",
    )  # fmt: skip


LABELS = {c.label: c.words for c in CADENCES.values()}

PARTS = {
    "two": Part("authentic or half, by ear", two),
    "three": Part("authentic, half or deceptive, by ear", three),
    "four": Part("all four kinds, by ear", four),
    "staff": Part("all four kinds, on the staff", staff),
    "firmness": Part("perfect or imperfect authentic, by ear", firmness),
    "positions": Part("the last three chords with their positions, by ear", positions),
    "song": Part("the end of a phrase of your song", song, song=True),
}


class Cadences(Drawn):
    """The drill."""

    name = "cadences"
    title = "Cadences"
    about = "Hear how a phrase comes to rest."
    lesson = "cadences"
    parts = PARTS
    labels = LABELS


drill = Cadences()
