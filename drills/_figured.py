"""Figured bass both ways: from figures to the chord, from the chord to its figures."""

from __future__ import annotations

from dataclasses import replace

from drills._chords import ORDINALS, chord_words, inversion_words, pick_chord, placed, tone_words, with_bass
from drills._draw import Draw, capital
from drills._sheet import Sheet
from drills._texture import laid, single
from drills._voicing import lead
from tutor.music.chord import Chord
from tutor.music.phrase import Phrase
from tutor.music.pitch import PitchClass
from tutor.music.progression import figures, harmonies
from tutor.practice.drill import Choice, Excerpt


def figures_read(draw: Draw) -> Sheet | None:
    """A bass note with figures, alone or in a bass line: which chord is meant."""
    chord, line, place = _figured_line(draw) if draw.level > 0.25 else (_figured(draw), None, 0)
    pitches = placed(draw.rng, chord, wide=False, level=0)
    bpm = draw.bpm(60, 84)
    alone = replace(single(pitches[:1], 0, bpm, "block"), figures=((0.0, chord.figure),))
    if any(abs(t.alter) > 1 for t in chord.tones):
        return None
    pool = {c.symbol: c for i in range(len(chord.tones)) if (c := _over(chord, i)) is not None}
    texts = {s: f"{chord_words(c)} ({_letters(c)})" for s, c in pool.items()}
    if len(set(texts.values())) < 3:
        return None
    contrasts = {s: Excerpt(texts[s], with_bass(single(placed(draw.rng, c, wide=False, level=0), 0, bpm, "block")))
                 for s, c in pool.items() if s != chord.symbol}  # fmt: skip
    which = f"The {ORDINALS[place]} bass note is " if line else ""
    note = f"{tone_words(chord.bass)} with the figures {chord.figure}"
    return Sheet(
        prompt=f"{which}{note if line else capital(note)}: which chord is meant?", ask="choice",
        right=chord.symbol, words=texts[chord.symbol],
        why=f"Count the figures up from the bass: {_letters(chord)}. {inversion_words(chord)}",
        shown=Excerpt("The chord written out", with_bass(single(pitches, 0, bpm, "block"))),
        seen=(Excerpt("Figured bass", line or alone),), choices=draw.choose(chord.symbol, texts, 4),
        contrasts=contrasts,
        hint="5/3 is understood where nothing is written; 6 puts the third in the bass.",
    )  # fmt: skip


def _figured_line(draw: Draw) -> tuple[Chord, Phrase | None, int]:
    """A figured bass of a few notes and one of its chords."""
    key = draw.key()
    names = figures(draw.rng, key.mode, 4 + round(draw.level * 2), rich=True)
    chords = harmonies(names, key)
    voicings = lead(chords, draw.rng)
    fits = [
        i for i, h in enumerate(chords) if h.chord.quality in ("major", "minor", "dominant-seventh", "minor-seventh")
    ]
    place = draw.rng.choice(fits)
    if voicings is None:
        return chords[place].chord, None, place
    line = laid([v[:1] for v in voicings], key, [2.0] * len(names), 72.0, "block")
    written = tuple((2.0 * i, h.chord.figure) for i, h in enumerate(chords))
    return chords[place].chord, replace(line, figures=written), place


def figures_write(draw: Draw) -> Sheet:
    """A chord on the staff: which figures stand under its bass."""
    chord = _figured(draw)
    pitches = placed(draw.rng, chord, wide=draw.hard(), level=draw.level)
    bpm = draw.bpm(60, 84)
    phrase = single(pitches, 0, bpm, "block")
    figures_ = [chord.inverted(i).figure for i in range(len(chord.tones))]
    texts = {f: f for f in figures_}
    contrasts = {
        chord.inverted(i).figure: Excerpt(
            f"This would be {chord.inverted(i).figure}",
            with_bass(single(placed(draw.rng, chord.inverted(i), wide=False, level=0), 0, 72, "block")),
        )
        for i in range(len(chord.tones)) if i != chord.inversion
    }  # fmt: skip
    return Sheet(
        prompt="Which figures belong under the bass of this chord?", ask="choice", right=chord.figure,
        words=chord.figure, why=inversion_words(chord), shown=Excerpt("The bass note pointed out", with_bass(phrase)),
        seen=(Excerpt("The chord", phrase),), choices=tuple(Choice(f, t) for f, t in texts.items()),
        contrasts=contrasts, hint="The figures count letters up from the lowest note.",
    )  # fmt: skip


def _figured(draw: Draw) -> Chord:
    pool = ("major", "minor") if draw.level < 0.35 else ("major", "minor", "dominant-seventh", "minor-seventh")
    quality = draw.rng.choice(pool)
    return pick_chord(draw.rng, draw.level, quality, draw.rng.randrange(3 if quality in pool[:2] else 4))


def _over(chord: Chord, inversion: int) -> Chord | None:
    """The same kind of chord with the asked bass as another member."""
    distance = chord.tones[inversion].fifths - chord.root.fifths
    made = Chord(PitchClass(chord.bass.fifths - distance), chord.quality, inversion)
    return made if all(abs(t.alter) < 2 for t in made.tones) else None


def _letters(chord: Chord) -> str:
    order = [chord.tones[(chord.inversion + i) % len(chord.tones)] for i in range(len(chord.tones))]
    return "–".join(tone_words(t) for t in order)
