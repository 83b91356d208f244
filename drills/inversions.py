"""Inversions: which member of the chord is lowest.

Axes of difficulty: simple roots first, then all; one register, then several; triads, then sevenths; struck, broken,
open; alone, in a progression, in a song. Never asked by ear: augmented triads and diminished sevenths, which sound
alike in every inversion. A minor or half-diminished seventh in first inversion sounds like an added sixth: there a key
is set and the chord is named.
"""

from __future__ import annotations

from dataclasses import replace

from drills._basses import two_basses, two_basses_where
from drills._chords import (
    INVERSION_CHOICES,
    MEMBER_CHOICES,
    ORDINALS,
    chord_of,
    chord_words,
    in_reach,
    inversion_words,
    pick_chord,
    placed,
    tone_words,
    with_bass,
)
from drills._draw import Draw, Drawn, capital, key_heard, number
from drills._figured import figures_read, figures_write
from drills._sheet import Part, Sheet
from drills._songs import bass_agrees, per_song
from drills._texture import laid, single
from drills._voicing import lead
from tutor.analysis.findings import ChordSpan
from tutor.music.chord import MEMBERS, Chord
from tutor.music.phrase import Phrase
from tutor.music.pitch import Pitch, pretty
from tutor.music.progression import figures, harmonies
from tutor.music.scale import Key
from tutor.practice.drill import Choice, Excerpt, Song
from tutor.practice.material import beat_words, cut, source_words, sure_chords, whole_bars

SAFE_SEVENTHS = ("dominant-seventh", "dominant-seventh", "major-seventh")
"""Sevenths whose inversion is settled by ear alone."""
IN_KEY = {"minor-seventh": ("major", "2", "the seventh chord on degree 2"),
          "half-diminished-seventh": ("minor", "2", "the seventh chord on degree 2")}  # fmt: skip
ASKABLE = {"major", "minor", "diminished", "dominant-seventh", "major-seventh", "minor-seventh",
           "half-diminished-seventh"}  # fmt: skip


def _sheet(draw: Draw, chord: Chord, pitches: tuple[Pitch, ...], texture: str, **more: object) -> Sheet:
    """An item about one chord, its inversion or its lowest member asked."""
    falling = texture == "broken" and draw.rng.random() < draw.level / 2
    members = len(chord.tones)
    wide = pitches[1].midi - pitches[0].midi > 9 or pitches[-1].midi - pitches[0].midi > 12
    bpm = draw.bpm(66, 96)

    def sound(inversion: int) -> Phrase:
        at = (
            pitches if inversion == chord.inversion else placed(draw.rng, chord.inverted(inversion), wide=wide, level=0)
        )
        return single(at, 0, bpm, texture, falling=falling)

    labels = list(INVERSION_CHOICES)[:members]
    contrasts = {
        labels[i]: Excerpt(f"For comparison: {labels[i]}", with_bass(sound(i)))
        for i in range(members)
        if i != chord.inversion
    }
    phrase = sound(chord.inversion)
    by_eye = bool(more.pop("eye", False))
    named = str(more.pop("named", ""))
    prompt = f"{named}In which position does the chord stand?"
    sheet = Sheet(
        prompt=prompt, ask="choice", right=labels[chord.inversion], words=INVERSION_CHOICES[labels[chord.inversion]],
        why=inversion_words(chord), shown=Excerpt(capital(labels[chord.inversion]), with_bass(phrase)),
        heard=() if by_eye else (Excerpt("The chord", phrase),), seen=(Excerpt("The chord", phrase),) if by_eye else (),
        choices=tuple(Choice(x, INVERSION_CHOICES[x]) for x in labels), contrasts=contrasts,
        hint="Find the lowest note first, then sing up from it to the root." if not by_eye
        else "Stack the letters in thirds: the bottom of the stack is the root.",
    )  # fmt: skip
    return sheet


def _triad(draw: Draw) -> Chord:
    quality = draw.rng.choice(("major", "major", "minor") if draw.level < 0.3 else ("major", "minor"))
    return pick_chord(draw.rng, draw.level, quality, draw.rng.randrange(3))


def triads_close(draw: Draw) -> Sheet:
    """Close triads, struck."""
    chord = _triad(draw)
    return _sheet(draw, chord, placed(draw.rng, chord, wide=False, level=draw.level), "block")


def triads_open(draw: Draw) -> Sheet:
    """Open triads, struck."""
    chord = _triad(draw)
    return _sheet(draw, chord, placed(draw.rng, chord, wide=True, level=draw.level), "block")


def triads_broken(draw: Draw) -> Sheet:
    """Triads a note at a time, rising or falling."""
    chord = _triad(draw)
    return _sheet(draw, chord, placed(draw.rng, chord, wide=draw.hard(), level=draw.level), "broken")


def triads_eye(draw: Draw) -> Sheet:
    """Triads on the staff; diminished and augmented ones too, for here the spelling decides."""
    quality = draw.rng.choice(("major", "minor") if draw.level < 0.4 else ("major", "minor", "diminished", "augmented"))
    chord = pick_chord(draw.rng, draw.level, quality, draw.rng.randrange(3))
    return _sheet(draw, chord, placed(draw.rng, chord, wide=draw.hard(), level=draw.level), "block", eye=True)


def sevenths_eye(draw: Draw) -> Sheet:
    """Sevenths on the staff; a diminished seventh too, for here the spelling decides."""
    pool = ("dominant-seventh", "major-seventh", "minor-seventh", "half-diminished-seventh", "diminished-seventh")
    chord = pick_chord(draw.rng, draw.level, draw.rng.choice(pool[: 2 + round(draw.level * 3)]), draw.rng.randrange(4))
    return _sheet(draw, chord, placed(draw.rng, chord, wide=draw.hard(), level=draw.level), "block", eye=True)


def _seventh(draw: Draw) -> tuple[Chord, Key | None, str]:
    """A seventh chord; the key that makes it clear and its name there, where it needs them."""
    if draw.level >= 0.45 and draw.rng.random() < 0.4:
        quality = draw.rng.choice(tuple(IN_KEY))
        mode, degree, name = IN_KEY[quality]
        key = draw.key(mode)
        return Chord(key.pitch_class(degree), quality, draw.rng.randrange(4)), key, name
    return pick_chord(draw.rng, draw.level, draw.rng.choice(SAFE_SEVENTHS), draw.rng.randrange(4)), None, ""


def _seventh_sheet(draw: Draw, *, wide: bool, texture: str) -> Sheet:
    chord, key, name = _seventh(draw)
    named = f"After the key comes {name}. " if key else ""
    sheet = _sheet(draw, chord, placed(draw.rng, chord, wide=wide, level=draw.level), texture, named=named)
    if key is None:
        return sheet
    fifths = key.fifths
    heard = tuple(replace(e, phrase=replace(e.phrase, fifths=fifths)) for e in sheet.heard)
    return replace(sheet, heard=(key_heard(draw, key), *heard))


def sevenths_close(draw: Draw) -> Sheet:
    """Close sevenths, struck."""
    return _seventh_sheet(draw, wide=False, texture="block")


def sevenths_open(draw: Draw) -> Sheet:
    """Open sevenths, struck."""
    return _seventh_sheet(draw, wide=True, texture="block")


def sevenths_broken(draw: Draw) -> Sheet:
    """Sevenths a note at a time."""
    return _seventh_sheet(draw, wide=draw.hard(), texture="broken")


def bass_member(draw: Draw) -> Sheet:
    """Which member of the chord is lowest, triads and sevenths mixed."""
    if draw.hard(0.3):
        chord = pick_chord(draw.rng, draw.level, draw.rng.choice(SAFE_SEVENTHS), draw.rng.randrange(4))
    else:
        chord = _triad(draw)
    sheet = _sheet(draw, chord, placed(draw.rng, chord, wide=draw.hard(), level=draw.level), "block")
    labels = list(MEMBER_CHOICES)[: len(chord.tones)]
    swap = dict(zip(INVERSION_CHOICES, MEMBER_CHOICES, strict=True))
    right = MEMBERS[chord.inversion]
    return replace(
        sheet, prompt="Which member of the chord is lowest?", hint="Hum the lowest note: does the chord rest on it?",
        right=right, words=MEMBER_CHOICES[right],
        choices=tuple(Choice(x, MEMBER_CHOICES[x]) for x in labels),
        contrasts={swap[k]: v for k, v in sheet.contrasts.items()},
    )  # fmt: skip


def sing_bass(draw: Draw) -> Sheet | None:
    """Sing (or play) the lowest note of a chord."""
    seventh = draw.hard(0.4)
    chord = pick_chord(draw.rng, draw.level, "dominant-seventh", draw.rng.randrange(4)) if seventh else _triad(draw)
    pitches = placed(draw.rng, chord, wide=draw.hard(), level=draw.level)
    target = in_reach(pitches[0], draw.material.low_midi, draw.material.high_midi)
    if target is None:
        return None
    bpm = draw.bpm(60, 84)
    phrase = single(pitches, 0, bpm, draw.rng.choice(("block", "block", "afterbeat")))
    marked = replace(
        phrase, tones=tuple(replace(t, mark="target") if t.midi == pitches[0].midi else t for t in phrase.tones)
    )
    return Sheet(
        prompt="Sing the lowest note of the chord, in whatever octave suits you.", ask="take",
        right=pretty(chord.bass.name),
        words=f"{tone_words(chord.bass)}, the {MEMBERS[chord.inversion]} of the chord", why=inversion_words(chord),
        shown=Excerpt("The lowest note pointed out", marked), heard=(Excerpt("The chord", phrase),),
        wanted=((target.midi, 0.0, 2.0),), any_octave=True, bpm=bpm, also=("notes",),
        hint="Hum down through the chord until nothing lies below.",
    )  # fmt: skip


def in_progression(draw: Draw) -> Sheet | None:
    """One chord of a progression."""
    key = draw.key()
    length = 4 + round(draw.level * 2)
    names = figures(draw.rng, key.mode, length, rich=True)
    place = draw.rng.randrange(1, len(names) - 1)
    chords = harmonies(names, key)
    chord = chords[place].chord
    if chord.quality not in ASKABLE or (chord.inversion == 0 and draw.rng.random() < 0.6):
        return None
    voicings = lead(chords, draw.rng, whole=(place,))
    if voicings is None:
        return None
    texture = draw.rng.choice(("block", "broken", "afterbeat") if draw.level > 0.5 else ("block",))
    phrase = laid(voicings, key, [2.0] * len(names), draw.bpm(), texture)
    labels = list(INVERSION_CHOICES)[: len(chord.tones)]
    right = labels[chord.inversion]
    alone = block_of(voicings[place], key)
    contrasts = {
        x: Excerpt(f"For comparison: {x}", with_bass(single(placed(draw.rng, chord.inverted(i), wide=True, level=0),
                                                            key.fifths, 72, "block")))
        for i, x in enumerate(labels) if x != right
    }  # fmt: skip
    figured = replace(
        with_bass(phrase, place * 2.0, place * 2.0 + 2), figures=tuple((i * 2.0, n) for i, n in enumerate(names))
    )
    return Sheet(
        prompt=f"You hear {number(len(names))} chords. In which position does the {ORDINALS[place]} stand?",
        ask="choice", right=right,
        words=INVERSION_CHOICES[right], why=inversion_words(chord), shown=Excerpt("The whole progression", figured),
        heard=(Excerpt("The progression", phrase), Excerpt(f"The {ORDINALS[place]} chord alone", alone)),
        choices=tuple(Choice(x, INVERSION_CHOICES[x]) for x in labels), contrasts=contrasts,
        hint="Follow the lowest line alone first.",
    )  # fmt: skip


def block_of(voicing: tuple[Pitch, ...], key: Key) -> Phrase:
    """One voicing struck."""
    return laid([voicing], key, [2.0], 72.0, "block")


_SONG_KINDS = ("major", "minor", "dominant-seventh", "major-seventh", "minor-seventh", "half-diminished-seventh")


def _song_chord(draw: Draw, by_eye: bool) -> Sheet | None:
    # A song whose sure chords all stand alike would always have the same answer.
    song = draw.song(lambda s: len({c.inversion for c in _askable(s)}) > 1)
    spans = _askable(song)
    wanted = draw.rng.choice(sorted({s.inversion for s in spans}))
    span = draw.rng.choice([s for s in spans if s.inversion == wanted])
    chord = chord_of(span)
    start, end = whole_bars(song.table, span.start, span.end)
    phrase = cut(song.table, start, end)
    alone = cut(song.table, span.start, span.end)
    labels = list(INVERSION_CHOICES)[: len(chord.tones)]
    right = labels[chord.inversion]
    contrasts = {
        x: Excerpt(f"For comparison: {x}", with_bass(single(placed(draw.rng, chord.inverted(i), wide=True, level=0),
                                                            phrase.fifths, 72, "block")))
        for i, x in enumerate(labels) if x != right
    }  # fmt: skip
    heard = (Excerpt(source_words(song, start, end), phrase), Excerpt("The chord alone", alone))
    return Sheet(
        prompt=f"Bar {span.bar}, {beat_words(span.beat)}: the chord is the {chord_words(chord)}. In which position?",
        ask="choice",
        right=right, words=INVERSION_CHOICES[right], why=f"Bar {span.bar}: t{inversion_words(chord)[1:]}",
        shown=Excerpt(source_words(song, start, end), with_bass(phrase, span.start - start, span.end - start)),
        heard=() if by_eye else heard, seen=heard[:1] if by_eye else (),
        choices=tuple(Choice(x, INVERSION_CHOICES[x]) for x in labels), contrasts=contrasts,
        source=source_words(song, start, end), song_id=song.id,
        hint="Look for the lowest note of the chord." if by_eye else "Listen to the left hand of the piano.",
    )  # fmt: skip


@per_song
def _askable(song: Song) -> list[ChordSpan]:
    """Sure chords of a quarter or more with all their members, whose bass is settled."""
    out = []
    for span in sure_chords(song):
        members = 4 if span.quality.endswith("seventh") else 3
        whole = span.quality in _SONG_KINDS and span.inversion < members and len(span.tones) >= members
        if whole and span.end - span.start >= 1.0 and bass_agrees(song, span):
            out.append(span)
    return out


def song_ear(draw: Draw) -> Sheet | None:
    """A chord of a song, by ear."""
    return _song_chord(draw, by_eye=False)


def song_eye(draw: Draw) -> Sheet | None:
    """A chord of a song, on the staff."""
    return _song_chord(draw, by_eye=True)


LABELS = INVERSION_CHOICES | MEMBER_CHOICES

PARTS = {
    "triads-close": Part("triads in close position, by ear", triads_close),
    "triads-staff": Part("triads on the staff", triads_eye),
    "triads-broken": Part("broken triads, by ear", triads_broken),
    "triads-open": Part("triads in open position, by ear", triads_open),
    "figures-write": Part("from the chord to its figures", figures_write, lesson="figured-bass"),
    "figures-read": Part("from figures to the chord", figures_read, lesson="figured-bass"),
    "sing-bass": Part("sing or play the lowest note", sing_bass, ask="take"),
    "sevenths-close": Part("seventh chords in close position, by ear", sevenths_close),
    "sevenths-staff": Part("seventh chords on the staff", sevenths_eye),
    "bass-member": Part("which member is lowest, by ear", bass_member),
    "progression": Part("one chord of a progression, by ear", in_progression),
    "two-basses": Part("roots in the bass or a bass by step, by ear", two_basses, lesson="bass-lines"),
    "two-basses-where": Part("where a bass by step leaves the roots", two_basses_where, lesson="bass-lines"),
    "sevenths-broken": Part("broken seventh chords, by ear", sevenths_broken),
    "sevenths-open": Part("seventh chords in open position, by ear", sevenths_open),
    "song": Part("a chord of your song, by ear", song_ear, song=True),
    "song-staff": Part("a chord of your song, on the staff", song_eye, song=True),
}


class Inversions(Drawn):
    """The drill."""

    name = "inversions"
    title = "Inversions"
    about = "Hear and see which member of the chord is in the bass."
    lesson = "inversions"
    parts = PARTS
    labels = LABELS


drill = Inversions()
