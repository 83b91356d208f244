"""Borrowed tones: which degree is bent, who lends it, and where.

Axes of difficulty: one plain bend, then all five; few modes, then six; lines, then progressions, then songs; two
choices, then more. A progression counts as applied when its altered chord is a dominant or leading-tone chord that
resolves to its target next, and as lent when every altered tone comes from the parallel minor (Kostka and Payne;
Open Music Theory v1). The fixed cases of both kinds never mix: bVII-IV-I is lent, C7-F in C is applied.
"""

from __future__ import annotations

from dataclasses import replace

from drills._chords import in_reach, tone_words
from drills._draw import Draw, Drawn, and_list, key_heard
from drills._foreign import (
    APPLIED_TEXT,
    KINDS,
    LENT_TEXT,
    applied_to,
    compared,
    find_place,
    lent_chord,
    lent_or_applied,
)
from drills._modal import (
    DEGREE_TEXT,
    bent_scale,
    degree_words,
    lender_words,
    line,
    pointed,
    straightened,
    sung_over_drone,
)  # fmt: skip
from drills._sheet import Part, Sheet
from drills._songs import per_song
from tutor.analysis.findings import BorrowedTone
from tutor.music.chordsymbol import symbol_words
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, pretty
from tutor.music.scale import MODE_TITLES, MODES, Key
from tutor.practice.drill import Choice, Excerpt, Song
from tutor.practice.material import SURE, cut, source_words, whole_bars

_MODES = ("lydian", "ionian", "mixolydian", "dorian", "aeolian", "phrygian")
_KIND_OF = {"modal": "lent", "applied": "applied", "chromatic": "chromatic"}
KEY_SETTLED = 0.6
"""Least confidence of a foreign tone altogether, its key included, where the question names the key. On songs the
engine had not seen, `python -m tests.bench.accuracy`: kinds of .9 and more were right .93 of the time in that key."""


def _bent(draw: Draw) -> tuple[Key, str, Phrase] | None:
    key = draw.key("major")
    degree = draw.rng.choice(("b7", "#4", "b3", "b6", "b2")[: 2 + round(draw.level * 3)])
    count = 6 + round(draw.level * 4)
    pitches = line(draw.rng, key, bent_scale(degree), count, (degree,), low=58, high=77)
    if pitches is None:
        return None
    return key, degree, sung_over_drone(pitches, key, draw.bpm(80, 112), draw.rng)


def _bent_why(key: Key, degree: str) -> str:
    tone = tone_words(key.pitch_class(degree))
    plain = tone_words(key.pitch_class(degree[-1]))
    way = "brighter" if degree.startswith("#") else "darker"
    return (
        f"In {pretty(key.tonic.name)} major {tone} stands where the scale has {plain}: {degree_words(degree)}, {way} "
        f"than the key. It belongs to {lender_words(degree)}."
    )


def bright_dark(draw: Draw) -> Sheet | None:
    """A line plain, then bent: brighter or darker."""
    made = _bent(draw)
    if made is None:
        return None
    key, degree, phrase = made
    right = "brighter" if degree.startswith("#") else "darker"
    if right == "darker" and draw.rng.random() < 0.5:
        # Only one degree is raised; the dice are tilted so that both answers are common.
        return None
    texts = {"brighter": "brighter: a tone is raised", "darker": "darker: a tone is lowered"}
    plain = Excerpt("The line in major", straightened(phrase, key, degree))
    return Sheet(
        prompt="A line in major, then again with one degree bent. Does it turn brighter or darker?", ask="choice",
        right=right, words=texts[right], why=_bent_why(key, degree),
        shown=Excerpt("The bent tone marked", pointed(phrase, key, degree)), heard=(plain, Excerpt("Bent", phrase)),
        choices=tuple(Choice(x, t) for x, t in texts.items()),
        contrasts={x: plain for x in texts if x != right},
        hint="Sing along with the first; notice where you must move.",
    )  # fmt: skip


def _which_degree(draw: Draw, by_eye: bool) -> Sheet | None:
    made = _bent(draw)
    if made is None:
        return None
    key, degree, phrase = made
    count = 3 + round(draw.level * 2)
    plain = Excerpt("The same line in the key", straightened(phrase, key, degree))
    choices = draw.choose(degree, DEGREE_TEXT, count)
    shown = Excerpt("The bent tone marked", pointed(phrase, key, degree))
    return Sheet(
        prompt=f"The key is {pretty(key.tonic.name)} major, but the line bends one degree. Which?", ask="choice",
        right=degree, words=DEGREE_TEXT[degree], why=_bent_why(key, degree), shown=shown,
        heard=() if by_eye else (key_heard(draw, key), Excerpt("The line", phrase)),
        seen=(Excerpt("The line", phrase),) if by_eye else (), choices=choices,
        contrasts={c.label: plain for c in choices if c.label != degree},
        hint="Hum the scale of the key; the bent tone lies beside one of its steps.",
    )  # fmt: skip


def degree_ear(draw: Draw) -> Sheet | None:
    """Which degree is bent, by ear."""
    return _which_degree(draw, by_eye=False)


def degree_eye(draw: Draw) -> Sheet | None:
    """Which degree is bent, on the staff."""
    return _which_degree(draw, by_eye=True)


def mode(draw: Draw) -> Sheet | None:
    """A line with all seven tones over its tonic: the mode."""
    pool: tuple[str, ...] = _MODES if draw.level > 0.55 else ("ionian", "mixolydian", "dorian", "aeolian")
    if draw.level < 0.25:
        pool = ("ionian", "mixolydian", "aeolian")
    right = draw.rng.choice(pool)
    key = replace(draw.key("major"))
    if abs(key.fifths + (0, 0, -1, -2, -3, -4)[_MODES.index(right)]) > 6:
        return None
    pitches = line(draw.rng, key, MODES[right], 11 + round(draw.level * 3), MODES[right], low=57, high=79)
    if pitches is None:
        return None
    phrase = replace(sung_over_drone(pitches, key, draw.bpm(84, 112), draw.rng), fifths=_signature(key, right))
    place = _MODES.index(right)
    near = {
        _MODES[i]: (0.5, "You chose a neighbour: the two differ in one tone, so this earns half.")
        for i in (place - 1, place + 1) if 0 <= i < len(_MODES) and _MODES[i] in pool
    }  # fmt: skip
    contrasts = {
        x: Excerpt(f"The same line: {MODE_TITLES[x]}", _recast(phrase, key, right, x)) for x in pool if x != right
    }
    tells = _tells(right, pool)
    told = "; ".join(
        f"unlike {MODE_TITLES[x]} it has {and_list([degree_words(d) for d in t])}" for x, t in tells.items()
    )
    marked = phrase
    for degree in dict.fromkeys(d for t in tells.values() for d in t):
        marked = pointed(marked, key, degree)
    return Sheet(
        prompt="The tonic is held below. In which mode is the line?", ask="choice", right=right,
        words=MODE_TITLES[right],
        why=f"Its degrees are {' '.join(degree_words(d) for d in MODES[right])}; {told}.",
        shown=Excerpt("The telling tones marked", marked), heard=(Excerpt("The line", phrase),),
        choices=tuple(Choice(x, MODE_TITLES[x]) for x in pool), contrasts=contrasts, near=near,
        hint="First settle the third: major or minor. Then listen to 4 and 7, or to 6 and 2.",
    )  # fmt: skip


def _tells(right: str, pool: tuple[str, ...]) -> dict[str, list[str]]:
    """For each neighbour among the modes offered, the degrees in which the right one differs from it."""
    place = pool.index(right)
    near = [pool[i] for i in (place - 1, place + 1) if 0 <= i < len(pool)]
    return {x: [d for d in MODES[right] if d not in MODES[x]] for x in near}


def _signature(key: Key, mode_: str) -> int:
    return key.fifths + {"lydian": 1, "ionian": 0, "mixolydian": -1, "dorian": -2, "aeolian": -3, "phrygian": -4}[mode_]


def _recast(phrase: Phrase, key: Key, was: str, now: str) -> Phrase:
    tones = []
    for tone in phrase.tones:
        if tone.line == "voice":
            number = int(key.degree_of(tone.pitch.pitch_class)[-1])
            new = key.pitch_class(MODES[now][number - 1])
            tone = replace(tone, pitch=Pitch(new.step, new.alter, tone.pitch.octave))
        tones.append(tone)
    return replace(phrase, tones=tuple(tones), fifths=_signature(key, now))


def sing_bent(draw: Draw) -> Sheet | None:
    """Sing a bent degree against the tonic."""
    key = draw.key("major")
    degree = draw.rng.choice(("b7", "b3", "b6", "#4", "b2")[: 2 + round(draw.level * 3)])
    target = in_reach(key.pitch(degree, 4), draw.material.low_midi, draw.material.high_midi)
    if target is None:
        return None
    tonic = in_reach(key.pitch("1", 4), target.midi - 11, target.midi) or key.pitch("1", 4)
    alone = Phrase((Tone(0.0, 2.0, tonic, "lower", 0.6),), bpm=72.0, fifths=key.fifths)
    both = Phrase(
        (Tone(0.0, 4.0, tonic, "lower", 0.5), Tone(2.0, 2.0, target, "voice", 0.8, mark="target")), bpm=72.0,
        fifths=key.fifths,
    )  # fmt: skip
    return Sheet(
        prompt=f"The tonic is {pretty(key.tonic.name)}. Sing {DEGREE_TEXT[degree].replace(': ', ', ')}, in any octave.",
        ask="take", right=degree, words=f"{tone_words(target.pitch_class)}, {degree_words(degree)}",
        why=_bent_why(key, degree), shown=Excerpt("The bent tone against the tonic", both),
        heard=(key_heard(draw, key), Excerpt("The tonic", alone)), wanted=((target.midi, 0.0, 2.0),), any_octave=True,
        bpm=72.0, also=("notes",), hint="Sing the plain degree first, then bend it by a semitone.",
    )  # fmt: skip


def _sure(song: Song) -> list[BorrowedTone]:
    return [b for b in song.reading.borrowed if b.confidence >= SURE]


@per_song
def _kinds(song: Song) -> list[BorrowedTone]:
    """Foreign tones whose kind is sure in the key that the question names, and whose key is not much in doubt."""
    return [b for b in song.reading.borrowed if b.in_key >= SURE and b.confidence >= KEY_SETTLED]


@per_song
def _spots(song: Song) -> list[tuple[BorrowedTone, int]]:
    """Sure foreign tones, each with the first of four bars of which only its own holds any."""
    bars = [m.number for m in song.table.measures]
    every = {b.bar for b in song.reading.borrowed}
    out = []
    for tone in _sure(song):
        at = song.table.bar_index(tone.start)
        for first in range(max(0, at - 3), min(at, len(bars) - 4) + 1):
            four = bars[first : first + 4]
            if len(set(four)) == 4 and sum(b in every for b in four) == 1:
                out.append((tone, first))
    return out


def song_bar(draw: Draw) -> Sheet | None:
    """The bar of a song that holds a foreign tone."""
    song = draw.song(lambda s: bool(_spots(s)))
    tone, first = draw.rng.choice(_spots(song))
    bars = song.table.measures[first : first + 4]
    start, end = bars[0].start_quarters, bars[-1].end_quarters
    phrase = cut(song.table, start, end)
    pool = {m.number: f"bar {m.number}" for m in bars}
    marked = phrase.marked("borrowed", (Pitch.parse(tone.pitch).midi,), at=tone.start - start)
    own = ", its raised sixth and seventh degrees included" if tone.key.endswith("minor") else ""
    return Sheet(
        prompt=f"The key is {pretty(tone.key)}{own}. Which of these four bars holds a tone that is foreign to it?",
        ask="choice", right=tone.bar, words=f"bar {tone.bar}",
        why=f"Bar {tone.bar}: {pretty(tone.pitch)} is degree {degree_words(tone.degree)} of {pretty(tone.key)}, "
        f"{KINDS[_KIND_OF[tone.kind]]}.",
        shown=Excerpt(source_words(song, start, end), marked), heard=(Excerpt(source_words(song, start, end), phrase),),
        choices=tuple(Choice(x, t) for x, t in pool.items()), source=source_words(song, start, end), song_id=song.id,
        contrasts={
            m.number: Excerpt(f"Bar {m.number}", cut(song.table, m.start_quarters, m.end_quarters)) for m in bars
        },
        hint="Count the bars; notice where the colour changes.",
    )  # fmt: skip


def song_kind(draw: Draw) -> Sheet | None:
    """A foreign tone of a song: lent, applied or melodic."""
    song = draw.song(lambda s: bool(_kinds(s)))
    tone = draw.rng.choice(_kinds(song))
    start, end = whole_bars(song.table, tone.start, min(tone.end + 4.0, song.table.length_quarters))
    phrase = cut(song.table, start, end)
    marked = phrase.marked("borrowed", (Pitch.parse(tone.pitch).midi,), at=tone.start - start)
    right = _KIND_OF[tone.kind]
    names = [m if "minor" in m or "major" in m else m.capitalize() for m in tone.modes]
    modes = f" It belongs to {and_list(names)}." if names else ""
    after = next((c.symbol for c in song.reading.chords if c.start > tone.start and c.symbol != tone.chord), "")
    then = f", which {symbol_words(after)} follows" if after and right != "chromatic" else ""
    where = Excerpt(source_words(song, start, end), marked)
    return Sheet(
        prompt=f"Bar {tone.bar}, in {pretty(tone.key)}: where does {pretty(tone.pitch)} come from?", ask="choice",
        right=right, words=KINDS[right],
        why=f"Bar {tone.bar}: {pretty(tone.pitch)} is degree {degree_words(tone.degree)} of {pretty(tone.key)}, over "
        f"{_chord_words(song, tone)}{then}; it is {KINDS[right]}.{modes}",
        shown=where, heard=(Excerpt(source_words(song, start, end), phrase),), seen=(where,),
        choices=tuple(Choice(x, t) for x, t in KINDS.items()), source=source_words(song, start, end), song_id=song.id,
        contrasts={x: e for x, e in compared(draw).items() if x != right},
        hint="Look at the chord that follows.",
    )  # fmt: skip


def _chord_words(song: Song, tone: BorrowedTone) -> str:
    """The chord around a foreign tone: its symbol; an augmented sixth by name and notes, which no symbol tells."""
    span = next((c for c in song.reading.chords if c.start - 1e-6 <= tone.start < c.end and c.quality in _SIXTHS), None)
    if span is None or span.symbol != tone.chord:
        return symbol_words(tone.chord)
    first = span.tones.index(span.bass) if span.bass in span.tones else 0
    notes = " ".join(pretty(t) for t in (*span.tones[first:], *span.tones[:first]))
    return f"{_SIXTHS[span.quality]} {notes} (on a lead sheet {symbol_words(tone.chord)})"


_SIXTHS = {
    "italian-sixth": "the Italian augmented sixth", "german-sixth": "the German augmented sixth",
    "french-sixth": "the French augmented sixth",
}  # fmt: skip

LABELS = DEGREE_TEXT | MODE_TITLES | KINDS | LENT_TEXT | APPLIED_TEXT

PARTS = {
    "bright-dark": Part("brighter or darker, by ear", bright_dark, lesson="modes"),
    "degree": Part("which degree is bent, by ear", degree_ear, lesson="modes"),
    "degree-staff": Part("which degree is bent, on the staff", degree_eye, lesson="modes"),
    "mode": Part("the mode of a line, by ear", mode, lesson="modes"),
    "sing-bent": Part("sing a bent degree against the tonic", sing_bent, ask="take"),
    "find-chord": Part("which chord is foreign, by ear", find_place),
    "lent-or-applied": Part("lent or applied, by ear", lent_or_applied, lesson="applied-chords"),
    "lent-chord": Part("which lent chord, by ear", lent_chord),
    "applied-to": Part("where an applied chord leads, by ear", applied_to, lesson="applied-chords"),
    "song-bar": Part("the bar of your song with a foreign tone", song_bar, song=True),
    "song-kind": Part("where a foreign tone of your song comes from", song_kind, song=True, lesson="applied-chords"),
}


class Borrowed(Drawn):
    """The drill."""

    name = "borrowed"
    title = "Borrowed tones"
    about = "Hear which degree is bent, who lends it, and whether it leads on."
    lesson = "borrowed-tones"
    parts = PARTS
    labels = LABELS


drill = Borrowed()
