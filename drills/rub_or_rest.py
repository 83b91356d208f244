"""Rub or rest: does the sung note belong to the chord, what does it rub against, who resolves it.

A rub is a note a semitone from a chord member, in whatever octave: a minor second or ninth above it, or a major
seventh above it. A note that is neither a member nor a semitone from one is called colour and asked only at higher
levels. Axes of difficulty: triads, then sevenths; close, then an octave and more apart; struck, then broken.
"""

from __future__ import annotations

from dataclasses import replace

from drills._chords import MEMBER_CHOICES, chord_of, chord_words
from drills._draw import Draw, Drawn
from drills._embellish import KINDS, outside_kind
from drills._rubs import (
    BELONGS,
    WHO,
    a_chord,
    against,
    examples,
    marked,
    sounding,
    sung_tone,
    who_resolves,
    why_so,
)  # fmt: skip
from drills._sheet import Part, Sheet
from drills._songs import per_song, plain_syllable
from tutor.analysis.findings import ChordSpan, Rub
from tutor.music.chord import MEMBERS, SHAPES, Chord
from tutor.music.chordsymbol import symbol_words
from tutor.music.interval import Interval, with_article
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, PitchClass, pretty
from tutor.music.quality import tones_of
from tutor.music.table import NoteRow
from tutor.practice.drill import Choice, Excerpt, Song
from tutor.practice.material import SURE, beat_words, cut, source_words, sung_notes, whole_bars

CLUE = "Name or sing the notes of the chord from the bottom up: is the sung one among them?"
SEMITONE = ("m2", "m9", "M7", "M14")
"""Rubs of a reading that are a semitone, in whatever octave; tritones and suspensions are not asked about."""
RESOLVED = {
    "voice": "the voice steps to a chord note",
    "accompaniment": "the piano moves so that the note belongs",
    "nobody": "neither resolves it",
}


def _neighbour(draw: Draw, chord: Chord, wanted: str, phrase: Phrase) -> Excerpt | None:
    voice = sung_tone(draw, chord, wanted)
    if voice is None:
        return None
    tones = tuple(replace(t, pitch=voice) if t.line == "voice" else t for t in phrase.tones)
    return Excerpt(f"For comparison: a note that {wanted}", marked(replace(phrase, tones=tones), chord, voice))


def _belongs(draw: Draw, by_eye: bool) -> Sheet | None:
    chord = a_chord(draw)
    labels = tuple(BELONGS)[: 3 if draw.level > 0.5 else 2]
    right = draw.rng.choice(labels)
    voice = sung_tone(draw, chord, right)
    phrase = sounding(draw, chord, voice) if voice is not None else None
    if voice is None or phrase is None:
        return None
    contrasts = {x: e for x in labels if x != right and (e := _neighbour(draw, chord, x, phrase)) is not None}
    heard = Excerpt("The chord, then the sung note", phrase)
    return Sheet(
        prompt="A chord is held and a note is sung over it. Does the note rest or rub?", ask="choice", right=right,
        words=BELONGS[right], why=why_so(chord, voice),
        shown=Excerpt("The notes that decide", marked(phrase, chord, voice)),
        heard=() if by_eye else (heard,), seen=(heard,) if by_eye else (),
        choices=tuple(Choice(x, BELONGS[x]) for x in labels), contrasts=contrasts,
        hint=CLUE,
    )  # fmt: skip


def belongs_ear(draw: Draw) -> Sheet | None:
    """Rest or rub, by ear."""
    return _belongs(draw, by_eye=False)


def belongs_eye(draw: Draw) -> Sheet | None:
    """Rest or rub, on the staff."""
    return _belongs(draw, by_eye=True)


def against_which(draw: Draw) -> Sheet | None:
    """Which member the note rubs against; only notes that rub against one."""
    chord = a_chord(draw)
    voice = sung_tone(draw, chord, "rubs")
    phrase = sounding(draw, chord, voice) if voice is not None else None
    if voice is None or phrase is None:
        return None
    members = against(chord, voice.pitch_class)
    if len(members) != 1:
        return None
    right = MEMBERS[members[0]]
    labels = MEMBERS[: len(chord.tones)]
    contrasts = {}
    for i, label in enumerate(labels):
        if label != right:
            tone = Pitch(chord.tones[i].step, chord.tones[i].alter, voice.octave)
            pair = (Tone(0.0, 2.0, tone, "upper", 0.6, mark="rub"), Tone(1.0, 2.0, voice, "voice", 0.8, mark="target"))
            contrasts[label] = Excerpt(f"The {label} and the sung note alone", Phrase(pair, bpm=phrase.bpm))
    return Sheet(
        prompt=f"The chord is the {chord_words(chord)}, and the sung note rubs. Against which of its notes?",
        ask="choice", right=right, words=MEMBER_CHOICES[right], why=why_so(chord, voice),
        shown=Excerpt("The rub marked", marked(phrase, chord, voice)),
        heard=(Excerpt("The chord, then the sung note", phrase),),
        choices=tuple(Choice(x, MEMBER_CHOICES[x]) for x in labels), contrasts=contrasts,
        hint="Slide from the sung note to the nearest chord note and name it.",
    )  # fmt: skip


_SOON = 2.0
"""Quarters after a rub within which the voice's next notes are looked at (a choice of ours)."""


def _sure_span(song: Song, at: float) -> ChordSpan | None:
    return next((c for c in song.reading.chords if c.start - 1e-6 <= at < c.end - 1e-6 and c.confidence >= SURE), None)


@per_song
def _song_notes(song: Song) -> list[tuple[NoteRow, ChordSpan, Rub | None]]:
    """Sung notes over one sure chord, each with its rub or None where it belongs."""
    out = []
    for note in sung_notes(song.table, 0.0, song.table.length_quarters):
        span = _sure_span(song, note.onset_quarters)
        if span is None or note.end_quarters > span.end + 1e-6 or note.duration_quarters < 0.5:
            continue
        rub = next((r for r in song.reading.rubs if abs(r.start - note.onset_quarters) < 1e-6), None)
        inside = note.pitch.pitch_class.name in span.tones
        if (inside and _pulls_on(note, span)) or (rub and rub.interval not in SEMITONE):
            continue
        if (rub is None) == inside and not (rub is not None and _played_too(song, note, span)):
            out.append((note, span, rub))
    return out


def _pulls_on(note: NoteRow, span: ChordSpan) -> bool:
    """True for a chord note that hardly rests: a seventh or ninth, and any in an augmented sixth or a suspension."""
    if span.quality not in SHAPES or span.quality.startswith("suspended"):
        return True
    return note.pitch.pitch_class in chord_of(span).tones[3:]


def _played_too(song: Song, note: NoteRow, span: ChordSpan) -> bool:
    """True when the piano has the sung note in the same chord: then it may as well be a member of it."""
    return any(
        n.part != note.part and n.midi % 12 == note.midi % 12
        and n.onset_quarters < span.end - 1e-6 and n.end_quarters > span.start + 1e-6
        for n in song.table.notes
    )  # fmt: skip


def song_belongs(draw: Draw) -> Sheet | None:
    """A sung note of a song."""
    chosen = draw.song(lambda s: len({n[2] is None for n in _song_notes(s)}) > 1)
    notes = _song_notes(chosen)
    right = draw.rng.choice(("rests", "rubs"))
    fits = [n for n in notes if (n[2] is not None) == (right == "rubs")]
    if not fits:
        return None
    note, span, rub = draw.rng.choice(fits)
    start, end = whole_bars(chosen.table, note.onset_quarters, note.end_quarters)
    phrase = cut(chosen.table, start, end)
    bar = chosen.table.bar_at(note.onset_quarters).number
    at = note.onset_quarters - start
    mark = "rub" if right == "rubs" else "target"
    tones = tuple(
        replace(t, mark=mark) if t.line == "voice" and abs(t.onset_quarters - at) < 1e-6 else t for t in phrase.tones
    )
    why = (
        f"Bar {bar}: {pretty(rub.voice)} over {symbol_words(rub.chord)} is {with_article(_words(rub.interval))} from "
        f"{pretty(rub.against)}."
        if rub is not None
        else f"Bar {bar}: {pretty(note.pitch.name)} is a member of {symbol_words(span.symbol)} "
        f"({', '.join(pretty(t) for t in span.tones)})."
    )
    word = f" (on “{plain_syllable(note)}”)" if note.syllable else ""
    alone = Excerpt("The note alone with its chord", cut(chosen.table, note.onset_quarters, note.end_quarters))
    return Sheet(
        prompt=f"Bar {bar}, {beat_words(chosen.table.beat_at(note.onset_quarters))}: does the sung note{word} rest in "
        "the chord or rub against it?", ask="choice", right=right,
        words=BELONGS[right], why=why, shown=Excerpt(source_words(chosen, start, end), replace(phrase, tones=tones)),
        heard=(Excerpt(source_words(chosen, start, end), phrase), alone),
        choices=tuple(Choice(x, BELONGS[x]) for x in ("rests", "rubs")),
        contrasts={x: alone for x in ("rests", "rubs") if x != right}, source=source_words(chosen, start, end),
        song_id=chosen.id, hint=CLUE,
    )  # fmt: skip


def _words(interval: str) -> str:
    try:
        return Interval.parse(interval).words
    except ValueError:
        return "tritone" if interval == "TT" else f"interval of {interval}"


def _left_open(song: Song, rub: Rub) -> bool:
    """True where nobody could argue that a rub is resolved.

    The voice leaps away and neither of its next two notes lies a step from it, and the chord that sounds when it goes
    does not hold it: what came too early, or goes round its goal, is resolved to many ears.
    """
    after = sung_notes(song.table, rub.start + 1e-3, rub.end + _SOON)
    note = Pitch.parse(rub.voice)
    going = next((c for c in song.reading.chords if c.start - 1e-6 <= rub.end < c.end - 1e-6), None)
    held = going is not None and note.pitch_class in tones_of(PitchClass.parse(going.root), going.quality)
    return not held and all(abs(n.midi - note.midi) > 2 for n in after[:2])


@per_song
def _sure_rubs(song: Song) -> list[Rub]:
    """Rubs of a semitone in chords that the reading is sure of, those left open only where that is plain."""
    return [
        r for r in song.reading.rubs
        if r.interval in SEMITONE and _sure_span(song, r.start) is not None
        and (r.resolves.by != "none" or _left_open(song, r))
    ]  # fmt: skip


def song_resolves(draw: Draw) -> Sheet | None:
    """A rub of a song: who resolves it."""
    chosen = draw.song(lambda s: bool(_sure_rubs(s)))
    rub = draw.rng.choice(_sure_rubs(chosen))
    right = "nobody" if rub.resolves.by == "none" else rub.resolves.by
    until = min(chosen.table.length_quarters, (rub.resolves.at or rub.end) + 2.0)
    start, end = whole_bars(chosen.table, rub.start, until)
    phrase = cut(chosen.table, start, end)
    at = rub.start - start
    tones = tuple(
        replace(t, mark="rub") if t.onset_quarters <= at + 1e-6 < t.end_quarters
        and (t.line == "voice" or t.pitch.pitch_class.name == rub.against.rstrip("0123456789")) else t
        for t in phrase.tones
    )  # fmt: skip
    where = Excerpt(source_words(chosen, start, end), replace(phrase, tones=tones))
    then = "" if rub.resolves.at is None else f" {chosen_beat(chosen, rub.resolves.at)}"
    return Sheet(
        prompt=f"Bar {rub.bar}, {beat_words(rub.beat)}: the sung {pretty(rub.voice)} rubs against "
        f"{pretty(rub.against)}. Who resolves it?", ask="choice", right=right, words=WHO[right],
        why=f"Bar {rub.bar}: {pretty(rub.voice)} sounds over {symbol_words(rub.chord)}, and {RESOLVED[right]}{then}.",
        shown=where,
        heard=(Excerpt(source_words(chosen, start, end), phrase),), choices=tuple(Choice(x, t) for x, t in WHO.items()),
        contrasts={x: e for x, e in examples(draw).items() if x != right},
        source=source_words(chosen, start, end), song_id=chosen.id,
        hint="Hold the sung note in your mind: does it move?",
    )  # fmt: skip


def chosen_beat(song: Song, at: float) -> str:
    """'on beat 3 of bar 9'."""
    return f"on {beat_words(song.table.beat_at(at))} of bar {song.table.bar_at(at).number}"


LABELS = BELONGS | WHO | MEMBER_CHOICES | KINDS

PARTS = {
    "belongs": Part("rest or rub, by ear", belongs_ear),
    "belongs-staff": Part("rest or rub, on the staff", belongs_eye),
    "against": Part("which chord note it rubs against, by ear", against_which),
    "resolves": Part("who resolves the rub, by ear", who_resolves),
    "outside": Part("how an outside note comes and goes, by ear", outside_kind),
    "song": Part("a sung note of your song", song_belongs, song=True),
    "song-resolves": Part("who resolves a rub of your song", song_resolves, song=True),
}


class RubOrRest(Drawn):
    """The drill."""

    name = "rub-or-rest"
    title = "Rub or rest"
    about = "Hear whether the sung note belongs to the chord, what it rubs against and who resolves it."
    lesson = "rubs"
    parts = PARTS
    labels = LABELS


drill = RubOrRest()
