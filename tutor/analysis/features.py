"""What the models see: windows of sound around each frame, read from a candidate root or tonic.

Every count of pitches is turned so that the candidate (a chord's root, a key's tonic) comes first; one set of weights
then serves all twelve, and a song moved to another key reads the same.
"""

from __future__ import annotations

from dataclasses import dataclass
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

    def at(self, rows: Ints | slice) -> Views:
        """The same views of some of the frames."""
        return Views(self.spelled[rows], self.chroma[rows], self.plain[rows])


class Windows:
    """Sums over beats, half bars, bars and spans of bars around each frame."""

    def __init__(self, frames: Frames) -> None:
        self.frames = frames
        n = frames.count
        self.groups: dict[str, tuple[Ints, Ints]] = {}
        for name, ids in (("beat", frames.beat), ("half", frames.half), ("bar", frames.bar)):
            group = _counted(ids)
            self.groups[name] = (group, np.searchsorted(group, np.arange(group[-1] + 2)))
        run = _bass_runs(frames)
        self.groups["run"] = (run, np.searchsorted(run, np.arange(run[-1] + 2)))
        self.length = (frames.end - frames.start).astype(np.float32)
        self.clock = np.concatenate([[0.0], np.cumsum(self.length, dtype=np.float64)])
        self.n = n
        self._bounds: dict[tuple[str, tuple[tuple[int, int], ...]], tuple[Ints, Ints, NDArray[np.float64]]] = {}
        self._times: dict[tuple[int, int], Floats] = {}
        self._sound_sums: dict[str, NDArray[np.float64]] = {}

    @cached_property
    def metre(self) -> Floats:
        """See `metre`."""
        return metre(self.frames)

    @cached_property
    def folded(self) -> Floats:
        """The sound by chroma, shape (n, 12)."""
        return _fold(self.frames.sound)

    @cached_property
    def _lows(self) -> Ints:
        """Lowest MIDI number and spelling of each frame in one number, shape (n,)."""
        return self.frames.low * 64 + self.frames.low_fifths + LOF_ZERO

    def spans(self, values: Floats, wanted: list[tuple[str, int, int]]) -> Floats:
        """Means of ``values`` over windows around each frame.

        Args:
            values: Shape (n, columns).
            wanted: For each window a unit with the first and last one, counted from the frame's own.

        Returns:
            Shape (n, windows, columns); what lies outside the song counts for nothing.
        """
        out = np.empty((self.n, len(wanted), values.shape[1]), dtype=np.float32)
        sums = self._sound_sums if values is self.frames.sound else {}
        weighted = values * self.length[:, None]
        i = 0
        for unit, windows in groupby(wanted, key=itemgetter(0)):
            reaches = tuple((first, last) for _, first, last in windows)
            here = slice(i, i + len(reaches))
            i = here.stop
            if unit == "frame":
                for k, (first, last) in enumerate(reaches, here.start):
                    self._frames(weighted, first, last, out[:, k])
                continue
            group, edges = self.groups[unit]
            if unit not in sums:
                per = np.add.reduceat(weighted, edges[:-1], axis=0, dtype=np.float64)
                sums[unit] = np.concatenate([np.zeros((1, per.shape[1])), np.cumsum(per, axis=0)])
            a, b, time = self._bound(unit, reaches)
            out[:, here] = ((sums[unit][b] - sums[unit][a]) / time).astype(np.float32)[group]
        return out

    def _bound(self, unit: str, reaches: tuple[tuple[int, int], ...]) -> tuple[Ints, Ints, NDArray[np.float64]]:
        """Where each window around each unit begins and ends, and its length, shape (units, windows)."""
        key = (unit, reaches)
        if key not in self._bounds:
            edges = self.groups[unit][1]
            top = len(edges) - 1
            own, reach = np.arange(top)[:, None], np.array(reaches, dtype=np.int64)
            a = np.minimum(np.maximum(own + reach[:, 0], 0), top)
            b = np.minimum(np.maximum(own + reach[:, 1] + 1, 0), top)
            time = np.maximum(self.clock[edges[b]] - self.clock[edges[a]], 1e-6)
            self._bounds[key] = a, b, time[:, :, None]
        return self._bounds[key]

    def _frames(self, weighted: Floats, first: int, last: int, out: Floats) -> None:
        shifts = range(max(first, 1 - self.n), min(last, self.n - 1) + 1)
        places = [(slice(max(0, -k), self.n - max(0, k)), slice(max(0, k), self.n - max(0, -k))) for k in shifts]
        if (first, last) not in self._times:
            time = np.zeros(self.n, dtype=np.float32)
            for to, of in places:
                time[to] += self.length[of]
            self._times[first, last] = np.maximum(time, np.float32(1e-6))[:, None]
        out[:] = 0.0
        if len(places) == 1:
            to, of = places[0]
            out[to] = weighted[of]
        else:
            for to, of in places:
                out[to] += weighted[of]
        out /= self._times[first, last]

    def lowest(self, wanted: list[tuple[str, int]]) -> Floats:
        """Chroma of the lowest note in windows around each frame as one-hot rows.

        Args:
            wanted: For each window a unit and which one, counted from the frame's own.

        Returns:
            Shape (n, windows, 12); zeros in silence or outside the song.
        """
        best = np.full((self.n, len(wanted)), NO_NOTE * 64, dtype=np.int64)
        i = 0
        for unit, windows in groupby(wanted, key=itemgetter(0)):
            group, edges = self.groups.get(unit, (np.arange(self.n), None))
            per = self._lows if edges is None else np.minimum.reduceat(self._lows, edges[:-1])
            target = group[:, None] + np.array([shift for _, shift in windows])
            here = slice(i, i + target.shape[1])
            i = here.stop
            inside = (target >= 0) & (target < len(per))
            np.copyto(best[:, here], per.take(target, mode="clip"), where=inside)
        row, window = np.nonzero(best < NO_NOTE * 64)
        out = np.zeros((self.n, len(wanted), 12), dtype=np.float32)
        out[row, window, ((best[row, window] % 64 - LOF_ZERO) * 7) % 12] = 1.0
        return out


def _counted(numbers: Ints) -> Ints:
    """Running numbers without gaps, from 0."""
    return np.append(0, np.cumsum(numbers[1:] != numbers[:-1]))


def _bass_runs(frames: Frames) -> Ints:
    """Number of the stretch of beats that share a lowest tone; a silent beat belongs to the one before."""
    beat = _counted(frames.beat)
    edges = np.searchsorted(beat, np.arange(beat[-1] + 1))
    key = np.minimum.reduceat(frames.low * 64 + frames.low_fifths + LOF_ZERO, edges)
    chroma = np.where(key // 64 < NO_NOTE, ((key % 64 - LOF_ZERO) * 7) % 12, -1)
    heard = np.maximum.accumulate(np.where(chroma >= 0, np.arange(len(chroma)), 0))
    chroma = chroma[heard]
    change = np.concatenate([[0], (chroma[1:] != chroma[:-1]).astype(np.int64)])
    return np.cumsum(change)[beat]


def spell_map(windows: Windows) -> Ints:
    """Place on the line of fifths that stands for each chroma at each frame, shape (n, 12).

    The spelling that sounds most around the frame; for a tone that does not sound, the one nearest to what does.
    """
    sound = windows.frames.sound
    near = windows.spans(sound, [("half", 0, 0), ("bar", -1, 1), ("bar", -4, 4)])
    weight = 4.0 * near[:, 0] + near[:, 1] + 0.3 * near[:, 2]
    places = np.arange(LOF) - LOF_ZERO
    total = near[:, 2].sum(axis=1)
    centre = np.where(total > 0, near[:, 2] @ places / np.maximum(total, 1e-6), windows.frames.fifths + 2.0)
    score = weight - 0.004 * np.abs(places[None, :] - centre[:, None]).astype(np.float32)
    wide = np.concatenate([score, np.full((windows.n, 1), -np.inf, dtype=score.dtype)], axis=1)
    likely = wide[:, _SPELLINGS].argmax(axis=2)
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


def chord_views(windows: Windows) -> Views:
    """What the chord model sees."""
    f = windows.frames
    spelled = windows.spans(f.sound, [("frame", 0, 0), ("beat", 0, 0), ("half", 0, 0), ("run", 0, 0), ("bar", -3, 3)])
    folded = windows.folded
    chroma = [
        windows.spans(
            folded,
            [
                ("frame", -1, -1), ("frame", 1, 1), ("frame", -2, -2), ("frame", 2, 2),
                ("beat", -1, -1), ("beat", 1, 1), ("half", -1, -1), ("half", 1, 1),
                ("run", -1, -1), ("run", 1, 1), ("bar", 0, 0), ("bar", -1, -1), ("bar", 1, 1), ("bar", -99, 99),
            ],
        ),
        _near(windows),
    ]  # fmt: skip
    lows = windows.lowest(
        [
            ("frame", 0), ("frame", -1), ("frame", 1), ("beat", 0), ("beat", -1), ("beat", 1),
            ("half", 0), ("half", -1), ("half", 1), ("bar", 0),
        ]
    )  # fmt: skip
    blocks = np.concatenate([_squash(np.concatenate(chroma, axis=1)), lows], axis=1)
    group, edges = windows.groups["run"]
    since = f.start - f.start[edges[group]]
    left = f.end[edges[group + 1] - 1] - f.start
    run = np.stack([np.minimum(since, 8) / 4, np.minimum(left, 8) / 4], axis=1).astype(np.float32)
    return Views(_squash(spelled), blocks, np.concatenate([windows.metre, run], axis=1))


def _near(windows: Windows) -> Floats:
    """What is struck, lowest, sung and moving by step in and near the frame, shape (n, 9, 12)."""
    f = windows.frames
    kinds = np.concatenate([f.attack, f.bass, f.voice, f.step], axis=1)
    seen = windows.spans(kinds, [("frame", 0, 0), ("frame", 1, 1), ("beat", 0, 0), ("half", 0, 0)])
    return seen.reshape(windows.n, 4, 4, 12)[:, (0, 1, 0, 2, 3, 0, 2, 0, 2), (0, 0, 1, 1, 1, 2, 2, 3, 3)]


def key_views(windows: Windows) -> Views:
    """What the key model sees besides the chords."""
    f = windows.frames
    spelled = windows.spans(
        f.sound,
        [
            ("half", 0, 0), ("bar", 0, 0), ("bar", -1, 1), ("bar", -2, -1), ("bar", 1, 2), ("bar", -4, -1),
            ("bar", 1, 4), ("bar", -8, 8), ("bar", -999, 999),
        ],
    )  # fmt: skip
    sign = np.zeros((windows.n, 1, LOF), dtype=np.float32)
    sign[np.arange(windows.n), 0, np.clip(f.fifths, -LOF_ZERO, LOF_ZERO) + LOF_ZERO] = 1.0
    ends = np.zeros((windows.n, 2, 12), dtype=np.float32)
    sounding = np.flatnonzero(f.low < NO_NOTE)
    if len(sounding):
        ends[:, 0, (f.low_fifths[sounding[-1]] * 7) % 12] = 1.0
        ends[:, 1, (f.low_fifths[sounding[0]] * 7) % 12] = 1.0
    bass = windows.spans(f.bass, [("half", 0, 0), ("bar", 0, 0), ("bar", -2, 2), ("bar", -999, 999)])
    return Views(
        np.concatenate([_squash(spelled), sign], axis=1),
        np.concatenate([_squash(bass), ends], axis=1),
        windows.metre[:, :4],
    )


_CHORDS_AROUND = [
    ("half", 0, 0), ("bar", 0, 0), ("bar", 1, 1), ("bar", -1, -1), ("bar", -2, 2), ("bar", 1, 4), ("bar", -4, -1),
    ("bar", -8, 8),
]  # fmt: skip


def with_chords(views: Views, windows: Windows, chord: Floats) -> Views:
    """Key views with what the chord model heard around each frame added.

    Args:
        views: From `key_views`.
        windows: The same windows.
        chord: Shares of the chords, shape (n, 12 * SIZE).
    """
    n = windows.n
    kinds = np.zeros((SIZE, GROUPS), dtype=np.float32)
    kinds[np.arange(SIZE), GROUP_OF] = 1.0
    heard = (chord.reshape(n, 12, SIZE) @ kinds).transpose(0, 2, 1).reshape(n, GROUPS * 12)
    blocks = windows.spans(heard, _CHORDS_AROUND).reshape(n, len(_CHORDS_AROUND) * GROUPS, 12)
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
        np.isclose(np.mod(f.beat_quarters, 1), 0.5),
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
