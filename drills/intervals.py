"""Intervals in context: against a tonic, inside a melody, sung.

Axes of difficulty: few sizes, then all within the octave; rising, then falling; alone against the tonic, then inside a
melody; struck together. By ear an augmented fourth and a diminished fifth are one answer, the tritone; on the staff
the spelling decides.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

from drills._chords import in_reach
from drills._draw import Draw, Drawn, capital, key_heard, pretty_key
from drills._melody import melody, rhythm
from drills._modal import degree_words
from drills._sheet import Part, Sheet
from drills._songs import per_song, plain_syllable
from tutor.music.interval import Interval, with_article
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, pretty
from tutor.music.progression import harmonies
from tutor.music.scale import Key
from tutor.music.table import NoteRow
from tutor.practice.drill import Choice, Excerpt, Song
from tutor.practice.material import cut, source_words, sung_notes

BY_EAR = {
    "m2": "minor second", "M2": "major second", "m3": "minor third", "M3": "major third", "P4": "perfect fourth",
    "TT": "tritone (augmented fourth or diminished fifth)", "P5": "perfect fifth", "m6": "minor sixth",
    "M6": "major sixth", "m7": "minor seventh", "M7": "major seventh", "P8": "octave",
}  # fmt: skip
BY_EYE = {k: v for k, v in BY_EAR.items() if k != "TT"} | {"A4": "augmented fourth", "d5": "diminished fifth"}
_ORDER = ("P8", "P5", "M3", "P4", "M2", "m3", "M6", "m2", "m6", "m7", "M7", "TT")
"""Easiest first: the dice reach further as the level rises (a choice of ours)."""
_DEGREES = {"M2": "2", "M3": "3", "m3": "b3", "P4": "4", "P5": "5", "m6": "b6", "M6": "6", "m7": "b7", "M7": "7",
            "m2": "b2", "TT": "#4", "P8": "1"}  # fmt: skip


def heard_name(interval: Interval) -> str:
    """The name by ear alone: the tritone is one."""
    name = interval.simple.name
    return "TT" if name in ("A4", "d5") else name


def _reach(draw: Draw) -> tuple[str, ...]:
    return _ORDER[: 5 + round(draw.level * 7)]


def _against(draw: Draw) -> tuple[Key, Pitch, Pitch, str] | None:
    """A key, its tonic, a tone above or (harder) below, and the interval's label.

    Minor intervals stand in minor where the key has them, so that the key bears them out.
    """
    right = draw.rng.choice(_reach(draw))
    degree = _DEGREES[right]
    key = draw.key("minor" if degree in ("b3", "b6", "b7") else "major")
    tonic = key.pitch("1", 4 if key.pitch("1", 4).midi <= 66 else 3)
    other = key.pitch(degree, tonic.octave)
    if right == "P8":
        other = Pitch(tonic.step, tonic.alter, tonic.octave + 1)
    return (key, tonic, other, right) if abs(other.alter) < 2 else None


def wider(draw: Draw) -> Sheet | None:
    """Two intervals from one note: which is wider."""
    a, b = draw.rng.sample(_reach(draw), 2)
    key = draw.key("major")
    start = key.pitch("1", 4 if key.pitch("1", 4).midi <= 66 else 3)
    ends = {x: _above(start, x) for x in (a, b)}
    if abs(ends[a].midi - ends[b].midi) < (3 if draw.level < 0.4 else 1):
        return None
    bpm = draw.bpm(66, 96)
    heard = {x: _two(start, e, key, bpm) for x, e in ends.items()}
    right = "first" if ends[a].midi > ends[b].midi else "second"
    words = {x: with_article(BY_EAR[x].split(" (")[0]) for x in (a, b)}
    return Sheet(
        prompt="Two intervals rise from the same note. Which is wider?", ask="choice", right=right,
        words=f"the {right}", why=f"The first is {words[a]}, the second {words[b]}.",
        shown=Excerpt("The wider one", _pointed(heard[a if right == "first" else b])),
        heard=(Excerpt("First", heard[a]), Excerpt("Second", heard[b])),
        choices=(Choice("first", "the first"), Choice("second", "the second")),
        contrasts={x: Excerpt("The narrower one", heard[b if right == "first" else a])
                   for x in ("first", "second") if x != right},
        hint="Which upper note lies higher?",
    )  # fmt: skip


def _above(start: Pitch, label: str) -> Pitch:
    size = Interval.parse("A4" if label == "TT" else label)
    return start.moved(size.fifths, size.diatonic)


def _two(a: Pitch, b: Pitch, key: Key, bpm: float, *, together: bool = False) -> Phrase:
    tones = (Tone(0.0, 1.0, a), Tone(1.0, 2.0, b))
    if together:
        tones = (Tone(0.0, 3.0, a, "lower", 0.6), Tone(0.0, 3.0, b, "upper", 0.7))
    return Phrase(tones, bpm=bpm, fifths=key.fifths)


def _pointed(phrase: Phrase) -> Phrase:
    return replace(phrase, tones=tuple(replace(t, mark="target") for t in phrase.tones))


def _named(draw: Draw, *, together: bool, by_eye: bool = False) -> Sheet | None:
    made = _against(draw)
    if made is None:
        return None
    key, tonic, other, right = made
    falling = not together and draw.hard(0.45)
    first, second = (other, tonic) if falling else (tonic, other)
    bpm = draw.bpm(60, 92)
    pool = BY_EYE if by_eye else BY_EAR
    label = Interval.between(tonic, other).name if by_eye else right
    phrase = _two(first, second, key, bpm, together=together)
    choices = draw.choose(label, pool, 4 + round(draw.level * 3))
    contrasts = {
        c.label: Excerpt(f"For comparison: {c.text.split(' (')[0]}",
                         _two(*_pair(tonic, c.label, falling), key, bpm, together=together))
        for c in choices if c.label != label
    }  # fmt: skip
    degree = degree_words(key.degree_of(other.pitch_class))
    named = pretty_key(key)
    where = f"degree 1 of {named} both times" if degree == "1" else f"degrees 1 and {degree} of {named}"
    return Sheet(
        prompt="Which interval is this, measured against the tonic?" if not by_eye else "Which interval is this?",
        ask="choice", right=label, words=pool[label],
        why=f"{pretty(tonic.name)} and {pretty(other.name)}: {with_article(Interval.between(tonic, other).words)}, "
        f"{where}.",
        shown=Excerpt("The interval", _pointed(phrase)),
        heard=() if by_eye else (key_heard(draw, key), Excerpt("The interval", phrase)),
        seen=(Excerpt("The interval", phrase),) if by_eye else (), choices=choices, contrasts=contrasts,
        hint="Count the letters, both ends included, then the semitones." if by_eye
        else "Sing the scale from the tonic up to the other note.",
    )  # fmt: skip


def _pair(tonic: Pitch, label: str, falling: bool) -> tuple[Pitch, Pitch]:
    other = _above(tonic, label)
    return (other, tonic) if falling else (tonic, other)


def against_tonic(draw: Draw) -> Sheet | None:
    """Against the tonic, one after the other."""
    return _named(draw, together=False)


def together(draw: Draw) -> Sheet | None:
    """Against the tonic, together."""
    return _named(draw, together=True)


def staff(draw: Draw) -> Sheet | None:
    """On the staff."""
    return _named(draw, together=draw.rng.random() < 0.5, by_eye=True)


def in_melody(draw: Draw) -> Sheet | None:
    """Two neighbouring notes of a melody."""
    key = draw.key()
    names = draw.rng.choice((("I", "V"), ("I", "IV"), ("I", "I")) if key.mode == "major" else (("i", "V"), ("i", "iv")))
    lengths = rhythm(draw.rng, 2, draw.level * 0.5, closed=True)
    tones = melody(draw.rng, key, harmonies(names, key), lengths, low=58, high=76, level=max(0.4, draw.level),
                   end=("1", "3", "5", "b3", "7", "2", "4", "6", "b6"))  # fmt: skip
    if tones is None:
        return None
    labels = [heard_name(Interval.between(a.pitch, b.pitch)) for a, b in itertools.pairwise(tones)]
    wanted = draw.rng.choice(_reach(draw))
    spots = [i for i, x in enumerate(labels) if x == wanted]
    if not spots:
        return None
    at = draw.rng.choice(spots)
    a, b = tones[at].pitch, tones[at + 1].pitch
    bpm = draw.bpm(72, 100)
    phrase = Phrase(tones, bpm=bpm, fifths=key.fifths, first_bar="1")
    marked = replace(
        phrase, tones=tuple(replace(t, mark="target") if i in (at, at + 1) else t for i, t in enumerate(tones))
    )
    choices = draw.choose(wanted, BY_EAR, 4 + round(draw.level * 3))
    pair = _two(a, b, key, bpm)
    way = "up" if b.midi > a.midi else "down"
    return Sheet(
        prompt=f"Notes {at + 1} and {at + 2} of the melody: which interval lies between them?", ask="choice",
        right=wanted, words=BY_EAR[wanted],
        why=f"{pretty(a.name)} {way} to {pretty(b.name)} is {with_article(Interval.between(a, b).words)}.",
        shown=Excerpt("The two notes marked", marked),
        heard=(Excerpt("The melody", phrase), Excerpt("The two notes alone", pair)), choices=choices,
        contrasts={c.label: Excerpt(f"For comparison: {c.text.split(' (')[0]}", _two(*_like(a, b, c.label), key, bpm))
                   for c in choices if c.label != wanted},
        hint="Sing from the first of the two to the second through every step between.",
    )  # fmt: skip


def _like(a: Pitch, b: Pitch, label: str) -> tuple[Pitch, Pitch]:
    other = _above(a, label)
    if b.midi < a.midi:
        size = Interval.between(a, other)
        other = a.moved(-size.fifths, -size.diatonic)
    return a, other


def sing(draw: Draw) -> Sheet | None:
    """Sing an interval above or below a given note."""
    label = draw.rng.choice([x for x in _reach(draw) if x != "TT"])
    size = Interval.parse(label)
    down = draw.hard(0.4)
    low, high = draw.material.low_midi, draw.material.high_midi
    key = draw.key("major")
    pitches = [p for d in ("1", "5", "2", "4", "6", "3") if (p := in_reach(key.pitch(d, 4), low, high)) is not None]
    fits = [p for p in pitches if low <= (p.midi - size.semitones if down else p.midi + size.semitones) <= high]
    if not fits:
        return None
    start = draw.rng.choice(fits)
    end = start.moved(-size.fifths, -size.diatonic) if down else start.moved(size.fifths, size.diatonic)
    bpm = draw.bpm(60, 92)
    given = Phrase((Tone(0.0, 2.0, start),), bpm=bpm, fifths=key.fifths)
    both = Phrase((Tone(0.0, 2.0, start), Tone(2.0, 2.0, end, mark="target")), bpm=bpm, fifths=key.fifths)
    way = "below" if down else "above"
    return Sheet(
        prompt=f"Sing the note {with_article(BY_EAR[label])} {way} the one you hear.", ask="take", right=label,
        words=pretty(end.name), why=f"{capital(with_article(BY_EAR[label]))} {way} {pretty(start.name)} is "
        f"{pretty(end.name)}.", shown=Excerpt("The given note and the one to sing", both),
        heard=(Excerpt("The given note", given),), wanted=((end.midi, 0.0, 2.0),), any_octave=False, bpm=bpm,
        also=("notes",), hint="Sing the steps between in your mind first.",
    )  # fmt: skip


@per_song
def _song_pairs(song: Song, reach: tuple[str, ...]) -> list[tuple[NoteRow, NoteRow, str]]:
    notes = sung_notes(song.table, 0.0, song.table.length_quarters)
    out = []
    for a, b in itertools.pairwise(notes):
        size = Interval.between(a.pitch, b.pitch).up
        near = b.onset_quarters - a.end_quarters < 0.5 and 0 < size.diatonic <= 7
        if near and heard_name(size) in reach and a.onset_quarters < b.onset_quarters:
            out.append((a, b, heard_name(size)))
    return out


def song(draw: Draw) -> Sheet | None:
    """Two sung notes of a song."""
    reach = _reach(draw)
    chosen = draw.song(lambda s: bool(_song_pairs(s, reach)))
    pairs = _song_pairs(chosen, reach)
    wanted = draw.rng.choice(sorted({p[2] for p in pairs}))
    a, b, _ = draw.rng.choice([p for p in pairs if p[2] == wanted])
    start = chosen.table.bar_at(a.onset_quarters).start_quarters
    end = chosen.table.bar_at(b.onset_quarters).end_quarters
    phrase = cut(chosen.table, start, end)
    marks = (a.onset_quarters - start, b.onset_quarters - start)
    tones = tuple(
        replace(t, mark="target") if t.line == "voice" and any(abs(t.onset_quarters - m) < 1e-6 for m in marks) else t
        for t in phrase.tones
    )
    pair = cut(chosen.table, a.onset_quarters, b.end_quarters).only("voice")
    choices = draw.choose(wanted, BY_EAR, 4 + round(draw.level * 3))
    bar = chosen.table.bar_at(a.onset_quarters).number
    words = f" (“{plain_syllable(a)}” to “{plain_syllable(b)}”)" if a.syllable and b.syllable else ""
    return Sheet(
        prompt=f"Bar {bar}{words}: which interval lies between the two sung notes that you hear alone at the end?",
        ask="choice", right=wanted, words=BY_EAR[wanted],
        why=f"Bar {bar}: {pretty(a.pitch.name)} to {pretty(b.pitch.name)} is "
        f"{with_article(Interval.between(a.pitch, b.pitch).words)}.",
        shown=Excerpt(source_words(chosen, start, end), replace(phrase, tones=tones)),
        heard=(Excerpt(source_words(chosen, start, end), phrase), Excerpt("The two notes alone", pair)),
        choices=choices,
        contrasts={c.label: Excerpt(f"For comparison: {c.text.split(' (')[0]}",
                                    _two(*_like(a.pitch, b.pitch, c.label), Key.parse("C major"), phrase.bpm))
                   for c in choices if c.label != wanted},
        source=source_words(chosen, start, end), song_id=chosen.id,
        hint="Sing through every step between the two.",
    )  # fmt: skip


LABELS = BY_EAR | BY_EYE

PARTS = {
    "wider": Part("which is wider, by ear", wider),
    "tonic": Part("against the tonic, by ear", against_tonic),
    "staff": Part("on the staff", staff),
    "together": Part("sounding together, by ear", together),
    "melody": Part("inside a melody, by ear", in_melody),
    "sing": Part("sing or play an interval", sing, ask="take"),
    "song": Part("in the melody of your song, by ear", song, song=True),
}


class Intervals(Drawn):
    """The drill."""

    name = "intervals"
    title = "Intervals in context"
    about = "Hear, read and sing intervals where they live: against a tonic and inside melodies."
    lesson = "intervals"
    parts = PARTS
    labels = LABELS


drill = Intervals()
