"""How the bass moves, and a smoother bass for any passage.

The search chooses the inversion and octave of each chord so that the bass moves by step where it can. Rules, as
taught in common-practice harmony (figures: Open Music Theory, thoroughbass; the rules themselves: common practice):
    no second inversion unless it passes (reached and left by step in one direction), is a pedal (the same bass
    before and after), or is cadential (a tonic six-four whose bass stays for the dominant);
    no consecutive perfect fifths or octaves (or unisons) between bass and melody;
    a seventh in the bass falls by step or stays.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from tutor.analysis.columns import SMALL, Line, members
from tutor.analysis.findings import Bassline, ChordSpan, RootRun, SmoothBass
from tutor.music.pitch import Pitch, PitchClass
from tutor.music.quality import Quality

LOW_MIDI, HIGH_MIDI = 38, 57
"""Compass of the smoother bass: D2 to A3 (a choice of ours)."""
RUN = 3
"""Root-position chords in a row that make a run."""
_PERFECT = (0, 7)
"""Semitones of the octave and the fifth, without whole octaves."""


@dataclass(frozen=True, slots=True)
class _Note:
    """A possible bass note."""

    midi: int
    diatonic: int
    member: int
    pitch: Pitch


def find_bassline(chords: Sequence[ChordSpan], line: Line) -> Bassline:
    """Root-position share, runs of root-position chords, and a smoother bass for each run."""
    total = sum(c.end - c.start for c in chords)
    rooted = sum(c.end - c.start for c in chords if c.inversion == 0)
    runs, smooth = [], []
    for first, last in _runs(chords):
        passage = chords[first : last + 1]
        runs.append(RootRun(passage[0].start, passage[-1].end, len(passage)))
        bass = smooth_bass(passage, melody_at(line, passage), joints_at(line, passage))
        if bass:
            smooth.append(SmoothBass(passage[0].start, passage[-1].end, tuple(p.name for p in bass)))
    return Bassline(round(rooted / total, 6) if total > SMALL else 0.0, tuple(runs), tuple(smooth))


def smooth_for(chords: Sequence[ChordSpan], line: Line, start: float, end: float) -> SmoothBass | None:
    """A smoother bass for the chords that begin in [start, end); None where the rules leave none."""
    passage = [c for c in chords if start - SMALL <= c.start < end - SMALL]
    bass = smooth_bass(passage, melody_at(line, passage), joints_at(line, passage)) if len(passage) > 1 else ()
    return SmoothBass(passage[0].start, passage[-1].end, tuple(p.name for p in bass)) if bass else None


def melody_at(line: Line, chords: Sequence[ChordSpan]) -> list[Pitch | None]:
    """The sung pitch at the start of each chord, or the first one inside it; None where nothing is sung."""
    found: list[Pitch | None] = []
    for chord in chords:
        first = bisect_right(line.ends, chord.start + SMALL)
        sung = first < len(line) and line.onsets[first] < chord.end - SMALL
        found.append(line.rows[first].pitch if sung else None)
    return found


def joints_at(line: Line, chords: Sequence[ChordSpan]) -> list[tuple[Pitch, Pitch] | None]:
    """The sung notes just before and just after each change of chord; None where the voice rests at either side."""
    found: list[tuple[Pitch, Pitch] | None] = []
    for chord in chords[1:]:
        first = bisect_left(line.ends, chord.start - SMALL)
        after = bisect_right(line.ends, chord.start + SMALL)
        sung = after < len(line) and line.onsets[first] < chord.start - SMALL
        sung = sung and line.onsets[after] < chord.start + SMALL
        found.append((line.rows[first].pitch, line.rows[after].pitch) if sung else None)
    return found


def _runs(chords: Sequence[ChordSpan]) -> list[tuple[int, int]]:
    """(first, last) of each maximal run of touching root-position chords with at least `RUN` changes of root."""
    found, first = [], 0
    for k in range(len(chords) + 1):
        joined = (
            k < len(chords) and chords[k].inversion == 0 and (k == first or chords[k].start - chords[k - 1].end < SMALL)
        )
        if joined:
            continue
        if k > first and len({(c.start, c.root) for c in chords[first:k]}) >= RUN and _moves(chords[first:k]) >= RUN:
            found.append((first, k - 1))
        first = k if k < len(chords) and chords[k].inversion == 0 else k + 1
    return found


def _moves(chords: Sequence[ChordSpan]) -> int:
    """Chords in a passage, counting repetitions of one root once."""
    return sum(k == 0 or c.root != chords[k - 1].root for k, c in enumerate(chords))


def smooth_bass(
    chords: Sequence[ChordSpan],
    melody: Sequence[Pitch | None],
    joints: Sequence[tuple[Pitch, Pitch] | None] = (),
) -> tuple[Pitch, ...]:
    """A stepwise bass for a passage, one pitch for each chord; empty where the rules leave none.

    Args:
        chords: The passage.
        melody: The pitch above each chord, or None; same length.
        joints: The sung notes at each change of chord, as `joints_at` gives them; one fewer.
    """
    choices = [_choices(c.root, c.quality) for c in chords]
    if not chords or not all(choices):
        return ()
    reached: _Reached = {}
    for b, note in enumerate(choices[0]):
        if note.member in (0, 1):
            reached[b] = [(-1, 1.5 * note.member + 0.05 * abs(note.midi - 48), (b,))]
    for k in range(1, len(chords)):
        moves = ((melody[k - 1], melody[k]), *joints[k - 1 : k])
        tops = [(m[0].midi, m[1].midi) for m in moves if m and m[0] and m[1]]
        reached = _advance(reached, choices, chords, tops, k)
    last = choices[-1]
    ended = [
        (round(cost + last[b].member, 9), a, b, path)  # the root closes better than the third
        for b, ways in reached.items()
        if last[b].member in (0, 1)
        for a, cost, path in ways
    ]
    path = min(ended)[3] if ended else ()
    return tuple(choices[k][b].pitch for k, b in enumerate(path))


@lru_cache(maxsize=512)
def _choices(root: str, quality: Quality) -> tuple[_Note, ...]:
    """Every member of the chord in every octave of the compass; at most four members (no ninth in the bass)."""
    found = []
    for number, member in enumerate(members(root, quality)[:4]):
        for octave in range(1, 5):
            pitch = Pitch(member.step, member.alter, octave)
            if LOW_MIDI <= pitch.midi <= HIGH_MIDI:
                found.append(_Note(pitch.midi, pitch.diatonic, number, pitch))
    return tuple(found)


_Reached = dict[int, list[tuple[int, float, tuple[int, ...]]]]
"""For a bass note the ways to it: the note before it, their cost and the whole path. All of them for the fifth of a
chord, for a six-four asks where the bass came from; else only the best one."""


def _advance(
    reached: _Reached,
    choices: list[tuple[_Note, ...]],
    chords: Sequence[ChordSpan],
    tops: Sequence[tuple[int, int]],
    k: int,
) -> _Reached:
    """One step of the search, from the bass notes of one chord to those of the next."""
    out: _Reached = {}
    onward = _onward(chords[k - 1].root, chords[k - 1].quality, chords[k].root, chords[k].quality)
    for b in sorted(reached):
        here, came = choices[k - 1][b], reached[b]
        for c, after, move in _free(onward[b], here, tops):
            best = came[0] if here.member != 2 else None
            for way in came if best is None else ():
                before = choices[k - 2][way[0]] if way[0] >= 0 else None
                if _six_four_allowed(before, here, after, chords[k - 1], chords[k]):
                    best = way if best is None or way[1] < best[1] - 1e-9 else best
            if best is None:
                continue
            cost, known = best[1] + move, out.setdefault(c, [])
            if not known or after.member == 2:
                known.append((b, cost, (*best[2], c)))
            elif cost < known[0][1] - 1e-9:
                known[0] = (b, cost, (*best[2], c))
    return out


_Way = tuple[int, _Note, float]
"""A note that may follow another, with what it costs: its motion, its inversion, its distance from C3."""


@lru_cache(maxsize=4096)
def _onward(root: str, quality: Quality, next_root: str, next_quality: Quality) -> tuple[tuple[_Way, ...], ...]:
    """For each choice of bass in one chord the notes that may follow in another, whatever is sung above."""
    return tuple(
        tuple(
            (c, after, _motion(here, after) + 0.4 * (after.member != 0) + 0.02 * abs(after.midi - 48))
            for c, after in enumerate(_choices(next_root, next_quality))
            if (not is_seventh(quality, here.member) or 0 <= here.diatonic - after.diatonic <= 1)
            and (here.member != 2 or abs(here.diatonic - after.diatonic) <= 1)  # a six-four stays or goes by step
        )
        for here in _choices(root, quality)
    )


def _free(ways: Sequence[_Way], here: _Note, tops: Sequence[tuple[int, int]]) -> Sequence[_Way]:
    """Those ways that make no consecutive fifths or octaves with what is sung."""
    for top in tops:
        if (top[0] - here.midi) % 12 in _PERFECT:
            ways = [way for way in ways if not _consecutive(here, way[1], *top)]
    return ways


def is_seventh(quality: Quality, member: int) -> bool:
    """True where this member of a chord is its seventh."""
    return member == 3 and ("seventh" in quality or quality.endswith("-ninth")) and quality != "added-ninth"


def _motion(here: _Note, after: _Note) -> float:
    step, size = abs(after.diatonic - here.diatonic), abs(after.midi - here.midi)
    if step == 0:
        return 1.2 if size == 0 else 0.9
    if step == 1:
        return 0.0 if size <= 2 else 2.0
    return 1.0 + 0.5 * (step - 1) + (1.5 if size == 6 else 0.0) + (2.0 if step > 4 and step != 7 else 0.0)


def _six_four_allowed(before: _Note | None, here: _Note, after: _Note, chord: ChordSpan, following: ChordSpan) -> bool:
    if here.diatonic == after.diatonic and here.midi == after.midi:
        cadential = _fifth_below(following.root, chord.root) and after.member == 0
        pedal = before is not None and before.midi == here.midi
        return cadential or pedal
    if before is None:
        return False
    return (
        here.diatonic - before.diatonic == after.diatonic - here.diatonic and abs(after.diatonic - here.diatonic) == 1
    )


def _fifth_below(root: str, target: str) -> bool:
    return PitchClass.parse(root).fifths - PitchClass.parse(target).fifths == 1


def parallel(bass: Pitch, next_bass: Pitch, top: Pitch | None, next_top: Pitch | None) -> bool:
    """True for consecutive perfect fifths, octaves or unisons (with their compounds) between two moving voices."""
    if top is None or next_top is None:
        return False
    here, after = (_Note(p.midi, p.diatonic, 0, p) for p in (bass, next_bass))
    return _consecutive(here, after, top.midi, next_top.midi)


def _consecutive(here: _Note, after: _Note, top: int, next_top: int) -> bool:
    """By sound, so that a fifth written as a sixth counts too."""
    if here.midi == after.midi or top == next_top:
        return False
    wide = (top - here.midi) % 12
    return wide in _PERFECT and (next_top - after.midi) % 12 == wide
