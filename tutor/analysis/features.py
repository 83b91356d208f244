"""What the models see: windows of sound around each frame, read from a candidate root or tonic.

Every count of pitches is turned so that the candidate (a chord's root, a key's tonic) comes first; one set of weights
then serves all twelve, and a song moved to another key reads the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby
from operator import itemgetter

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from tutor.analysis.slices import LOF, LOF_ZERO, NO_NOTE, Floats, Frames, Ints
from tutor.analysis.vocabulary import GROUP_OF, GROUPS, SIZE

REACH = 10
"""Places kept either side of the candidate on the line of fifths."""


@dataclass(frozen=True, slots=True)
class Views:
    """Windows of sound, not yet turned."""

    spelled: Floats
    """Blocks on the line of fifths, shape (n, blocks, LOF)."""
    chroma: Floats
    """Blocks by chroma, shape (n, blocks, 12)."""
    plain: Floats
    """What does not turn with the candidate (metre, density), shape (n, k)."""

    @property
    def counts(self) -> tuple[int, int]:
        """How many blocks are on the line of fifths, and how many by chroma."""
        return self.spelled.shape[1], self.chroma.shape[1]

    @property
    def features(self) -> int:
        """How many features a candidate has once they are turned."""
        blocks, tones = self.counts
        more: int = self.plain.shape[1]
        return blocks * (2 * REACH + 1) + tones * 12 + more

    def at(self, rows: Ints | slice) -> Views:
        """The same views of some of the frames."""
        return Views(self.spelled[rows], self.chroma[rows], self.plain[rows])


@dataclass(frozen=True, slots=True)
class Held:
    """Views of n frames that come in stretches, within which nothing changes but the plain features."""

    frames: Ints
    """A frame of each stretch, by which it was looked at, shape (m,)."""
    views: Views
    """Of those frames."""
    spelling: Ints
    """Of those frames, as from `spell_map`, shape (m, 12)."""
    of: Ints
    """The stretch of each frame, shape (n,)."""
    plain: Floats
    """The plain features of each frame, shape (n, k)."""

    def at(self, rows: Ints | slice) -> Held:
        """The same of some of the n frames."""
        return replace(self, of=self.of[rows], plain=self.plain[rows])


class Windows:
    """Sums over beats, half bars, bars and spans of bars around each frame."""

    def __init__(self, frames: Frames) -> None:
        self.frames = frames
        n = frames.count
        self.n = n
        every = np.arange(n + 1)
        self.groups: dict[str, tuple[Ints, Ints]] = {"frame": (every[:-1], every)}
        for name, ids in (("beat", frames.beat), ("half", frames.half), ("bar", frames.bar)):
            self.groups[name] = _grouped(firsts(ids)[1])
        self.groups["run"] = _grouped(_bass_runs(frames, self.groups["beat"]))
        self.length = (frames.end - frames.start).astype(np.float32)
        self.clock = summed(self.length)
        self._bounds: dict[tuple[str, tuple[tuple[int, int], ...]], tuple[Ints, Ints, NDArray[np.float64]]] = {}

    @cached_property
    def metre(self) -> Floats:
        """See `metre`."""
        return metre(self.frames)

    @cached_property
    def folded(self) -> Floats:
        """The sound by chroma, shape (n, 12)."""
        return _fold(self.frames.sound)

    @cached_property
    def _sounded(self) -> NDArray[np.float64]:
        return summed(self.frames.sound * self.length[:, None])

    def spans(self, values: Floats, wanted: list[tuple[str, int, int]], rows: Ints | None = None) -> Floats:
        """Means of ``values`` over windows around each frame.

        Args:
            values: Shape (n, columns).
            wanted: For each window a unit with the first and last one, counted from the frame's own.
            rows: The frames that are asked about; all n if not given.

        Returns:
            Shape (rows, windows, columns); what lies outside the song counts for nothing.
        """
        sums = self._sounded if values is self.frames.sound else summed(values * self.length[:, None])
        out = np.empty((self.n if rows is None else len(rows), len(wanted), values.shape[1]), dtype=np.float32)
        i = 0
        for unit, windows in groupby(wanted, key=itemgetter(0)):
            reaches = tuple((first, last) for _, first, last in windows)
            a, b, share = self._bound(unit, reaches)
            own = self.groups[unit][0] if rows is None else self.groups[unit][0][rows]
            if unit == "frame" and rows is not None:
                a, b, share = a[rows], b[rows], share[rows]
            means = sums.take(b, axis=0)
            means -= sums.take(a, axis=0)
            means *= share
            out[:, i : i + len(reaches)] = means if unit == "frame" else means.astype(np.float32).take(own, axis=0)
            i += len(reaches)
        return out

    def _bound(self, unit: str, reaches: tuple[tuple[int, int], ...]) -> tuple[Ints, Ints, NDArray[np.float64]]:
        """For each window around each unit the frames where it begins and ends, and one by its length."""
        key = (unit, reaches)
        if key not in self._bounds:
            edges = self.groups[unit][1]
            own, (first, last) = np.arange(len(edges) - 1)[:, None], np.array(reaches, dtype=np.int64).T
            a, b = (edges.take(own + reach, mode="clip") for reach in (first, last + 1))
            share = 1 / np.maximum(self.clock[b] - self.clock[a], 1e-6)
            self._bounds[key] = a, b, share[:, :, None]
        return self._bounds[key]

    def lowest(self, wanted: list[tuple[str, int]], rows: Ints | None = None) -> Floats:
        """Chroma of the lowest note in windows around each frame as one-hot rows.

        Args:
            wanted: For each window a unit and which one, counted from the frame's own.
            rows: The frames that are asked about; all n if not given.

        Returns:
            Shape (rows, windows, 12); zeros in silence or outside the song.
        """
        lows = _lows(self.frames)
        found = []
        for unit, windows in groupby(wanted, key=itemgetter(0)):
            own, edges = self.groups[unit]
            tones = np.concatenate([[-1], _chroma_of(np.minimum.reduceat(lows, edges[:-1])), [-1]])
            shifts = np.array([shift for _, shift in windows])
            places = (own if rows is None else own[rows])[:, None] + (shifts + 1)
            found.append(tones.take(places, mode="clip"))
        out: Floats = (np.concatenate(found, axis=1)[:, :, None] == np.arange(12)).astype(np.float32)
        return out


def summed(values: Floats) -> NDArray[np.float64]:
    """Sums up to each frame, from nothing to everything, shape (n + 1, …)."""
    out = np.zeros((len(values) + 1, *values.shape[1:]))
    np.cumsum(values, axis=0, out=out[1:])
    return out


def _lows(frames: Frames) -> Ints:
    """Lowest MIDI number and spelling of each frame in one number, shape (n,)."""
    return frames.low * 64 + frames.low_fifths + LOF_ZERO


def _chroma_of(lows: Ints) -> Ints:
    """The chroma of each number of `_lows`, -1 for silence."""
    return np.where(lows < NO_NOTE * 64, ((lows % 64 - LOF_ZERO) * 7) % 12, -1)


def _grouped(group: Ints) -> tuple[Ints, Ints]:
    """Running numbers of units, and the frames at which they begin, with the end of the song."""
    return group, np.append(np.flatnonzero(np.diff(group, prepend=-1)), len(group))


def _bass_runs(frames: Frames, beats: tuple[Ints, Ints]) -> Ints:
    """Number of the stretch of beats that share a lowest tone; a silent beat belongs to the one before."""
    beat, edges = beats
    chroma = _chroma_of(np.minimum.reduceat(_lows(frames), edges[:-1]))
    heard = np.maximum.accumulate(np.where(chroma >= 0, np.arange(len(chroma)), 0))
    return firsts(chroma[heard])[1][beat]


def spell_map(windows: Windows, rows: Ints | None = None) -> Ints:
    """Place on the line of fifths that stands for each chroma at each frame, shape (rows, 12).

    The spelling that sounds most around the frame; for a tone that does not sound, the one nearest to what does.
    """
    f = windows.frames
    near = windows.spans(f.sound, [("half", 0, 0), ("bar", -1, 1), ("bar", -4, 4)], rows)
    weight = 4.0 * near[:, 0] + near[:, 1] + 0.3 * near[:, 2]
    places = np.arange(LOF) - LOF_ZERO
    total = near[:, 2].sum(axis=1)
    signed = (f.fifths if rows is None else f.fifths[rows]) + 2.0
    centre = np.where(total > 0, near[:, 2] @ places / np.maximum(total, 1e-6), signed)
    score = np.full((len(near), LOF + 1), -np.inf, dtype=np.float32)
    score[:, :LOF] = weight - 0.004 * np.abs(places - centre[:, None]).astype(np.float32)
    likely = score.take(_SPELLINGS, axis=1).argmax(axis=2)
    out: Ints = _SPELLINGS[np.arange(12), likely] - LOF_ZERO
    return out


_SPELLINGS: Ints = np.array(
    [([i for i in range(LOF) if (i - LOF_ZERO) * 7 % 12 == chroma] + [LOF])[:4] for chroma in range(12)], dtype=np.int64
)
"""Places on the line of fifths for each chroma; LOF stands for none."""


def turn(views: Views, spelling: Ints) -> Floats:
    """Read the views from each of the twelve candidates.

    Returns:
        Shape (n, 12, features): spelled blocks from ``-REACH`` to ``REACH`` fifths, chroma blocks in semitones above
        the candidate, then the plain features.
    """
    n, blocks, tones = len(views.plain), views.spelled.shape[1], views.chroma.shape[1]
    width = 2 * REACH + 1
    split = blocks * width
    out = np.empty((n, 12, split + tones * 12 + views.plain.shape[1]), dtype=np.float32)
    wide = np.zeros((n, blocks, LOF + 2 * REACH), dtype=np.float32)
    wide[:, :, REACH : REACH + LOF] = views.spelled
    at = np.clip(spelling, -LOF_ZERO, LOF_ZERO) + LOF_ZERO
    near = sliding_window_view(wide, width, axis=2).transpose(0, 2, 1, 3)[np.arange(n)[:, None], at]
    out[:, :, :split] = near.reshape(n, 12, split)
    twice = np.concatenate([views.chroma, views.chroma[:, :, :11]], axis=2)
    turned = sliding_window_view(twice, 12, axis=2).transpose(0, 2, 1, 3)
    out[:, :, split : split + tones * 12].reshape(n, 12, tones, 12)[:] = turned
    out[:, :, split + tones * 12 :] = views.plain[:, None]
    return out


def _squash(values: Floats) -> Floats:
    held: Floats = np.maximum(values, 0)
    return np.sqrt(held, out=held)


def chord_views(windows: Windows, rows: Ints | None = None) -> Views:
    """What the chord model sees, of some of the frames or of all."""
    every = slice(None) if rows is None else rows
    f = windows.frames
    spelled = [("frame", 0, 0), ("beat", 0, 0), ("half", 0, 0), ("run", 0, 0), ("bar", -3, 3)]
    chroma = [
        ("frame", -1, -1), ("frame", 1, 1), ("frame", -2, -2), ("frame", 2, 2),
        ("beat", -1, -1), ("beat", 1, 1), ("half", -1, -1), ("half", 1, 1),
        ("run", -1, -1), ("run", 1, 1), ("bar", 0, 0), ("bar", -1, -1), ("bar", 1, 1), ("bar", -99, 99),
    ]  # fmt: skip
    lows = windows.lowest(
        [
            ("frame", 0), ("frame", -1), ("frame", 1), ("beat", 0), ("beat", -1), ("beat", 1),
            ("half", 0), ("half", -1), ("half", 1), ("bar", 0),
        ], rows
    )  # fmt: skip
    heard = [windows.spans(windows.folded, chroma, rows), _near(windows, rows)]
    group, edges = windows.groups["run"]
    since = f.start - f.start[edges[group]]
    left = f.end[edges[group + 1] - 1] - f.start
    run = np.stack([np.minimum(since, 8) / 4, np.minimum(left, 8) / 4], axis=1).astype(np.float32)
    return Views(
        _squash(windows.spans(f.sound, spelled, rows)),
        np.concatenate([*(_squash(x) for x in heard), lows], axis=1),
        np.concatenate([windows.metre[every], run[every]], axis=1),
    )


def _near(windows: Windows, rows: Ints | None) -> Floats:
    """What is struck, lowest, sung and moving by step in and near the frame, shape (rows, 9, 12)."""
    f = windows.frames
    kinds = np.concatenate([f.attack, f.bass, f.voice, f.step], axis=1)
    seen = windows.spans(kinds, [("frame", 0, 0), ("frame", 1, 1), ("beat", 0, 0), ("half", 0, 0)], rows)
    return seen.reshape(len(seen), 4, 4, 12)[:, (0, 1, 0, 2, 3, 0, 2, 0, 2), (0, 0, 1, 1, 1, 2, 2, 3, 3)]


def key_views(windows: Windows, rows: Ints | None = None) -> Views:
    """What the key model sees besides the chords, of some of the frames or of all."""
    every = slice(None) if rows is None else rows
    f = windows.frames
    spelled = windows.spans(
        f.sound,
        [
            ("half", 0, 0), ("bar", 0, 0), ("bar", -1, 1), ("bar", -2, -1), ("bar", 1, 2), ("bar", -4, -1),
            ("bar", 1, 4), ("bar", -8, 8), ("bar", -999, 999),
        ], rows
    )  # fmt: skip
    n = len(spelled)
    sign = np.zeros((n, 1, LOF), dtype=np.float32)
    sign[np.arange(n), 0, np.clip(f.fifths[every], -LOF_ZERO, LOF_ZERO) + LOF_ZERO] = 1.0
    ends = np.zeros((n, 2, 12), dtype=np.float32)
    sounding = np.flatnonzero(f.low < NO_NOTE)
    if len(sounding):
        ends[:, 0, (f.low_fifths[sounding[-1]] * 7) % 12] = 1.0
        ends[:, 1, (f.low_fifths[sounding[0]] * 7) % 12] = 1.0
    bass = windows.spans(f.bass, [("half", 0, 0), ("bar", 0, 0), ("bar", -2, 2), ("bar", -999, 999)], rows)
    return Views(
        np.concatenate([_squash(spelled), sign], axis=1),
        np.concatenate([_squash(bass), ends], axis=1),
        windows.metre[every, :4],
    )


def firsts(numbers: Ints) -> tuple[Ints, Ints]:
    """Where each run of one number begins, and for each place the run that it belongs to."""
    begins = np.append(True, numbers[1:] != numbers[:-1])
    return np.flatnonzero(begins), np.cumsum(begins) - 1


def held_key_views(windows: Windows, rows: Ints) -> Held:
    """The key views of some frames: all that they show but the metre belongs to half bars and longer stretches."""
    first, of = firsts(windows.frames.half[rows])
    at = rows[first]
    return Held(at, key_views(windows, at), spell_map(windows, at), of, windows.metre[rows, :4])


_CHORDS_AROUND = [
    ("half", 0, 0), ("bar", 0, 0), ("bar", 1, 1), ("bar", -1, -1), ("bar", -2, 2), ("bar", 1, 4), ("bar", -4, -1),
    ("bar", -8, 8),
]  # fmt: skip


def with_chords(views: Views, windows: Windows, chord: Floats, rows: Ints | None = None) -> Views:
    """Key views with what the chord model heard around each frame added.

    Args:
        views: From `key_views`.
        windows: The same windows.
        chord: Shares of the chords, shape (n, 12 * SIZE).
        rows: The frames whose views these are; all n if not given.
    """
    n = windows.n
    kinds = np.zeros((SIZE, GROUPS), dtype=np.float32)
    kinds[np.arange(SIZE), GROUP_OF] = 1.0
    heard = (chord.reshape(n, 12, SIZE) @ kinds).transpose(0, 2, 1).reshape(n, GROUPS * 12)
    blocks = windows.spans(heard, _CHORDS_AROUND, rows).reshape(-1, len(_CHORDS_AROUND) * GROUPS, 12)
    return Views(views.spelled, np.concatenate([views.chroma, _squash(blocks)], axis=1), views.plain)


def metre(f: Frames) -> Floats:
    """Place in the bar, length of beat and bar, density: shape (n, 12)."""
    in_beat = np.mod(f.inside, f.beat_quarters)
    beat = np.floor(f.inside / f.beat_quarters + 1e-4)
    beats = np.round(f.bar_quarters / f.beat_quarters)
    length = (f.end - f.start).astype(np.float32)
    columns = [
        f.inside < 1e-4,
        in_beat < 1e-4,
        (beats == 4) & (beat == 2) & (in_beat < 1e-4),
        f.inside / f.bar_quarters,
        in_beat / f.beat_quarters,
        beats == 2,
        beats == 3,
        beats == 4,
        np.abs(np.mod(f.beat_quarters, 1) - 0.5) < 1e-5,
        f.bar_quarters / 4,
        np.minimum(f.sound.sum(axis=1), 8) / 4,
        np.minimum(f.attack.sum(axis=1) / np.maximum(length, 0.1), 16) / 8,
    ]
    return np.stack([np.asarray(c, dtype=np.float32) for c in columns], axis=1)


def _fold(sound: Floats) -> Floats:
    """Line of fifths to chroma."""
    wide = np.zeros((len(sound), 4, 12), dtype=np.float32)
    wide.reshape(len(sound), 48)[:, :LOF] = sound
    out: Floats = wide.sum(axis=1)[:, _FOLDED]
    return out


_FOLDED: Ints = (np.arange(12) * 7 + LOF_ZERO) % 12
"""Place on the line of fifths, modulo 12, of each chroma."""
