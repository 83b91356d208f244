"""Degrees of the scale: where a tone stands in its key.

Axes of difficulty: the restful degrees, then all seven, then bent ones; near the tonic, then in another octave; a
single tone, then the last of a melody; major, then minor.
"""

from __future__ import annotations

from dataclasses import replace

from drills._chords import in_reach
from drills._draw import Draw, Drawn, key_heard, pretty_key
from drills._melody import melody, rhythm
from drills._modal import degree_words
from drills._sheet import Part, Sheet
from drills._songs import per_song
from tutor.analysis.findings import PhraseEnd, PhraseSpan
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, pretty
from tutor.music.progression import harmonies
from tutor.music.scale import Key
from tutor.practice.drill import Excerpt, Song
from tutor.practice.material import SURE, cut, source_words, whole_bars

NAMES = {
    "1": "the tonic", "2": "the supertonic", "b2": "the lowered second", "3": "the mediant", "b3": "the lowered third",
    "4": "the subdominant", "#4": "the raised fourth", "5": "the dominant", "6": "the submediant",
    "b6": "the lowered sixth", "7": "the leading tone", "b7": "the lowered seventh",
}  # fmt: skip
_ORDER = ("1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7")
TEXT = {d: f"degree {degree_words(d)}, {NAMES[d]}" for d in _ORDER}
MINOR_TEXT = {d: TEXT[d] for d in ("1", "2", "b3", "4", "5", "b6", "b7", "7")} | {
    "b3": "degree ♭3, the mediant of minor", "b6": "degree ♭6, the submediant of minor",
    "b7": "degree ♭7, the seventh of natural minor",
}  # fmt: skip


def _one(draw: Draw, key: Key, pool: dict[str, str], *, far: bool = False) -> Sheet:
    """A tone after the key."""
    right = draw.rng.choice(tuple(pool))
    octave = 4 if key.pitch("1", 4).midi <= 67 else 3
    pitch = key.pitch(right, octave)
    if far:
        pitch = replace(pitch, octave=pitch.octave + draw.rng.choice((-1, 0, 1)))
    bpm = draw.bpm(66, 92)
    phrase = Phrase((Tone(0.0, 2.0, pitch),), bpm=bpm, fifths=key.fifths)
    home = key.pitch("1", octave)
    shown = Phrase((Tone(0.0, 2.0, pitch, mark="target"), Tone(2.0, 2.0, home)), bpm=bpm, fifths=key.fifths)
    choices = draw.choose(right, pool, min(8, 3 + round(draw.level * 5)))
    contrasts = {
        c.label: Excerpt(f"For comparison: degree {degree_words(c.label)}",
                         Phrase((Tone(0.0, 2.0, key.pitch(c.label, octave)),), bpm=bpm, fifths=key.fifths))
        for c in choices if c.label != right
    }  # fmt: skip
    return Sheet(
        prompt="The key, then a tone. Which degree of the scale is it?", ask="choice", right=right, words=pool[right],
        why=f"{pretty(pitch.name)} is degree {degree_words(right)} of {pretty_key(key)}.",
        shown=Excerpt("The tone, then the tonic", shown), heard=(key_heard(draw, key), Excerpt("The tone", phrase)),
        choices=choices, contrasts=contrasts, hint="Sing down the scale until you are home, counting the steps.",
    )  # fmt: skip


def restful(draw: Draw) -> Sheet:
    """1, 3 and 5."""
    key = draw.key("major")
    return _one(draw, key, {d: TEXT[d] for d in ("1", "3", "5")}, far=draw.hard(0.4))


def major(draw: Draw) -> Sheet:
    """All seven of major."""
    return _one(draw, draw.key("major"), {d: TEXT[d] for d in ("1", "2", "3", "4", "5", "6", "7")}, far=draw.hard())


def minor(draw: Draw) -> Sheet:
    """Those of minor."""
    return _one(draw, draw.key("minor"), MINOR_TEXT, far=draw.hard())


def chromatic(draw: Draw) -> Sheet:
    """Bent ones in major too."""
    return _one(draw, draw.key("major"), TEXT, far=draw.hard())


def staff(draw: Draw) -> Sheet:
    """A tone on the staff in a named key."""
    key = draw.key()
    pool = dict(MINOR_TEXT) if key.mode == "minor" else {d: TEXT[d] for d in key.degrees}
    if key.mode == "major" and draw.level > 0.5:
        pool = dict(TEXT)
    sheet = _one(draw, key, pool, far=draw.hard(0.4))
    tone = sheet.heard[-1].phrase
    return replace(
        sheet, prompt=f"Which degree of {pretty_key(key)} is this?", heard=(), seen=(Excerpt("The tone", tone),),
        hint="Count letters up from the tonic, then look at the accidental.",
    )  # fmt: skip


def in_melody(draw: Draw) -> Sheet | None:
    """The last note of a melody."""
    key = draw.key() if draw.level > 0.3 else draw.key("major")
    tonic, dominant, fourth = ("I", "V", "IV") if key.mode == "major" else ("i", "V", "iv")
    plans = ((tonic, dominant), (tonic, fourth), (tonic, tonic), (tonic, fourth, dominant))
    last_chords = {p: harmonies(p[-1:], key)[0].chord.tones for p in plans}
    ends = sorted({key.degree_of(t) for tones in last_chords.values() for t in tones})
    right = draw.rng.choice(ends)
    names = draw.rng.choice([p for p in plans if key.pitch_class(right) in last_chords[p]])
    tones = melody(
        draw.rng, key, harmonies(names, key), rhythm(draw.rng, len(names), draw.level * 0.6), low=58, high=76,
        level=draw.level, end=(right,),
    )  # fmt: skip
    if tones is None:
        return None
    pool = MINOR_TEXT if key.mode == "minor" else {d: TEXT[d] for d in ("1", "2", "3", "4", "5", "6", "7")}
    bpm = draw.bpm(76, 104)
    phrase = Phrase(tones, bpm=bpm, fifths=key.fifths, first_bar="1")
    last = len(tones) - 1
    marked = replace(phrase, tones=tuple(replace(t, mark="target") if i == last else t for i, t in enumerate(tones)))
    octave = tones[-1].pitch.octave
    choices = draw.choose(right, pool, min(7, 3 + round(draw.level * 4)))
    contrasts = {
        c.label: Excerpt(f"For comparison: it ends on {degree_words(c.label)}", _ending(phrase, key, c.label, octave))
        for c in choices if c.label != right
    }  # fmt: skip
    return Sheet(
        prompt="On which degree of the scale does the melody end?", ask="choice", right=right, words=pool[right],
        why=f"It ends on {pretty(tones[-1].pitch.name)}, degree {degree_words(right)} of {pretty_key(key)}.",
        shown=Excerpt("The last note marked", marked), heard=(key_heard(draw, key), Excerpt("The melody", phrase)),
        choices=choices, contrasts=contrasts, hint="Hold the last note, then sing down to the tonic.",
    )  # fmt: skip


def _ending(phrase: Phrase, key: Key, degree: str, octave: int) -> Phrase:
    tone = key.pitch_class(degree)
    last = replace(phrase.tones[-1], pitch=Pitch(tone.step, tone.alter, octave))
    return replace(phrase, tones=(*phrase.tones[:-1], last))


def sing(draw: Draw) -> Sheet | None:
    """Sing a degree after the key."""
    key = draw.key() if draw.level > 0.4 else draw.key("major")
    pool = (
        ("3", "5", "2", "7", "4", "6", "b7", "b3", "#4", "b6")
        if key.mode == "major"
        else ("b3", "5", "7", "4", "b6", "2")
    )
    degree = draw.rng.choice(pool[: 3 + round(draw.level * (len(pool) - 3))])
    target = in_reach(key.pitch(degree, 4), draw.material.low_midi, draw.material.high_midi)
    if target is None:
        return None
    shown = Phrase((Tone(0.0, 2.0, target, mark="target"),), bpm=72.0, fifths=key.fifths)
    text = (TEXT | MINOR_TEXT if key.mode == "minor" else TEXT)[degree]
    return Sheet(
        prompt=f"After the key, sing {text}, in any octave.", ask="take", right=degree,
        words=f"{pretty(target.pitch_class.name)}, degree {degree_words(degree)}",
        why=f"Degree {degree_words(degree)} of {pretty_key(key)} is {pretty(target.pitch_class.name)}.",
        shown=Excerpt("The degree", shown), heard=(key_heard(draw, key),), wanted=((target.midi, 0.0, 2.0),),
        any_octave=True, bpm=72.0, also=("notes",), hint="Sing up or down the scale from the tonic.",
    )  # fmt: skip


def _home(key: Key, degree: str, bpm: float) -> Phrase:
    tones = (Tone(0.0, 2.0, key.pitch(degree, 4), mark="target"), Tone(2.0, 2.0, key.pitch("1", 4)))
    return Phrase(tones, bpm=bpm, fifths=key.fifths)


@per_song
def _ends(song: Song) -> list[tuple[PhraseSpan, PhraseEnd, str]]:
    """Phrase ends in a sure key, on a degree that has a name here."""
    phrases = {p.id: p for p in song.reading.phrases}
    out = []
    for end in song.reading.ends:
        phrase = phrases.get(end.phrase)
        if phrase is None or end.degree not in TEXT:
            continue
        at = phrase.end - 0.01
        key = next((k for k in song.reading.keys if k.start <= at < k.end and k.confidence >= SURE), None)
        if key is not None and Key.parse(key.name).degree_of(Pitch.parse(end.pitch).pitch_class) == end.degree:
            out.append((phrase, end, key.name))
    return out


def _all_in(song: Song, phrase: PhraseSpan, key: str) -> bool:
    """True where the phrase stays in one key from its first note to its last."""
    return all(k.name == key for k in song.reading.keys if k.start < phrase.end - 0.01 and k.end > phrase.start + 1e-6)


def song(draw: Draw) -> Sheet:
    """The last note of a phrase of a song."""
    chosen = draw.song(lambda s: len({e.degree for _, e, _ in _ends(s)}) > 1)
    ends = _ends(chosen)
    wanted = draw.rng.choice(sorted({e.degree for _, e, _ in ends}))
    phrase_span, end, key_name = draw.rng.choice([e for e in ends if e[1].degree == wanted])
    key = Key.parse(key_name)
    start, stop = whole_bars(chosen.table, phrase_span.start, phrase_span.end)[0], phrase_span.end
    phrase = cut(chosen.table, start, stop)
    last = max((t.onset_quarters for t in phrase.tones if t.line == "voice"
                and t.onset_quarters < phrase_span.end - start - 1e-6), default=0.0)  # fmt: skip
    tones = tuple(
        replace(t, mark="target") if t.line == "voice" and t.onset_quarters == last else t for t in phrase.tones
    )
    where = Excerpt(source_words(chosen, start, stop), replace(phrase, tones=tones))
    own = MINOR_TEXT if key.mode == "minor" else {d: TEXT[d] for d in key.degrees}
    pool = own if end.degree in own else TEXT
    turns = not _all_in(chosen, phrase_span, key_name)
    ask = f"At the end of the phrase the key is {pretty_key(key)}" if turns else f"The key is {pretty_key(key)}"
    return Sheet(
        prompt=f"{ask}. On which degree does the sung phrase end?", ask="choice",
        right=end.degree, words=pool[end.degree],
        why=f"Bar {phrase_span.bars[1]}: it ends on {pretty(end.pitch)}, degree {degree_words(end.degree)} of "
        f"{pretty_key(key)}.",
        shown=where, heard=(key_heard(draw, key), Excerpt(source_words(chosen, start, stop), phrase)),
        choices=draw.choose(end.degree, pool, min(8, 4 + round(draw.level * 3))),
        contrasts={
            d: Excerpt(f"For comparison: degree {degree_words(d)}, then the tonic", _home(key, d, phrase.bpm))
            for d in pool if d != end.degree
        },
        source=source_words(chosen, start, stop), song_id=chosen.id, hint="Hold the last note, then sing to the tonic.",
    )  # fmt: skip


LABELS = MINOR_TEXT | TEXT

PARTS = {
    "restful": Part("1, 3 and 5, by ear", restful),
    "major": Part("all degrees of major, by ear", major),
    "staff": Part("on the staff", staff),
    "melody": Part("the last note of a melody, by ear", in_melody),
    "minor": Part("the degrees of minor, by ear", minor),
    "sing": Part("sing or play a degree", sing, ask="take"),
    "chromatic": Part("with bent degrees, by ear", chromatic),
    "song": Part("the end of a phrase of your song, by ear", song, song=True),
}


class Degrees(Drawn):
    """The drill."""

    name = "degrees"
    title = "Degrees of the scale"
    about = "Hear where a tone stands in its key."
    lesson = "degrees"
    parts = PARTS
    labels = LABELS


drill = Degrees()
