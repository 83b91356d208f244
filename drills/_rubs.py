"""A held chord and a note sung over it: whether it rests, what it rubs against, who resolves it."""

from __future__ import annotations

from dataclasses import replace

from drills._chords import chord_words, pick_chord, placed, tone_words
from drills._draw import Draw
from drills._sheet import Sheet
from tutor.music.chord import MEMBERS, Chord
from tutor.music.interval import Interval
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, PitchClass, pretty
from tutor.practice.drill import Choice, Excerpt

BELONGS = {
    "rests": "rests: it belongs to the chord",
    "rubs": "rubs: a semitone from a chord note",
    "colours": "colours: outside the chord, but no semitone from it",
}
WHO = {
    "voice": "the voice: it steps to a chord note",
    "accompaniment": "the piano: it moves so that the note belongs",
    "nobody": "nobody: the rub is left as it is",
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


def a_chord(draw: Draw) -> Chord:
    """A chord to sing over: triads first, then sevenths."""
    pool = ("major", "minor") if draw.level < 0.5 else ("major", "minor", "dominant-seventh", "minor-seventh")
    return pick_chord(draw.rng, draw.level, draw.rng.choice(pool))


def sung_tone(draw: Draw, chord: Chord, wanted: str) -> Pitch | None:
    """A sung pitch of the wanted relation, from the major or minor scale on the root, above the chord."""
    names = ("P1", "m2", "M2", "m3", "M3", "P4", "A4", "P5", "m6", "M6", "m7", "M7")
    tones = [PitchClass(chord.root.fifths + Interval.parse(n).fifths) for n in names]
    # A sung seventh belongs to its chord and wants to move all the same: it is not asked about.
    fits = [t for t in tones if relation(chord, t) == wanted and abs(t.alter) < 2 and t not in chord.tones[3:]]
    if not fits:
        return None
    tone = draw.rng.choice(fits)
    octaves = [Pitch(tone.step, tone.alter, o) for o in (4, 5)]
    high = [p for p in octaves if 64 <= p.midi <= 79]
    return draw.rng.choice(high) if high else None


def sounding(draw: Draw, chord: Chord, voice: Pitch, mark: str = "") -> Phrase | None:
    """The chord held, then the note sung over it; None where they find no room."""
    pitches = placed(draw.rng, chord, wide=draw.hard(), level=min(0.4, draw.level))
    while pitches[-1].midi >= voice.midi:
        pitches = tuple(Pitch(p.step, p.alter, p.octave - 1) for p in pitches)
    if pitches[0].midi < 38:
        return None
    tones = [Tone(0.0, 4.0, p, "lower" if i == 0 else "upper", 0.55) for i, p in enumerate(pitches)]
    return Phrase((*tones, Tone(1.0, 3.0, voice, "voice", 0.85, mark=mark)), bpm=draw.bpm(66, 92))


def why_so(chord: Chord, voice: Pitch) -> str:
    """How the sung note stands to the chord, in words."""
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


def marked(phrase: Phrase, chord: Chord, voice: Pitch) -> Phrase:
    """The sung note and what it rubs against pointed out."""
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


def who_resolves(draw: Draw) -> Sheet | None:
    """A rub and what follows: who gives way."""
    chord = a_chord(draw)
    voice = sung_tone(draw, chord, "rubs")
    if voice is None:
        return None
    first = sounding(draw, chord, voice)
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
        why=f"{why_so(chord, voice)} {words[right]}", shown=Excerpt("The rub and what follows", phrases[right]),
        heard=(Excerpt("The passage", _unmarked(phrases[right])),), choices=tuple(Choice(x, t) for x, t in WHO.items()),
        contrasts={x: Excerpt(f"For comparison: {x}", p) for x, p in phrases.items() if x != right},
        hint="Hold the sung note in your mind: does it move?",
    )  # fmt: skip


def examples(draw: Draw) -> dict[str, Excerpt]:
    """A rub and what follows, for each who may resolve it."""
    for _ in range(8):
        chord = a_chord(draw)
        voice = sung_tone(draw, chord, "rubs")
        first = sounding(draw, chord, voice) if voice is not None else None
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
    tones = list(marked(first, chord, voice).tones)
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
