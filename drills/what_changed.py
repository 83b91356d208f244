"""What changed between two statements of a phrase.

Axes of difficulty: two bars, then four; a wide change, then a step; plain rhythm, then lively; with piano, then the
melody alone. Exactly one thing changes, so that one answer is right.
"""

from __future__ import annotations

import random
from dataclasses import replace

from drills._chords import ORDINALS
from drills._draw import Draw, Drawn, capital, number
from drills._returns import SONG_KINDS, song_bar, song_kind
from drills._sheet import Part, Sheet
from drills._texture import laid
from drills._tune import Piece, joined, piece, varied
from drills._voicing import lead
from tutor.music.interval import Interval, with_article
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, pretty
from tutor.music.progression import figures, follows, harmonies
from tutor.music.scale import Key
from tutor.practice.drill import Choice, Excerpt

FAR = {
    "m2": "a minor second", "M2": "a major second", "m3": "a minor third", "M3": "a major third",
    "P4": "a perfect fourth",
}  # fmt: skip
KINDS = {
    "pitch": "one note is another pitch",
    "rhythm": "the notes are the same, their lengths differ",
    "harmony": "the melody is the same, a chord under it differs",
    "octave": "one bar lies an octave away",
}
_SUBSTITUTES = {"I": "vi", "IV": "ii6", "vi": "I", "ii6": "IV", "i": "VI", "iv": "iio6", "VI": "i", "iio6": "iv"}


def _pair(draw: Draw, *, short: bool = False) -> tuple[Key, Piece, Piece, int] | None:
    """A section, the same with one note changed, and the place of that note."""
    key = draw.key()
    first = piece(draw, key, "closed", bars=2 if short or draw.level < 0.5 else 4)
    got = varied(draw.rng, key, first, 1) if first is not None else None
    if first is None or got is None:
        return None
    return key, first, got[0], got[1][0]


def _excerpts(draw: Draw, key: Key, first: Piece, second: Piece, at: int) -> tuple[Excerpt, Excerpt, Excerpt]:
    """First time, second time, second time with the changed note marked."""
    full, bpm = draw.level < 0.6, draw.bpm(76, 108)
    a, b = joined([first], key, bpm, accompanied=full), joined([second], key, bpm, accompanied=full)
    return (
        Excerpt("First time", a),
        Excerpt("Second time", b),
        Excerpt("Second time, the change marked", _mark(b, second, at)),
    )


def _mark(phrase: Phrase, section: Piece, at: int) -> Phrase:
    onset = section.tones[at].onset_quarters
    tones = tuple(
        replace(t, mark="changed") if t.line == "voice" and t.onset_quarters == onset else t for t in phrase.tones
    )
    return replace(phrase, tones=tones)


def _moved_words(was: Pitch, now: Pitch, at: int) -> str:
    size = with_article(Interval.between(was, now).words)
    way = "higher" if now.midi > was.midi else "lower"
    return f"The {_ordinal(at)} note was {pretty(was.name)} and became {pretty(now.name)}, {size} {way}."


def _ordinal(at: int) -> str:
    return ORDINALS[at] if at < len(ORDINALS) else f"{at + 1}th"


def direction(draw: Draw) -> Sheet | None:
    """Whether the changed note went up or down."""
    made = _pair(draw)
    if made is None:
        return None
    key, first, second, at = made
    was, now = first.tones[at].pitch, second.tones[at].pitch
    a, b, shown = _excerpts(draw, key, first, second, at)
    right = "higher" if now.midi > was.midi else "lower"
    return Sheet(
        prompt="One note changed the second time. Did it move higher or lower?", ask="choice", right=right, words=right,
        why=_moved_words(was, now, at), shown=shown, heard=(a, b),
        choices=(Choice("higher", "higher"), Choice("lower", "lower")),
        contrasts={x: a for x in ("higher", "lower") if x != right}, hint="Sing the first time along with the second.",
    )  # fmt: skip


def _which(draw: Draw, by_eye: bool) -> Sheet | None:
    made = _pair(draw, short=True)
    if made is None:
        return None
    key, first, second, at = made
    if len(first.tones) > len(ORDINALS):
        return None
    a, b, shown = _excerpts(draw, key, first, second, at)
    pool = {ORDINALS[i]: f"the {ORDINALS[i]} note" for i in range(len(first.tones))}
    right = ORDINALS[at]
    choices = draw.choose(right, pool, 4 + round(draw.level * 2))
    return Sheet(
        prompt=f"The melody has {number(len(first.tones))} notes. Which one changed the second time?", ask="choice",
        right=right, words=pool[right], why=_moved_words(first.tones[at].pitch, second.tones[at].pitch, at),
        shown=shown, heard=() if by_eye else (a, b), seen=(a, b) if by_eye else (), choices=choices,
        contrasts={c.label: a for c in choices if c.label != right}, hint="Count the notes on your fingers.",
    )  # fmt: skip


def which_ear(draw: Draw) -> Sheet | None:
    """Which note changed, by ear."""
    return _which(draw, by_eye=False)


def which_eye(draw: Draw) -> Sheet | None:
    """Which note changed, on the staff (the melody alone)."""
    return _which(replace(draw, level=max(0.6, draw.level)), by_eye=True)


def how_far(draw: Draw) -> Sheet | None:
    """How far the changed note moved."""
    made = _pair(draw)
    if made is None:
        return None
    key, first, second, at = made
    was, now = first.tones[at].pitch, second.tones[at].pitch
    right = Interval.between(was, now).name
    if right not in FAR:
        return None
    a, b, shown = _excerpts(draw, key, first, second, at)
    up = now.midi > was.midi
    way = "higher" if up else "lower"
    return Sheet(
        prompt=f"The {_ordinal(at)} note came back {way}. How far did it move?", ask="choice", right=right,
        words=FAR[right], why=_moved_words(was, now, at), shown=shown, heard=(a, b),
        choices=draw.choose(right, FAR, 3 + round(draw.level * 2)),
        contrasts={x: Excerpt(f"For comparison: {FAR[x]} {way}", _moved_by(was, x, up, key))
                   for x in FAR if x != right},
        hint="Sing the old note, then the new one.",
    )  # fmt: skip


def _moved_by(was: Pitch, label: str, up: bool, key: Key) -> Phrase:
    """A note, then the same moved by an interval."""
    size, sign = Interval.parse(label), 1 if up else -1
    pair = (Tone(0.0, 1.0, was), Tone(1.0, 2.0, was.moved(sign * size.fifths, sign * size.diatonic)))
    return Phrase(pair, bpm=72, fifths=key.fifths)


def play_change(draw: Draw) -> Sheet | None:
    """Play or sing the note that took the old one's place."""
    made = _pair(draw)
    if made is None:
        return None
    key, first, second, at = made
    a, b, shown = _excerpts(draw, key, first, second, at)
    now = second.tones[at].pitch
    return Sheet(
        prompt="One note changed the second time. Play the new note, in any octave.", ask="notes",
        right=now.pitch_class.name,
        words=pretty(now.name), why=_moved_words(first.tones[at].pitch, now, at), shown=shown, heard=(a, b),
        wanted=((now.midi, 0.0, 1.0),), any_octave=True, bpm=a.phrase.bpm,
        hint="Stop in your mind on the note that is new.",
    )  # fmt: skip


def kind(draw: Draw) -> Sheet | None:
    """What sort of thing changed."""
    key = draw.key()
    first = piece(draw, key, "closed")
    right = draw.rng.choice(tuple(KINDS))
    changed = _change(draw, key, first, right) if first is not None else None
    if first is None or changed is None:
        return None
    second, words, bar = changed
    bpm = draw.bpm(76, 104)
    a, b = joined([first], key, bpm), joined([second], key, bpm)
    marked = replace(b, tones=tuple(
        replace(t, mark="changed") if bar * 4 <= t.onset_quarters < bar * 4 + 4
        and (t.line == "lower" if right == "harmony" else t.line == "voice") else t for t in b.tones
    ))  # fmt: skip
    heard = (Excerpt("First time", a), Excerpt("Second time", b))
    return Sheet(
        prompt="Something changed the second time. What?", ask="choice", right=right, words=KINDS[right], why=words,
        shown=Excerpt("Second time, the bar marked", marked), heard=heard,
        choices=tuple(Choice(x, t) for x, t in KINDS.items()),
        contrasts={x: heard[0] for x in KINDS if x != right},
        hint="Compare one thing at a time: notes, lengths, chords.",
    )  # fmt: skip


def _change(draw: Draw, key: Key, first: Piece, what: str) -> tuple[Piece, str, int] | None:
    """The section with one thing of a kind changed, what that is, and its bar."""
    bar = draw.rng.randrange(1, 3)
    inside = [i for i, t in enumerate(first.tones) if bar * 4 <= t.onset_quarters < bar * 4 + 4]
    if what == "pitch":
        got = varied(draw.rng, key, first, 1, inside)
        if got is None:
            return None
        at = got[1][0]
        moved = _moved_words(first.tones[at].pitch, got[0].tones[at].pitch, at)
        return got[0], f"In bar {bar + 1} {moved[0].lower()}{moved[1:]}", bar
    if what == "octave":
        up = max(first.tones[i].midi for i in inside) <= 74
        tones = tuple(
            replace(t, pitch=t.pitch.moved(0, 7 if up else -7)) if i in inside else t for i, t in enumerate(first.tones)
        )
        return replace(first, tones=tones), f"Bar {bar + 1} lies an octave {'higher' if up else 'lower'}.", bar
    if what == "rhythm":
        lengths = [first.tones[i].duration_quarters for i in inside]
        turned = lengths[::-1] if lengths[::-1] != lengths else lengths[1:] + lengths[:1]
        if turned == lengths or len(inside) < 2:
            return None
        onset, tones_ = bar * 4.0, list(first.tones)
        for i, length in zip(inside, turned, strict=True):
            tones_[i] = replace(tones_[i], onset_quarters=onset, duration_quarters=length)
            onset += length
        return replace(first, tones=tuple(tones_)), f"Bar {bar + 1} has the same notes in another rhythm.", bar
    return _reharmonised(draw, key, first, bar, inside)


def _reharmonised(draw: Draw, key: Key, first: Piece, bar: int, inside: list[int]) -> tuple[Piece, str, int] | None:
    was = first.chords[bar].figure
    now = _SUBSTITUTES.get(was)
    if now is None:
        return None
    names = [h.figure for h in first.chords]
    names[bar] = now
    chords = harmonies(names, key)
    strong = [first.tones[i].pitch.pitch_class for i in inside if first.tones[i].onset_quarters % 2 == 0]
    if any(t not in chords[bar].chord.tones for t in strong):
        return None
    voicings = lead(chords, draw.rng)
    if voicings is None:
        return None
    # The accompaniment sounds three of the four voices: among them must be a tone that the old chord had not.
    sounding = {p.pitch_class for p in voicings[bar][:3]}
    if sounding <= set(first.chords[bar].chord.tones):
        return None
    kept = tuple(voicings[bar] if i == bar else v for i, v in enumerate(first.voicings))
    return replace(first, chords=chords, voicings=kept), f"In bar {bar + 1} {now} stands where {was} stood.", bar


def chord_place(draw: Draw) -> Sheet | None:
    """A progression and the same with one chord changed: which."""
    key = draw.key()
    names = list(figures(draw.rng, key.mode, 4 + round(draw.level * 3), rich=draw.level > 0.4))
    spots = [
        i for i, n in enumerate(names[:-1])
        if i and n in _SUBSTITUTES and follows(names[i - 1], _SUBSTITUTES[n], key.mode)
        and follows(_SUBSTITUTES[n], names[i + 1], key.mode)
    ]  # fmt: skip
    if not spots:
        return None
    at = draw.rng.choice(spots)
    other = [*names[:at], _SUBSTITUTES[names[at]], *names[at + 1 :]]
    seed = draw.rng.random()
    va, vb = (lead(harmonies(n, key), random.Random(seed)) for n in (names, other))
    if va is None or vb is None:
        return None
    bpm, lengths = draw.bpm(), [2.0] * len(names)
    a, b = laid(va, key, lengths, bpm, "block"), laid(vb, key, lengths, bpm, "block")
    marked = replace(
        b, tones=tuple(replace(t, mark="changed") if t.onset_quarters == 2.0 * at else t for t in b.tones),
        figures=tuple((2.0 * i, n) for i, n in enumerate(other)),
    )  # fmt: skip
    pool = {ORDINALS[i]: f"the {ORDINALS[i]} chord" for i in range(len(names))}
    right = ORDINALS[at]
    choices = draw.choose(right, pool, 5)
    plain = replace(a, figures=tuple((2.0 * i, n) for i, n in enumerate(names)))
    return Sheet(
        prompt=f"{capital(number(len(names)))} chords, then the same with one of them replaced. Which one?",
        ask="choice", right=right, words=pool[right], why=f"{' '.join(names)} became {' '.join(other)}.",
        shown=Excerpt("Second time, the change marked", marked),
        heard=(Excerpt("First time", a), Excerpt("Second time", b)), choices=choices,
        contrasts={c.label: Excerpt("First time", plain) for c in choices if c.label != right},
        hint="The voicing may move elsewhere too: follow the chords, not single notes.",
    )  # fmt: skip


LABELS = FAR | KINDS | SONG_KINDS

PARTS = {
    "direction": Part("higher or lower, by ear", direction),
    "which-note": Part("which note changed, by ear", which_ear),
    "which-note-staff": Part("which note changed, on the staff", which_eye),
    "how-far": Part("how far it moved, by ear", how_far),
    "kind": Part("pitch, rhythm, chord or octave, by ear", kind),
    "chord": Part("which chord changed, by ear", chord_place),
    "play-change": Part("play the new note", play_change, ask="notes"),
    "song-bar": Part("the bar that differs in your song", song_bar, song=True),
    "song-kind": Part("the kind of change in your song", song_kind, song=True),
}


class WhatChanged(Drawn):
    """The drill."""

    name = "what-changed"
    title = "What changed"
    about = "Hear what is different when a phrase comes back."
    lesson = "what-changes"
    parts = PARTS
    labels = LABELS


drill = WhatChanged()
