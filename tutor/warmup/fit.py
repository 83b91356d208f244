"""Which keys of a song fit a voice, ranked by how tessitura and climax sit in it.

Reserves and shift after C. Herbst, E. Duus, H. Jers, J. Švec, Int. J. Research in Choral Singing 4(1), 2012, 47-59
(seen): upper reserve UR = singer's top - song's top, lower reserve LR = song's bottom - singer's bottom, tessitura
shift TS = (LR - UR) / 2, in semitones; positive where the song sits high for the voice. The weights of the ranking are
a choice of ours.
"""

from __future__ import annotations

from tutor.analysis.findings import Reading
from tutor.music.pitch import Pitch, PitchClass, pretty
from tutor.music.voice import SingerProfile, VoiceType
from tutor.warmup import limits
from tutor.warmup.facts import move_of, spelled_interval
from tutor.warmup.model import KeyFit
from tutor.warmup.words import count, moved, note

OCTAVE_LOWER: tuple[VoiceType, ...] = ("tenor", "baritone", "bass")
"""Voices that sing a line in the treble clef an octave lower than it is printed (common practice)."""
NEARLY = 5
"""Semitones below the comfortable bottom that a key may still go when none fits (a choice of ours)."""
_TIGHT, _HIGH, _FAR, _LOW = 3.0, 12.0, 0.15, 1.0
"""Cost of a semitone of missing upper reserve, of all singing above the upper transition, of a semitone away from the
printed key in whichever octave, and of having no lower reserve."""
_SEATED = 1.5
"""Tessitura shift up to which a song sits in the middle (a choice of ours)."""
_SIGNS, _EASY_SIGNS = 0.1, 4
"""Cost of each sharp or flat of the signature beyond those that come easily."""


def reserves(low: int, high: int, singer_low: int, singer_high: int) -> tuple[int, int, float]:
    """Lower reserve, upper reserve and tessitura shift in semitones (Herbst et al. 2012)."""
    lower, upper = low - singer_low, singer_high - high
    return lower, upper, (lower - upper) / 2


def keys_that_fit(reading: Reading, singer: SingerProfile, *, margin_semitones: int = 0) -> tuple[KeyFit, ...]:
    """Every transposition that keeps the song inside the comfortable range, best first.

    Keys with two semitones to spare above come before tighter ones. A song that lies high in the treble clef is first
    offered to a man's voice an octave lower, as it is usually sung.

    Args:
        reading: the song.
        singer: the voice.
        margin_semitones: semitones above the comfortable top that the singer allows.
    """
    fits = [sits(reading, singer, shift) for shift in _shifts(reading, singer, margin_semitones, 0)]
    treble = Pitch.parse(reading.voice.tessitura.centre).midi >= 60 and singer.voice in OCTAVE_LOWER
    return tuple(
        sorted(
            fits,
            key=lambda f: (
                not (treble and f.semitones == -12), f.upper_reserve < limits.RESERVE.value, f.cost, abs(f.semitones),
            ),
        )
    )  # fmt: skip


def keys_nearly(reading: Reading, singer: SingerProfile, *, margin_semitones: int = 0) -> tuple[KeyFit, ...]:
    """For a song that no key holds: keys that keep its top within reach and go a little low, best first."""
    centre = Pitch.parse(reading.voice.tessitura.centre).midi
    near = [
        sits(reading, singer, shift)
        for shift in _shifts(reading, singer, margin_semitones, NEARLY)
        if centre + shift >= singer.low_midi
    ]
    return tuple(sorted(near, key=lambda f: (-f.lower_reserve, f.cost, abs(f.semitones))))


def _shifts(reading: Reading, singer: SingerProfile, margin: int, below: int) -> range:
    """Every transposition between the singer's bottom (or so far below it) and top, in whichever octave."""
    low, high = Pitch.parse(reading.voice.low).midi, Pitch.parse(reading.voice.high).midi
    return range(singer.low_midi - below - low, singer.high_midi + margin - high + 1)


def sits(reading: Reading, singer: SingerProfile, shift: int) -> KeyFit:
    """How the song sits in a voice when moved by ``shift`` semitones."""
    voice = reading.voice
    fifths = _fifths(reading)
    low, high = Pitch.parse(voice.low), Pitch.parse(voice.high)
    lower, upper, ts = reserves(low.midi + shift, high.midi + shift, singer.low_midi, singer.high_midi)
    sung = sum(voice.seconds.values())
    above = sum(s for name, s in voice.seconds.items() if Pitch.parse(name).midi + shift > singer.second_transition)
    share = above / sung if sung else 0.0
    centre = Pitch.parse(voice.tessitura.centre).midi + shift
    off = abs(centre - (singer.low_midi + singer.high_midi) / 2)
    tight = max(0.0, limits.RESERVE.value - upper)
    cost = abs(ts) + off / 2 + _TIGHT * tight + _HIGH * share + _FAR * abs((shift + 6) % 12 - 6) + _LOW * (lower < 1)
    cost += _SIGNS * max(0, abs(fifths + (move_of(shift, fifths)[0] if shift else 0)) - _EASY_SIGNS)
    return KeyFit(
        semitones=shift,
        interval=moved(shift),
        key=_key(reading, shift),
        low=spelled_interval(low, shift, fifths).name,
        high=spelled_interval(high, shift, fifths).name,
        upper_reserve=upper,
        lower_reserve=lower,
        shift=ts,
        high_share=round(share, 4),
        cost=round(cost, 4),
        words=_words(lower, upper, ts, share, singer),
    )


def _fifths(reading: Reading) -> int:
    if not reading.keys:
        return 0
    key = reading.keys[0]
    return PitchClass.parse(key.tonic).fifths - (3 if key.mode == "minor" else 0)


def _key(reading: Reading, shift: int) -> str:
    if not reading.keys:
        return ""
    key = reading.keys[0]
    tonic = PitchClass(PitchClass.parse(key.tonic).fifths + (move_of(shift, _fifths(reading))[0] if shift else 0))
    return f"{pretty(tonic.name)} {key.mode}"


def seat(shift: float) -> str:
    """How a song sits in a voice, from its tessitura shift."""
    if abs(shift) <= _SEATED:
        return "sits in the middle of your range"
    return "sits high for you" if shift > 0 else "sits low for you"


def _words(lower: int, upper: int, shift: float, share: float, singer: SingerProfile) -> str:
    room = (
        f"{count(upper, 'semitone')} to spare above"
        if upper > 0
        else "nothing to spare above" if upper == 0 else f"{count(-upper, 'semitone')} above your comfortable top"
    )  # fmt: skip
    high = f", {round(100 * share)} % of it above {note(singer.second_transition)}" if share >= 0.005 else ""
    low = f", {count(-lower, 'semitone')} below your comfortable bottom" if lower < 0 else ""
    return f"{room}{low}; {seat(shift)}{high}"
