"""Rub or rest: does the sung note belong to the chord, what does it rub against, who resolves it.

A rub is a note a semitone from a chord member, in whatever octave: a minor second or ninth above it, or a major
seventh above it. A note that is neither a member nor a semitone from one is called colour and asked only at higher
levels. Axes of difficulty: triads, then sevenths; close, then an octave and more apart; struck, then broken.
"""

from __future__ import annotations

from dataclasses import replace

from drills._chords import MEMBER_CHOICES, chord_words, pick_chord, placed, symbol_words, tone_words
from drills._draw import Draw, Drawn
from drills._embellish import KINDS, outside_kind
from drills._sheet import Part, Sheet
from drills._songs import per_song
from tutor.analysis.findings import ChordSpan, Rub
from tutor.music.chord import MEMBERS, Chord
from tutor.music.interval import Interval, with_article
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, PitchClass, pretty
from tutor.music.table import NoteRow
from tutor.practice.drill import Choice, Excerpt, Song
from tutor.practice.material import SURE, cut, source_words, sung_notes, whole_bars

BELONGS = {
    "rests": "rests: it belongs to the chord",
    "rubs": "rubs: a semitone from a chord note",
    "colours": "colours: outside the chord, but no semitone from it",
}
WHO = {
    "voice": "the voice: it moves to a chord note",
    "accompaniment": "the piano: its chord changes so that the note belongs",
    "nobody": "nobody: both stay",
}


def against(chord: Chord, tone: PitchClass) -> list[int]:
    """Members that a tone lies a semitone from; empty for a member."""
    if tone.chroma in {t.chroma for t in chord.tones}:
        return []
    return [i for i, t in enumerate(chord.tones) if (tone.chroma - t.chroma) % 12 in (1, 11)]


def relation(chord: Chord, tone: PitchClass) -> str:
    """'rests', 'rubs' or 'colours'."""
    if tone.chroma in {t.chroma for t in chord.tones}:
        return "rests"
    return "rubs" if against(chord, tone) else "colours"


def _chord(draw: Draw) -> Chord:
    pool = ("major", "minor") if draw.level < 0.5 else ("major", "minor", "dominant-seventh", "minor-seventh")
    return pick_chord(draw.rng, draw.level, draw.rng.choice(pool))


def _tone(draw: Draw, chord: Chord, wanted: str) -> Pitch | None:
    """A sung pitch of the wanted relation, from the major or minor scale on the root, above the chord."""
    names = ("P1", "m2", "M2", "m3", "M3", "P4", "A4", "P5", "m6", "M6", "m7", "M7")
    tones = [PitchClass(chord.root.fifths + Interval.parse(n).fifths) for n in names]
    fits = [t for t in tones if relation(chord, t) == wanted and abs(t.alter) < 2]
    if not fits:
        return None
    tone = draw.rng.choice(fits)
    octaves = [Pitch(tone.step, tone.alter, o) for o in (4, 5)]
    high = [p for p in octaves if 64 <= p.midi <= 79]
    return draw.rng.choice(high) if high else None


def _sounding(draw: Draw, chord: Chord, voice: Pitch, mark: str = "") -> Phrase | None:
    pitches = placed(draw.rng, chord, wide=draw.hard(), level=min(0.4, draw.level))
    while pitches[-1].midi >= voice.midi:
        pitches = tuple(Pitch(p.step, p.alter, p.octave - 1) for p in pitches)
    if pitches[0].midi < 38:
        return None
    tones = [Tone(0.0, 4.0, p, "lower" if i == 0 else "upper", 0.55) for i, p in enumerate(pitches)]
    return Phrase((*tones, Tone(1.0, 3.0, voice, "voice", 0.85, mark=mark)), bpm=draw.bpm(66, 92))


def _why(chord: Chord, voice: Pitch) -> str:
    name = pretty(voice.name)
    what = relation(chord, voice.pitch_class)
    if what == "rests":
        member = MEMBERS[[t.chroma for t in chord.tones].index(voice.pitch_class.chroma)]
        return f"{name} is the {member} of the {chord_words(chord)}: it rests."
    if what == "colours":
        return f"{name} is no member of the {chord_words(chord)}, but every member lies at least a whole tone away."
    members = against(chord, voice.pitch_class)
    words = " and ".join(f"{tone_words(chord.tones[i])}, the {MEMBERS[i]}" for i in members)
    sides = {(voice.pitch_class.chroma - chord.tones[i].chroma) % 12 for i in members}
    harsh = "the harsher kind, a semitone above it" if sides == {1} else "the milder kind, a semitone below it"
    return f"{name} lies a semitone from {words}" + (f": {harsh}." if len(sides) == 1 else ".")


def _marked(phrase: Phrase, chord: Chord, voice: Pitch) -> Phrase:
    rubbed = {chord.tones[i].chroma for i in against(chord, voice.pitch_class)}
    what = relation(chord, voice.pitch_class)
    tones = []
    for tone in phrase.tones:
        if tone.line == "voice":
            tone = replace(tone, mark="rub" if what == "rubs" else "target")
        elif tone.midi % 12 in rubbed:
            tone = replace(tone, mark="rub")
        tones.append(tone)
    return replace(phrase, tones=tuple(tones))


def _neighbour(draw: Draw, chord: Chord, wanted: str, phrase: Phrase) -> Excerpt | None:
    voice = _tone(draw, chord, wanted)
    if voice is None:
        return None
    tones = tuple(replace(t, pitch=voice) if t.line == "voice" else t for t in phrase.tones)
    return Excerpt(f"For comparison: a note that {wanted}", _marked(replace(phrase, tones=tones), chord, voice))


def _belongs(draw: Draw, by_eye: bool) -> Sheet | None:
    chord = _chord(draw)
    labels = tuple(BELONGS)[: 3 if draw.level > 0.5 else 2]
    right = draw.rng.choice(labels)
    voice = _tone(draw, chord, right)
    phrase = _sounding(draw, chord, voice) if voice is not None else None
    if voice is None or phrase is None:
        return None
    contrasts = {x: e for x in labels if x != right and (e := _neighbour(draw, chord, x, phrase)) is not None}
    heard = Excerpt("The chord, then the sung note", phrase)
    return Sheet(
        prompt="A chord is held and a note is sung over it. Does the note rest or rub?", ask="choice", right=right,
        words=BELONGS[right], why=_why(chord, voice),
        shown=Excerpt("The notes that decide", _marked(phrase, chord, voice)),
        heard=() if by_eye else (heard,), seen=(heard,) if by_eye else (),
        choices=tuple(Choice(x, BELONGS[x]) for x in labels), contrasts=contrasts,
        hint="Does the sung note want to move?",
    )  # fmt: skip


def belongs_ear(draw: Draw) -> Sheet | None:
    """Rest or rub, by ear."""
    return _belongs(draw, by_eye=False)


def belongs_eye(draw: Draw) -> Sheet | None:
    """Rest or rub, on the staff."""
    return _belongs(draw, by_eye=True)


def against_which(draw: Draw) -> Sheet | None:
    """Which member the note rubs against; only notes that rub against one."""
    chord = _chord(draw)
    voice = _tone(draw, chord, "rubs")
    phrase = _sounding(draw, chord, voice) if voice is not None else None
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
        ask="choice", right=right, words=MEMBER_CHOICES[right], why=_why(chord, voice),
        shown=Excerpt("The rub marked", _marked(phrase, chord, voice)),
        heard=(Excerpt("The chord, then the sung note", phrase),),
        choices=tuple(Choice(x, MEMBER_CHOICES[x]) for x in labels), contrasts=contrasts,
        hint="Slide from the sung note to the nearest chord note and name it.",
    )  # fmt: skip


def who_resolves(draw: Draw) -> Sheet | None:
    """A rub and what follows: who gives way."""
    chord = _chord(draw)
    voice = _tone(draw, chord, "rubs")
    if voice is None:
        return None
    first = _sounding(draw, chord, voice)
    made = {x: _followed(draw, chord, voice, first, x) for x in WHO} if first is not None else {}
    right = draw.rng.choice(tuple(WHO))
    phrases = {x: p for x, p in made.items() if p is not None}
    if right not in phrases or len(phrases) < 3:
        return None
    words = {
        "voice": "The chord stays and the voice steps into it.",
        "accompaniment": "The voice stays and the chord changes to one that holds its note.",
        "nobody": "Neither moves: the rub is left standing.",
    }
    return Sheet(
        prompt="The sung note rubs against the chord. Who resolves it?", ask="choice", right=right, words=WHO[right],
        why=f"{_why(chord, voice)} {words[right]}", shown=Excerpt("The rub and what follows", phrases[right]),
        heard=(Excerpt("The passage", _unmarked(phrases[right])),), choices=tuple(Choice(x, t) for x, t in WHO.items()),
        contrasts={x: Excerpt(f"For comparison: {x}", p) for x, p in phrases.items() if x != right},
        hint="Hold the sung note in your mind: does it move?",
    )  # fmt: skip


def _examples(draw: Draw) -> dict[str, Excerpt]:
    """A rub and what follows, for each who may resolve it."""
    for _ in range(8):
        chord = _chord(draw)
        voice = _tone(draw, chord, "rubs")
        first = _sounding(draw, chord, voice) if voice is not None else None
        if voice is None or first is None:
            continue
        made = {x: _followed(draw, chord, voice, first, x) for x in WHO}
        if all(made.values()):
            return {x: Excerpt(f"For comparison: {WHO[x]}", p) for x, p in made.items() if p is not None}
    return {}


def _unmarked(phrase: Phrase) -> Phrase:
    return replace(phrase, tones=tuple(replace(t, mark="") for t in phrase.tones))


def _followed(draw: Draw, chord: Chord, voice: Pitch, first: Phrase, who: str) -> Phrase | None:
    now = voice
    after = chord
    if who == "voice":
        steps = [
            p
            for t in chord.tones
            for o in (voice.octave - 1, voice.octave, voice.octave + 1)
            if abs((p := Pitch(t.step, t.alter, o)).diatonic - voice.diatonic) == 1 and abs(p.midi - voice.midi) <= 2
        ]
        if not steps:
            return None
        now = min(steps, key=lambda p: (abs(p.midi - voice.midi), p.midi))
    elif who == "accompaniment":
        roots = [PitchClass(voice.pitch_class.fifths - i.fifths) for i in map(Interval.parse, ("P1", "M3", "m3", "P5"))]
        qualities = ("major", "major", "minor", "major")
        fits = [Chord(r, q) for r, q in zip(roots, qualities, strict=True) if abs(r.alter) < 2 and r != chord.root]
        after = draw.rng.choice(fits)
    pitches = _near(after, first)
    tones = list(_marked(first, chord, voice).tones)
    tones += [Tone(4.0, 4.0, p, "lower" if i == 0 else "upper", 0.55) for i, p in enumerate(pitches)]
    tones.append(Tone(4.0, 4.0, now, "voice", 0.85, mark="" if who == "nobody" else "right"))
    return replace(first, tones=tuple(tones))


def _near(chord: Chord, phrase: Phrase) -> list[Pitch]:
    """The chord as near as can be to the pitches that sound, below the voice."""
    held = sorted((t.pitch for t in phrase.tones if t.line != "voice"), key=lambda p: p.midi)
    if {p.pitch_class for p in held} == set(chord.tones):
        return held
    low, top = held[0].midi, min(t.midi for t in phrase.tones if t.line == "voice")
    bass = min((Pitch(chord.root.step, chord.root.alter, o) for o in range(1, 5)), key=lambda p: abs(p.midi - low))
    out = [bass]
    for tone in chord.tones[1:]:
        places = [Pitch(tone.step, tone.alter, o) for o in range(1, 6)]
        fits = [p for p in places if bass.midi < p.midi < top] or [p for p in places if p.midi > bass.midi]
        out.append(min(fits, key=lambda p: abs(p.midi - (held[-1].midi + low) / 2)))
    return sorted(out, key=lambda p: p.midi)


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
        if (rub is None) == inside and not (rub is not None and _played_too(song, note, span)):
            out.append((note, span, rub))
    return out


def _played_too(song: Song, note: NoteRow, span: ChordSpan) -> bool:
    """True when the piano has the sung note in the same chord: then it may as well be a member of it."""
    return any(
        n.part != note.part and n.midi % 12 == note.midi % 12
        and n.onset_quarters < span.end - 1e-6 and n.end_quarters > span.start + 1e-6
        for n in song.table.notes
    )  # fmt: skip


def song_belongs(draw: Draw) -> Sheet | None:
    """A sung note of a song."""
    chosen = draw.song(lambda s: bool(_song_notes(s)))
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
    word = f" (on “{note.syllable}”)" if note.syllable else ""
    alone = Excerpt("The note alone with its chord", cut(chosen.table, note.onset_quarters, note.end_quarters))
    return Sheet(
        prompt=f"Bar {bar}: does the sung note{word} rest in the chord or rub against it?", ask="choice", right=right,
        words=BELONGS[right], why=why, shown=Excerpt(source_words(chosen, start, end), replace(phrase, tones=tones)),
        heard=(Excerpt(source_words(chosen, start, end), phrase), alone),
        choices=tuple(Choice(x, BELONGS[x]) for x in ("rests", "rubs")),
        contrasts={x: alone for x in ("rests", "rubs") if x != right}, source=source_words(chosen, start, end),
        song_id=chosen.id, hint="Does the sung note want to move?",
    )  # fmt: skip


def _words(interval: str) -> str:
    try:
        return Interval.parse(interval).words
    except ValueError:
        return "tritone" if interval == "TT" else f"interval of {interval}"


def song_resolves(draw: Draw) -> Sheet | None:
    """A rub of a song: who resolves it."""

    def sure(song: Song) -> list[Rub]:
        return [r for r in song.reading.rubs if _sure_span(song, r.start) is not None]

    chosen = draw.song(lambda s: bool(sure(s)))
    rub = draw.rng.choice(sure(chosen))
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
    then = "" if rub.resolves.at is None else f" It gives way {chosen_beat(chosen, rub.resolves.at)}."
    return Sheet(
        prompt=f"Bar {rub.bar}: {pretty(rub.voice)} rubs against {pretty(rub.against)}. Who resolves it?", ask="choice",
        right=right, words=WHO[right],
        why=f"Bar {rub.bar}: {pretty(rub.voice)} over {symbol_words(rub.chord)}; {WHO[right]}.{then}", shown=where,
        heard=(Excerpt(source_words(chosen, start, end), phrase),), choices=tuple(Choice(x, t) for x, t in WHO.items()),
        contrasts={x: e for x, e in _examples(draw).items() if x != right},
        source=source_words(chosen, start, end), song_id=chosen.id,
        hint="Hold the sung note in your mind: does it move?",
    )  # fmt: skip


def chosen_beat(song: Song, at: float) -> str:
    """'in bar 9 on beat 3'."""
    return f"in bar {song.table.bar_at(at).number} on beat {song.table.beat_at(at):g}"


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
