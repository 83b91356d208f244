"""The three chords of a cadence with their positions, as aural syllabuses ask for them: IIb, V7a, Ia.

Letters: a root position, b first inversion, c second inversion. The chords are those of an aural test of grade 8: I, II
and V in their positions, IV, the dominant seventh and VI.
"""

from __future__ import annotations

from dataclasses import replace

from drills._draw import Draw, key_heard, pretty_key
from drills._sheet import Sheet
from drills._texture import laid
from drills._voicing import lead
from tutor.music.phrase import Phrase
from tutor.music.progression import follows, harmonies, harmony
from tutor.music.scale import Key
from tutor.practice.drill import Excerpt

TAILS = {
    "major": (
        ("IV", "V", "I"),
        ("ii6", "V", "I"),
        ("ii6", "V7", "I"),
        ("IV", "V7", "I"),
        ("I64", "V", "I"),
        ("I64", "V7", "I"),
        ("ii", "V", "I"),
        ("I6", "V", "I"),
        ("IV", "I64", "V"),
        ("ii6", "I64", "V"),
        ("I6", "IV", "V"),
        ("I6", "ii6", "V"),
        ("IV", "V", "vi"),
        ("ii6", "V7", "vi"),
        ("I", "V6", "I"),
        ("vi", "IV", "I"),
        ("I6", "IV", "I"),
    ),
    "minor": (
        ("iv", "V", "i"),
        ("iio6", "V", "i"),
        ("iio6", "V7", "i"),
        ("iv", "V7", "i"),
        ("i64", "V", "i"),
        ("i64", "V7", "i"),
        ("i6", "V", "i"),
        ("iv", "i64", "V"),
        ("iio6", "i64", "V"),
        ("i6", "iv", "V"),
        ("i6", "iio6", "V"),
        ("iv", "V", "VI"),
        ("iio6", "V7", "VI"),
        ("i", "V6", "i"),
        ("VI", "iv", "i"),
        ("i6", "iv", "i"),
    ),
}
_FRONTS = {
    "major": (
        ("I",),
        ("I", "IV"),
        ("I", "vi"),
        ("I", "V"),
        ("I", "vi", "IV"),
        ("I", "V", "vi"),
        ("I", "ii6"),
        ("I", "V6", "I"),
    ),
    "minor": (
        ("i",),
        ("i", "iv"),
        ("i", "VI"),
        ("i", "V"),
        ("i", "VI", "iv"),
        ("i", "V", "VI"),
        ("i", "iio6"),
        ("i", "V6", "i"),
    ),
}


def position(figure: str, key: Key) -> str:
    """'IIb', 'V7a'."""
    chord = harmony(figure, key).chord
    numeral = figure.rstrip("0123456789").replace("o", "").replace("ø", "").upper()
    return f"{numeral}{'7' if chord.is_seventh else ''}{'abcd'[chord.inversion]}"


def label(tail: tuple[str, ...], key: Key) -> str:
    """'IIb V7a Ia'."""
    return " ".join(position(f, key) for f in tail)


def _sounded(draw: Draw, key: Key, tail: tuple[str, ...]) -> tuple[tuple[str, ...], Phrase] | None:
    """A phrase that ends with a tail: (figures, sound)."""
    fronts = [f for f in _FRONTS[key.mode] if f[-1] != tail[0] and follows(f[-1], tail[0], key.mode)]
    if "64" in tail[0]:
        fronts = [f for f in _FRONTS[key.mode] if f[-1] in ("IV", "ii6", "iv", "iio6")]
    if not fronts:
        return None
    names = (*draw.rng.choice(fronts), *tail)
    voicings = lead(harmonies(names, key), draw.rng, whole=range(len(names) - 3, len(names) - 1))
    if voicings is None:
        return None
    lengths = [2.0] * (len(names) - 1) + [4.0]
    return names, laid(voicings, key, lengths, draw.bpm(60, 88), "block")


def _figured(phrase: Phrase, names: tuple[str, ...], key: Key) -> Phrase:
    first = 2.0 * (len(names) - 3)
    tones = tuple(replace(t, mark="target") if t.onset_quarters >= first else t for t in phrase.tones)
    figures = tuple((2.0 * i, position(n, key)) for i, n in enumerate(names))
    return replace(phrase, tones=tones, figures=figures)


def positions(draw: Draw) -> Sheet | None:
    """The last three chords with their positions."""
    key = draw.key() if draw.level > 0.3 else draw.key("major")
    tail = draw.rng.choice(TAILS[key.mode])
    made = _sounded(draw, key, tail)
    if made is None:
        return None
    names, phrase = made
    tails = {label(t, key): t for t in TAILS[key.mode]}
    texts = {x: f"{x.replace(' ', '–')} ({' '.join(t)})" for x, t in tails.items()}
    right = label(tail, key)
    choices = draw.choose(right, texts, 3 + round(draw.level * 2))
    contrasts = {}
    for choice in choices:
        other = _sounded(draw, key, tails[choice.label]) if choice.label != right else None
        if other is not None:
            contrasts[choice.label] = Excerpt(f"This would be {choice.text}", _figured(other[1], other[0], key))
    return Sheet(
        prompt="Name the last three chords with their positions (a: root position, b: first, c: second inversion).",
        ask="choice", right=right, words=texts[right],
        why=f"In {pretty_key(key)} the phrase runs {' '.join(names)}; the last three chords are "
        f"{right.replace(' ', ', ')}.",
        shown=Excerpt("The last three chords marked", _figured(phrase, names, key)),
        heard=(key_heard(draw, key), Excerpt("The phrase", phrase)), choices=choices, contrasts=contrasts,
        hint="Sing the bass of the last three chords and name its degrees.",
    )  # fmt: skip
