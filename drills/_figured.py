"""Figured bass both ways: from figures to the chord, from the chord to its figures.

Figures count letters up from the bass; the signature holds for every letter unless an accidental stands before its
figure, and an accidental alone belongs to the third (Open Music Theory v1, "Thoroughbass figures").
"""

from __future__ import annotations

from dataclasses import replace

from drills._chords import ORDINALS, chord_words, inversion_words, pick_chord, placed, tone_words, with_bass
from drills._draw import Draw, pretty_key
from drills._sheet import Sheet
from drills._texture import laid, single
from drills._voicing import lead
from tutor.music.chord import SEVENTH_FIGURES, SHAPES, TRIAD_FIGURES, Chord
from tutor.music.phrase import Phrase
from tutor.music.pitch import LETTERS, PitchClass
from tutor.music.progression import figures, harmonies, harmony
from tutor.music.scale import Key
from tutor.practice.drill import Choice, Excerpt

_ROOTS = {"5/3": 1, "6": 6, "6/4": 4, "7": 1, "6/5": 6, "4/3": 4, "4/2": 2}
"""Interval from the bass up to the root."""
_QUALITIES = {tuple(i.fifths for i in shape): quality for quality, shape in SHAPES.items() if len(shape) in (3, 4)}
_SIGNS = {-1: "♭", 0: "♮", 1: "♯"}
_ALONE = {"major": ("I", "ii", "IV", "V", "vi"), "minor": ("i", "iv", "III", "VI", "V")}
_HOME = {"major": 0, "minor": 3, "dominant-seventh": 1, "minor-seventh": 2}
"""Places on the line of fifths from a chord's root down to the major key whose signature it needs nothing added to."""


def written(chord: Chord, key: Key) -> str:
    """The figures under a chord's bass, with an accidental for each tone that the signature does not give."""
    numbers = [int(n) for n in chord.figure.split("/")]
    signs: dict[int, str] = {}
    for tone in chord.tones:
        if tone != chord.bass and tone not in key.scale:
            signs[_above(chord.bass, tone)] = _SIGNS[tone.alter]
    wanted = sorted({*numbers, *signs}, reverse=True)
    if chord.figure == "5/3" and list(signs) == [3]:
        return signs[3]
    return "/".join(f"{signs.get(n, '')}{n}" for n in wanted)


def _above(bass: PitchClass, tone: PitchClass) -> int:
    return (LETTERS.index(tone.step) - LETTERS.index(bass.step)) % 7 + 1


def realised(bass: PitchClass, figure: str, key: Key) -> Chord | None:
    """The chord that plain figures give over a bass in a key; None where no chord has that shape."""
    by_letter = {t.step: t for t in key.scale} | {bass.step: bass}
    size = 4 if figure in SEVENTH_FIGURES else 3
    first = LETTERS.index(bass.step) + _ROOTS[figure] - 1
    tones = [by_letter[LETTERS[(first + 2 * i) % 7]] for i in range(size)]
    quality = _QUALITIES.get(tuple(t.fifths - tones[0].fifths for t in tones))
    return None if quality is None else Chord(tones[0], quality, tones.index(bass))


def figures_read(draw: Draw) -> Sheet | None:
    """A bass note with figures, alone or in a bass line: which chord is meant."""
    key = draw.key()
    made = _in_line(draw, key) if draw.level > 0.25 else _alone(draw, key)
    if made is None:
        return None
    chord, line, place = made
    others = SEVENTH_FIGURES if chord.is_seventh else TRIAD_FIGURES
    found = [chord, *(c for f in others if (c := realised(chord.bass, f, key)) is not None)]
    pool = {c.symbol: c for c in found if all(abs(t.alter) < 2 for t in c.tones)}
    if chord.symbol not in pool or len(pool) < 3:
        return None
    texts = {s: f"{chord_words(c)} ({_letters(c)})" for s, c in sorted(pool.items())}
    figure = written(chord, key)
    several = "/" in figure
    which = f"the {ORDINALS[place]} bass note is " if len(line.tones) > 1 else "the bass is "
    bpm = draw.bpm(60, 84)

    def sounded(of: Chord) -> Phrase:
        return with_bass(single(placed(draw.rng, of, wide=False, level=0), key.fifths, bpm, "block"))

    choices = draw.choose(chord.symbol, texts, 4)
    return Sheet(
        prompt=f"In {pretty_key(key)} {which}{tone_words(chord.bass)} with the figure{'s' if several else ''} "
        f"{figure}. Which chord is meant?", ask="choice",
        right=chord.symbol, words=texts[chord.symbol],
        why=f"Count the letters up from the bass and keep the signature: {_letters(chord)}. {inversion_words(chord)}",
        shown=Excerpt("The chord written out", sounded(chord)), seen=(Excerpt("Figured bass", line),), choices=choices,
        contrasts={c.label: Excerpt(c.text, sounded(pool[c.label])) for c in choices if c.label != chord.symbol},
        hint="5/3 is understood where nothing is written; 6 puts the third in the bass; a sign alone alters the third.",
    )  # fmt: skip


def _alone(draw: Draw, key: Key) -> tuple[Chord, Phrase, int] | None:
    """One triad, its bass and figures."""
    chord = harmony(draw.rng.choice(_ALONE[key.mode]) + draw.rng.choice(("", "6", "64")), key).chord
    if any(abs(t.alter) > 1 for t in chord.tones):
        return None
    pitches = placed(draw.rng, chord, wide=False, level=0)
    line = single(pitches[:1], key.fifths, draw.bpm(60, 84), "block")
    return chord, replace(line, figures=((0.0, written(chord, key)),)), 0


def _in_line(draw: Draw, key: Key) -> tuple[Chord, Phrase, int] | None:
    """A figured bass of a few notes and one of its chords."""
    names = figures(draw.rng, key.mode, 4 + round(draw.level * 2), rich=True)
    chords = [h.chord for h in harmonies(names, key)]
    voicings = lead(harmonies(names, key), draw.rng)
    if voicings is None or any(abs(t.alter) > 1 for c in chords for t in c.tones):
        return None
    line = laid([v[:1] for v in voicings], key, [2.0] * len(names), 72.0, "block")
    place = draw.rng.randrange(len(chords))
    return chords[place], replace(line, figures=tuple((2.0 * i, written(c, key)) for i, c in enumerate(chords))), place


def figures_write(draw: Draw) -> Sheet | None:
    """A chord on the staff: which figures stand under its bass."""
    chord = _figured(draw)
    fifths = chord.root.fifths - _HOME[chord.quality]
    if abs(fifths) > 3 + round(draw.level * 4):
        return None
    pitches = placed(draw.rng, chord, wide=draw.hard(), level=draw.level)
    phrase = single(pitches, fifths, draw.bpm(60, 84), "block")
    inverted = [chord.inverted(i) for i in range(len(chord.tones))]
    contrasts = {
        c.figure: Excerpt(f"This would be {c.figure}",
                          with_bass(single(placed(draw.rng, c, wide=False, level=0), fifths, 72, "block")))
        for c in inverted if c != chord
    }  # fmt: skip
    return Sheet(
        prompt="Which figures belong under the bass of this chord?", ask="choice", right=chord.figure,
        words=chord.figure, why=inversion_words(chord), shown=Excerpt("The bass note pointed out", with_bass(phrase)),
        seen=(Excerpt("The chord", phrase),), choices=tuple(Choice(c.figure, c.figure) for c in inverted),
        contrasts=contrasts, hint="The figures count letters up from the lowest note.",
    )  # fmt: skip


def _figured(draw: Draw) -> Chord:
    pool = ("major", "minor") if draw.level < 0.35 else ("major", "minor", "dominant-seventh", "minor-seventh")
    quality = draw.rng.choice(pool)
    return pick_chord(draw.rng, draw.level, quality, draw.rng.randrange(3 if quality in pool[:2] else 4))


def _letters(chord: Chord) -> str:
    order = [chord.tones[(chord.inversion + i) % len(chord.tones)] for i in range(len(chord.tones))]
    return "–".join(tone_words(t) for t in order)
