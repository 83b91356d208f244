"""The approach to a high note: hear the leap or the run into it, sing it, first in a safe key.

Axes of difficulty: steps, then a chord, then leaps up to an octave; and height. The target lies a fourth below the
singer's top at first and rises with the level to a whole tone below it: the top itself is not drilled, for the voice
needs the most pressure there. A high note that strains is not practised further: rest, and ask a voice teacher.
"""

from __future__ import annotations

from dataclasses import replace

from drills._draw import Draw, Drawn, key_heard, number, pretty_key
from drills._sheet import Part, Sheet
from drills.intervals import BY_EAR, heard_name
from tutor.analysis.findings import Leap
from tutor.music.interval import Interval, with_article
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, pretty
from tutor.music.scale import Key
from tutor.practice.drill import Choice, Excerpt, Song
from tutor.practice.material import beat_words, cut, source_words, whole_bars

CARE = "If it strains, stop and rest; what stays hard belongs to a lesson with a voice teacher."
SAFE_BELOW = 5
"""Semitones below the top at which the easiest target lies: a perfect fourth (a choice of ours)."""
NEAREST = 2
"""Semitones below the top that no target passes (a choice of ours)."""
LEAPS = ("M3", "P4", "P5", "M6", "m6", "P8", "m3")
RUNS = {"scale": ("1", "2", "3", "4", "5"), "arpeggio": ("1", "3", "5", "8"), "turn": ("3", "4", "3", "2", "5")}


def target_midi(draw: Draw) -> int:
    """Height of the target: a fourth below the singer's top at level 0, a whole tone below it from level 0.6 on."""
    return draw.material.high_midi - max(NEAREST, round(SAFE_BELOW * (1 - draw.level))) - draw.rng.choice((0, 0, 1))


def _spelled(midi: int, size: Interval) -> tuple[Pitch, Pitch]:
    """The lower and the upper note of a leap into a MIDI number, spelled with the fewest accidentals."""
    tops = [Pitch.from_midi(midi, fifths=f) for f in (0, -4, 4)]
    pairs = [(top.moved(-size.fifths, -size.diatonic), top) for top in tops]
    return min(pairs, key=lambda p: (max(abs(p[0].alter), abs(p[1].alter)), abs(p[0].alter) + abs(p[1].alter)))


def hear_leap(draw: Draw) -> Sheet | None:
    """How wide the leap into the climax is."""
    label = draw.rng.choice(LEAPS[: 4 + round(draw.level * 3)])
    size = Interval.parse(label)
    start, top = _spelled(min(79, max(67, target_midi(draw))), size)
    if abs(start.alter) > 1:
        return None
    before = [start.moved(*m) for m in draw.rng.choice((((0, 0),), ((-2, -1), (0, 0)), ((2, 1), (0, 0))))]
    tones = [Tone(float(i), 1.0, p) for i, p in enumerate(before)]
    tones.append(Tone(float(len(before)), 3.0, top))
    phrase = Phrase(tuple(tones), bpm=draw.bpm(66, 92))
    if any(abs(t.pitch.alter) > 1 for t in tones):
        return None
    marked = replace(phrase, tones=(*tones[:-2], *(replace(t, mark="target") for t in tones[-2:])))
    choices = draw.choose(label, {k: BY_EAR[k] for k in BY_EAR if k not in ("m2", "M2")}, 4 + round(draw.level * 2))
    contrasts = {c.label: _compared(start, c) for c in choices if c.label != label}
    return Sheet(
        prompt="The line leaps up into its highest note. How wide is the leap?", ask="choice", right=label,
        words=BY_EAR[label], why=f"{pretty(start.name)} to {pretty(top.name)} is {with_article(size.words)}.",
        shown=Excerpt("The leap marked", marked), heard=(Excerpt("The approach", phrase),), choices=choices,
        contrasts=contrasts, hint="Sing the lower note again, then climb to the top by step.",
    )  # fmt: skip


def _compared(start: Pitch, choice: Choice) -> Excerpt:
    """Another leap from the same note."""
    size = Interval.parse("A4" if choice.label == "TT" else choice.label)
    pair = (Tone(0.0, 1.0, start), Tone(1.0, 2.0, start.moved(size.fifths, size.diatonic)))
    return Excerpt(f"For comparison: {choice.text.split(' (')[0]}", Phrase(pair, bpm=72.0))


def sing_leap(draw: Draw) -> Sheet | None:
    """Sing the leap into the top."""
    label = draw.rng.choice(LEAPS[: 3 + round(draw.level * 4)])
    size = Interval.parse(label)
    start, top = _spelled(target_midi(draw), size)
    if start.midi < draw.material.low_midi or abs(start.alter) > 1:
        return None
    front = draw.rng.choice(((), ((0, 0),), ((2, 1), (0, 0)), ((-2, -1),), ((2, 1),)))
    before = [start.moved(*m) for m in front]
    if any(abs(p.alter) > 1 or not draw.material.low_midi <= p.midi <= top.midi for p in before):
        return None
    line = (*before, start, top)
    tones = tuple(Tone(float(i), 2.0 if p is top else 1.0, p, mark="target") for i, p in enumerate(line))
    words = f"It is {with_article(size.words)} up from {pretty(start.name)} to {pretty(top.name)}."
    return _sung(draw, tones, 0, words, label)


def _run(draw: Draw, kind: str) -> Sheet | None:
    degrees = RUNS[kind]
    top = target_midi(draw)
    key = draw.key("major")
    pitches = [Pitch(p.step, p.alter, p.octave) for p in (_at(key, d, 3) for d in degrees)]
    octaves = [o for o in (-2, -1, 0, 1, 2) if max(p.midi for p in pitches) + 12 * o <= top]
    if not octaves:
        return None
    shifted = [Pitch(p.step, p.alter, p.octave + octaves[-1]) for p in pitches]
    if min(p.midi for p in shifted) < draw.material.low_midi or max(p.midi for p in shifted) < top - 6:
        return None
    tones = tuple(Tone(float(i), 1.0 if i < len(shifted) - 1 else 2.0, p, mark="target") for i, p in enumerate(shifted))
    highest = max(shifted, key=lambda p: p.midi)
    words = {"scale": "The first five notes of the scale", "arpeggio": "The broken chord", "turn": "A turn on degree 3"}
    lead = f"{words[kind]} of {pretty_key(key)} lead{'' if kind == 'scale' else 's'} up to {pretty(highest.name)}."
    return _sung(draw, tones, key.fifths, lead, kind, key)


def _at(key: Key, degree: str, octave: int) -> Pitch:
    return key.pitch("1", octave + 1) if degree == "8" else key.pitch(degree, octave)


def _sung(draw: Draw, tones: tuple[Tone, ...], fifths: int, why: str, label: str, key: Key | None = None) -> Sheet:
    bpm = draw.bpm(66, 88)
    shown = Phrase(tones, bpm=bpm, fifths=fifths)
    plain = replace(shown, tones=tuple(replace(t, mark="") for t in tones))
    heard = Excerpt("The approach", plain)
    return Sheet(
        prompt="Hear the approach to the high note, then sing it. Any octave will do.", ask="take", right=label,
        words=" ".join(pretty(t.pitch.name) for t in tones), why=f"{why} {CARE}", shown=Excerpt("The approach", shown),
        heard=(key_heard(draw, key), heard) if key else (heard,), seen=(heard,),
        wanted=tuple((t.midi, t.onset_quarters, t.duration_quarters) for t in tones), any_octave=True, bpm=bpm,
        also=("notes",), hint="Think of the top note before you begin.",
    )  # fmt: skip


def scale(draw: Draw) -> Sheet | None:
    """A scale up to the top."""
    return _run(draw, draw.rng.choice(("scale", "scale", "turn")))


def arpeggio(draw: Draw) -> Sheet | None:
    """A chord up to the top."""
    return _run(draw, "arpeggio")


def _leaps(song: Song) -> list[Leap]:
    return [x for x in song.reading.voice.leaps if 3 <= x.semitones <= 12]


def song_leap(draw: Draw) -> Sheet | None:
    """A leap into a high note of a song, by ear."""
    song = draw.song(lambda s: bool(_leaps(s)))
    leap = draw.rng.choice(_leaps(song))
    low, top = Pitch.parse(leap.lower), Pitch.parse(leap.upper)
    label = heard_name(Interval.between(low, top))
    if label not in BY_EAR:
        return None
    start, end = whole_bars(song.table, max(0.0, leap.start - 2.0), leap.start + 1.0)
    phrase = cut(song.table, start, end)
    at = leap.start - start
    sung = [t.onset_quarters for t in phrase.tones if t.line == "voice"]
    before = max((o for o in sung if o < at - 1e-6), default=at)
    at = min(sung, key=lambda o: abs(o - at), default=at)
    tones = tuple(
        replace(t, mark="target") if t.line == "voice" and t.onset_quarters in (before, at) else t for t in phrase.tones
    )
    choices = draw.choose(label, {k: BY_EAR[k] for k in BY_EAR if k not in ("m2", "M2")}, 5)
    where = Excerpt(source_words(song, start, end), replace(phrase, tones=tones))
    return Sheet(
        prompt=f"Bar {leap.bar}, {beat_words(song.table.beat_at(leap.start))}: how wide is the leap up into the high "
        "note?",
        ask="choice", right=label, words=BY_EAR[label],
        why=f"Bar {leap.bar}: {pretty(leap.lower)} to {pretty(leap.upper)} is "
        f"{with_article(Interval.between(low, top).words)}.",
        shown=where, heard=(Excerpt(source_words(song, start, end), phrase),), choices=choices,
        contrasts={c.label: _compared(low, c) for c in choices if c.label != label},
        source=source_words(song, start, end),
        song_id=song.id, hint="Sing the lower note again, then climb by step.",
    )  # fmt: skip


def song_sing(draw: Draw) -> Sheet | None:
    """A leap into a high note of a song, sung in a safe key first, then nearer to its own."""
    song = draw.song(lambda s: bool(_leaps(s)))
    leap = draw.rng.choice(_leaps(song))
    low, top = Pitch.parse(leap.lower), Pitch.parse(leap.upper)
    wanted = min(top.midi, target_midi(draw))
    if wanted - leap.semitones < draw.material.low_midi:
        return None
    size = Interval.between(low, top)
    start, safe = _spelled(wanted, size)
    if abs(start.alter) > 1:
        return None
    down = top.midi - safe.midi
    tones = (Tone(0.0, 1.0, start, mark="target"), Tone(1.0, 2.0, safe, mark="target"))
    place = "in its own key" if not down else f"{number(down)} semitone{'s' if down > 1 else ''} lower than in the song"
    sheet = _sung(
        draw, tones, 0, f"It is the leap of bar {leap.bar}, {pretty(leap.lower)} to {pretty(leap.upper)}, {place}.",
        heard_name(size),
    )  # fmt: skip
    at = leap.start
    source = source_words(song, max(0.0, at - 1.0), at + 1.0)
    return replace(sheet, source=source, song_id=song.id)


LABELS = BY_EAR

PARTS = {
    "hear-leap": Part("how wide the leap is, by ear", hear_leap),
    "scale": Part("sing a scale up to it", scale, ask="take"),
    "arpeggio": Part("sing a chord up to it", arpeggio, ask="take"),
    "leap": Part("sing a leap into it", sing_leap, ask="take"),
    "song-leap": Part("a leap of your song, by ear", song_leap, song=True),
    "song-sing": Part("sing a leap of your song, first in a safe key", song_sing, song=True, ask="take"),
}


class HighNote(Drawn):
    """The drill."""

    name = "high-note"
    title = "Approach to a high note"
    about = "Hear and sing the way into the climax, first where it is easy."
    lesson = "high-notes"
    parts = PARTS
    labels = LABELS


drill = HighNote()
