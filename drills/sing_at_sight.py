"""Sing at sight: a line on the staff, pitch and rhythm marked bar by bar.

Axes of difficulty: two bars, then four; steps, then thirds and the tonic chord, then wider leaps; plain rhythm, then
lively; major, then minor. A note counts within 50 cents, at the highest levels within 25, where listeners begin to hear
a sung note as out of tune; onsets count within a sixteenth note of the singer's own steady tempo. The notes are judged
in the written octave or another, the whole line together.
"""

from __future__ import annotations

from dataclasses import replace

from drills._draw import Draw, Drawn, key_heard, pretty_key
from drills._melody import melody, rhythm
from drills._sheet import Part, Sheet
from drills._songs import per_song
from tutor.analysis.findings import PhraseSpan
from tutor.music.interval import Interval
from tutor.music.phrase import Phrase
from tutor.music.pitch import PitchClass, pretty
from tutor.music.progression import harmonies
from tutor.music.scale import Key
from tutor.practice.drill import Excerpt, Song
from tutor.practice.marking import HEARD_CENTS, NEAREST_CENTS
from tutor.practice.material import SURE, cut, source_words, sung_notes

STRICT_LEVEL = 0.85
"""From here on a note counts within 25 cents."""


def _cents(draw: Draw) -> float:
    return HEARD_CENTS if draw.level >= STRICT_LEVEL else NEAREST_CENTS


def _line(draw: Draw, mode: str, *, lively: float, leaps: bool, beats: int = 4) -> Sheet | None:
    key = draw.key(mode)
    low, high = draw.material.low_midi, draw.material.high_midi
    bars = 2 if draw.level < 0.5 else 4
    tonic, dominant, fourth = ("I", "V", "IV") if mode == "major" else ("i", "V", "iv")
    plans = (
        ((tonic, tonic), (dominant, tonic))
        if bars == 2
        else ((tonic, fourth, dominant, tonic), (tonic, dominant, dominant, tonic), (tonic, tonic, dominant, tonic))
    )
    names = draw.rng.choice(plans)
    tones = melody(
        draw.rng, key, harmonies(names, key), rhythm(draw.rng, bars, lively, beats), low=low, high=high,
        level=draw.level if leaps else 0.2, end=("1",), beats=beats, steps_only=not leaps,
    )  # fmt: skip
    if tones is None or len({t.midi for t in tones}) < 3:
        return None
    phrase = Phrase(tones, bpm=draw.bpm(60, 84), numerator=beats, fifths=key.fifths, first_bar="1")
    return _sheet(draw, key, phrase)


def _sheet(draw: Draw, key: Key, phrase: Phrase) -> Sheet:
    shown = replace(phrase, tones=tuple(replace(t, mark="target") for t in phrase.tones))
    cents = _cents(draw)
    names = " ".join(pretty(t.pitch.name) for t in phrase.tones)
    return Sheet(
        prompt="Sing the line from the staff at a steady tempo. Any octave will do.", ask="take", right="line",
        words=names,
        why=f"The line is in {pretty_key(key)}.",
        shown=Excerpt("The line", shown), heard=(key_heard(draw, key),), seen=(Excerpt("The line", phrase),),
        wanted=tuple((t.midi, t.onset_quarters, t.duration_quarters) for t in phrase.tones), any_octave=True,
        rhythm=True, cents=cents, bpm=phrase.bpm, also=("notes",),
        hint=f"Find the tonic first, then look for steps and chord leaps. A note counts within {cents:.0f} cents.",
    )  # fmt: skip


def steps(draw: Draw) -> Sheet | None:
    """By step in plain rhythm."""
    return _line(draw, "major", lively=0.0, leaps=False)


def leaps(draw: Draw) -> Sheet | None:
    """With leaps in plain rhythm."""
    return _line(draw, "major", lively=draw.level * 0.4, leaps=True)


def rhythms(draw: Draw) -> Sheet | None:
    """By step in lively rhythm, in four or three."""
    return _line(draw, "major", lively=0.4 + draw.level * 0.6, leaps=False, beats=draw.rng.choice((4, 3)))


def minor(draw: Draw) -> Sheet | None:
    """In minor."""
    return _line(draw, "minor", lively=draw.level * 0.6, leaps=draw.level > 0.3)


def mixed(draw: Draw) -> Sheet | None:
    """Everything together."""
    mode = draw.rng.choice(("major", "minor"))
    return _line(draw, mode, lively=draw.level, leaps=True, beats=draw.rng.choice((4, 3)))


def _key_of(song: Song, phrase: PhraseSpan) -> Key | None:
    """The key of a phrase, if it stays in one and the reading is sure of it: the tonic that is given must hold."""
    keys = [k for k in song.reading.keys if k.start < phrase.end - 1e-6 and k.end > phrase.start + 1e-6]
    sure = len({k.name for k in keys}) == 1 and all(k.confidence >= SURE for k in keys)
    return Key.parse(keys[0].name) if sure else None


@per_song
def _fits(song: Song) -> list[PhraseSpan]:
    """Phrases of up to eight bars with at least four notes, in a key that is sure."""
    out = []
    for phrase in song.reading.phrases:
        notes = sung_notes(song.table, phrase.start, phrase.end)
        single = len({n.onset_quarters for n in notes}) == len(notes)
        if _key_of(song, phrase) is None:
            continue
        if 4 <= len(notes) <= 24 and phrase.end - phrase.start <= 32 and single:
            out.append(phrase)
    return out


def song(draw: Draw) -> Sheet | None:
    """A phrase of a song, moved by octaves or a spelled interval into the singer's range."""
    chosen = draw.song(lambda s: bool(_fits(s)))
    span = draw.rng.choice(_fits(chosen))
    phrase = cut(chosen.table, span.start, span.end).only("voice")
    moved = into_range(phrase, draw.material.low_midi, draw.material.high_midi)
    if moved is None:
        return None
    home = _key_of(chosen, span)
    if home is None:
        return None
    shifted = Key(PitchClass(home.tonic.fifths + moved.fifths - phrase.fifths), home.mode)
    sheet = _sheet(draw, shifted, replace(moved, bpm=min(84.0, moved.bpm)))
    return replace(sheet, source=source_words(chosen, span.start, span.end), song_id=chosen.id)


def into_range(phrase: Phrase, low: int, high: int) -> Phrase | None:
    """A line moved into a range: as written, by octaves, or by the smallest spelled interval; None if too wide."""
    midis = [t.midi for t in phrase.tones]
    if not midis or max(midis) - min(midis) > high - low:
        return None
    for fifths, letters in _SHIFTS:
        moved = phrase.moved(fifths, letters)
        if all(low <= t.midi <= high for t in moved.tones) and -7 <= moved.fifths <= 7:
            return moved
    return None


_SMALL = ((0, 0), (7, 0), (-5, 1), (2, 1), (-3, 2), (4, 2), (-1, 3), (6, 3), (1, 4), (-4, 5), (3, 5), (-2, 6), (5, 6))
_SHIFTS = tuple(
    sorted(
        ((f, d + 7 * o) for f, d in _SMALL for o in (-3, -2, -1, 0, 1, 2)),
        key=lambda s: (s[0] != 0, abs(Interval(*s).semitones), s),
    )
)
"""Octaves first, then other intervals, near ones first."""

PARTS = {
    "steps": Part("by step", steps, ask="take"),
    "rhythms": Part("by step in lively rhythm", rhythms, ask="take"),
    "leaps": Part("with leaps", leaps, ask="take"),
    "minor": Part("in minor", minor, ask="take"),
    "mixed": Part("everything together", mixed, ask="take"),
    "song": Part("a phrase of your song", song, song=True, ask="take"),
}


class SingAtSight(Drawn):
    """The drill."""

    name = "sing-at-sight"
    title = "Sing at sight"
    about = "Sing a line from the staff; pitch and rhythm are marked bar by bar."
    lesson = "singing-at-sight"
    parts = PARTS


drill = SingAtSight()
