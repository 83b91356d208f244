"""Chord quality: what kind of chord it is.

Axes of difficulty: major and minor, then all triads, then sevenths; close, then open; struck, then broken. Inverted
chords are asked by ear only for major and minor triads and the dominant seventh, whose sound is their own; a minor
seventh and an added sixth share their notes, so sevenths otherwise stand in root position, as the prompt says.
"""

from __future__ import annotations

from dataclasses import replace

from drills._chords import chord_of, chord_words, pick_chord, placed, tone_words
from drills._draw import Draw, Drawn, capital
from drills._sheet import Part, Sheet
from drills._songs import bass_agrees, per_song
from drills._texture import single
from tutor.analysis.findings import ChordSpan
from tutor.music.chord import QUALITY_WORDS, SHAPES, Chord
from tutor.music.interval import with_article
from tutor.music.pitch import pretty
from tutor.practice.drill import Choice, Excerpt, Song
from tutor.practice.material import beat_words, cut, source_words, sure_chords, whole_bars

TRIADS = ("major", "minor", "diminished", "augmented")
SEVENTHS = (
    "dominant-seventh", "major-seventh", "minor-seventh", "half-diminished-seventh", "diminished-seventh",
    "minor-major-seventh",
)  # fmt: skip
OWN_SOUND = ("major", "minor", "dominant-seventh")
"""Kinds that no other shares its notes with in any inversion."""


def _built(quality: str) -> str:
    steps = [with_article(i.words) for i in SHAPES[quality][1:]]
    return f"{', '.join(steps[:-1])} and {steps[-1]}"


def _sheet(
    draw: Draw, pool: tuple[str, ...], chord: Chord, texture: str, prompt: str, *, by_eye: bool = False
) -> Sheet:
    wide = draw.hard()
    bpm = draw.bpm(60, 96)
    falling = texture == "broken" and draw.rng.random() < 0.4
    pitches = placed(draw.rng, chord, wide=wide, level=draw.level)
    phrase = single(pitches, 0, bpm, texture, falling=falling)
    contrasts = {}
    for quality in pool:
        if quality != chord.quality and chord.inversion < len(SHAPES[quality]):
            other = Chord(chord.root, quality, chord.inversion)
            sound = single(placed(draw.rng, other, wide=wide, level=0), 0, bpm, texture, falling=falling)
            contrasts[quality] = Excerpt(f"For comparison: {QUALITY_WORDS[quality]}", sound)
    why = f"{capital(chord_words(chord))}: above the root {tone_words(chord.root)} stand {_built(chord.quality)}." + (
        "" if not chord.inversion else f" Here {tone_words(chord.bass)} is lowest."
    )
    return Sheet(
        prompt=prompt, ask="choice", right=chord.quality, words=QUALITY_WORDS[chord.quality], why=why,
        shown=Excerpt(capital(chord_words(chord)), phrase.marked("target", (p.midi for p in pitches))),
        heard=() if by_eye else (Excerpt("The chord", phrase),), seen=(Excerpt("The chord", phrase),) if by_eye else (),
        choices=tuple(Choice(q, QUALITY_WORDS[q]) for q in pool), contrasts=contrasts,
        hint="Stack the letters in thirds, then count the semitones of each third." if by_eye
        else "Sing the chord from the root up: first the third, then the fifth.",
    )  # fmt: skip


def _root_texture(draw: Draw) -> str:
    return draw.rng.choice(("block", "block", "broken"))


def major_minor(draw: Draw) -> Sheet:
    """Major or minor."""
    chord = pick_chord(draw.rng, draw.level, draw.rng.choice(TRIADS[:2]), 0)
    return _sheet(draw, TRIADS[:2], chord, _root_texture(draw), "The chord stands in root position. Major or minor?")


def triads(draw: Draw) -> Sheet:
    """All four triads."""
    chord = pick_chord(draw.rng, draw.level, draw.rng.choice(TRIADS), 0)
    return _sheet(draw, TRIADS, chord, _root_texture(draw), "The triad stands in root position. Of what kind is it?")


def triads_eye(draw: Draw) -> Sheet:
    """All four triads on the staff."""
    chord = pick_chord(draw.rng, draw.level, draw.rng.choice(TRIADS), draw.rng.randrange(3) if draw.hard(0.4) else 0)
    return _sheet(draw, TRIADS, chord, "block", "Of what kind is this triad?", by_eye=True)


def inverted(draw: Draw) -> Sheet:
    """Major, minor or dominant seventh in any inversion."""
    quality = draw.rng.choice(OWN_SOUND)
    chord = pick_chord(draw.rng, draw.level, quality, draw.rng.randrange(len(SHAPES[quality])))
    return _sheet(draw, OWN_SOUND, chord, _root_texture(draw), "The chord may be inverted. Of what kind is it?")


def sevenths(draw: Draw) -> Sheet:
    """Seventh chords."""
    pool = SEVENTHS[: 3 + round(draw.level * 3)]
    chord = pick_chord(draw.rng, draw.level, draw.rng.choice(pool), 0)
    return _sheet(
        draw, pool, chord, _root_texture(draw), "The seventh chord stands in root position. Of what kind is it?"
    )


def sevenths_eye(draw: Draw) -> Sheet:
    """Seventh chords on the staff."""
    pool = SEVENTHS[: 3 + round(draw.level * 3)]
    chord = pick_chord(draw.rng, draw.level, draw.rng.choice(pool), draw.rng.randrange(4) if draw.hard(0.4) else 0)
    return _sheet(draw, pool, chord, "block", "Of what kind is this seventh chord?", by_eye=True)


_SONG_POOL = ("major", "minor", "diminished", "dominant-seventh", "major-seventh", "minor-seventh",
              "half-diminished-seventh")  # fmt: skip


@per_song
def _fits(song: Song) -> list[ChordSpan]:
    """Sure chords with all their members sounding; kinds that share their notes only in root position."""
    return [
        c for c in sure_chords(song)
        if c.quality in _SONG_POOL and len(c.tones) == len(SHAPES[c.quality]) and not c.nonchord
        and c.end - c.start >= 1.0 and (c.inversion == 0 or c.quality in OWN_SOUND) and bass_agrees(song, c)
    ]  # fmt: skip


def _song(draw: Draw, by_eye: bool) -> Sheet:
    song = draw.song(lambda s: len({c.quality for c in _fits(s)}) > 1)
    spans = _fits(song)
    wanted = draw.rng.choice(sorted({c.quality for c in spans}))
    span = draw.rng.choice([c for c in spans if c.quality == wanted])
    chord = chord_of(span)
    start, end = whole_bars(song.table, span.start, span.end)
    phrase = cut(song.table, start, end)
    members = {t.chroma for t in chord.tones}
    first, last = span.start - start, span.end - start
    marked = replace(phrase, tones=tuple(
        replace(t, mark="target") if t.line != "voice" and t.midi % 12 in members
        and t.onset_quarters < last - 1e-6 and t.end_quarters > first + 1e-6 else t for t in phrase.tones
    ))  # fmt: skip
    texts = {q: QUALITY_WORDS[q] for q in _SONG_POOL}
    choices = draw.choose(span.quality, texts, 3 + round(draw.level * 3))
    alone = Excerpt("The chord alone", cut(song.table, span.start, span.end))
    contrasts = {
        c.label: Excerpt(f"For comparison: {c.text}",
                         single(placed(draw.rng, Chord(chord.root, c.label), wide=True, level=0), phrase.fifths, 72,
                                "block"))
        for c in choices if c.label != span.quality
    }  # fmt: skip
    where = "the chord stands in root position" if span.inversion == 0 else "the chord may be inverted"
    heard = (Excerpt(source_words(song, start, end), phrase), alone)
    return Sheet(
        prompt=f"Bar {span.bar}, {beat_words(span.beat)}: {where}. Of what kind is it?", ask="choice",
        right=span.quality, words=QUALITY_WORDS[span.quality],
        why=f"Bar {span.bar}: {', '.join(pretty(t) for t in span.tones)} make the {chord_words(chord)}.",
        shown=Excerpt(source_words(song, start, end), marked), heard=() if by_eye else heard,
        seen=heard[:1] if by_eye else (), choices=choices, contrasts=contrasts, source=source_words(song, start, end),
        song_id=song.id,
        hint="Gather the letters of the chord and stack them in thirds." if by_eye
        else "Sing the root of the chord first.",
    )  # fmt: skip


def song_ear(draw: Draw) -> Sheet:
    """A chord of a song, by ear."""
    return _song(draw, by_eye=False)


def song_eye(draw: Draw) -> Sheet:
    """A chord of a song, on the staff."""
    return _song(draw, by_eye=True)


LABELS = QUALITY_WORDS

PARTS = {
    "major-minor": Part("major or minor, by ear", major_minor),
    "triads": Part("all four triads, by ear", triads),
    "triads-staff": Part("all four triads, on the staff", triads_eye),
    "inverted": Part("major, minor or dominant seventh in any inversion, by ear", inverted),
    "sevenths": Part("seventh chords, by ear", sevenths),
    "sevenths-staff": Part("seventh chords, on the staff", sevenths_eye),
    "song": Part("a chord of your song, by ear", song_ear, song=True),
    "song-staff": Part("a chord of your song, on the staff", song_eye, song=True),
}


class ChordQuality(Drawn):
    """The drill."""

    name = "chord-quality"
    title = "Chord quality"
    about = "Hear and see what kind of chord it is."
    lesson = "chord-members"
    parts = PARTS
    labels = LABELS


drill = ChordQuality()
