"""Joint decoding: the best path, and the probability of each state, over pairs of key and chord.

The score of a path adds, for each frame, what the models say of its chord and key, and at each change of chord what
the counts say of the step within the key (or of the step to another key), with the metre deciding where changes
like to fall. A chain over frames with staying for free is the segmental model with geometric lengths.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.listen import Heard
from tutor.analysis.modal import leaning
from tutor.analysis.slices import Floats, Frames, Ints, fresh_frames
from tutor.analysis.vocabulary import GROUP_OF, GROUPS, SIZE

Doubles = NDArray[np.float64]

KEYS = 24
"""Keys are numbered 2 x chroma of the tonic, plus 1 for minor."""
KEPT = 6
"""Chords kept for each frame."""
_EASED = 8
"""Frames after which the probabilities of all paths so far are brought back to a sum of 1."""
POSSIBLE = 0.05
"""A key that is never likelier than this anywhere in the song is left out of the decoding."""
DEFAULTS = {
    "strands_key": 0.3,
    "bass": 0.4,
    "member": 0.42,
    "chord": 1.5,
    "key": 0.235,
    "frame": 0.13,
    "unigram": 0.59,
    "bigram": 0.37,
    "step": 0.9,
    "modulate": -2.5,
    "change": -0.3,
    "turn": 0.8,
    "metre": 0.05,
    "key_metre": 0.05,
}
"""Weights of what is heard, and of the score's terms."""


@dataclass(frozen=True, slots=True)
class Lattice:
    """States of each frame: k possible keys times KEPT chords."""

    keys: Ints
    """The possible keys, shape (k,)."""
    copies: Ints
    """For each frame of the song its place among the n frames here, in which something begins or ends."""
    chords: Ints
    """Candidate chords, root * SIZE + class, shape (n, KEPT)."""
    score: Doubles
    """Score of each state in its frame, shape (n, k, KEPT)."""
    start: Doubles
    """Score of beginning with a chord in a key, shape (n, k, KEPT); used where the key changes too."""
    steps: NDArray[np.float32]
    """Score of moving between chords within a key, shape (n - 1, k, KEPT, KEPT)."""
    moves: Doubles
    """Score of moving between keys, shape (k, k); staying is impossible here."""
    change: Doubles
    """Score of any change at a frame, shape (n,)."""
    modulate: Doubles
    """Score of a change of key at a frame, on top of ``change``, shape (n,)."""


@dataclass(frozen=True, slots=True)
class Path:
    """The best reading and how sure it is, frame by frame."""

    chord: Ints
    """root * SIZE + class, shape (n,)."""
    key: Ints
    """Shape (n,)."""
    chord_share: Doubles
    """Posterior probability of the chord, shape (n,)."""
    key_share: Doubles
    """Posterior probability of the key, shape (n,)."""


def lattice(frames: Frames, heard: Heard, tables: dict[str, Doubles], weights: dict[str, float]) -> Lattice:
    """Lay out the states.

    Args:
        frames: The song's frames; the states are laid out over those in which something begins or ends.
        heard: What the models hear in each frame.
        tables: 'unigram' (2, 12, SIZE), 'bigram' (2, 12 * GROUPS, 12 * GROUPS), 'keys' (2, 12, 2): logarithms; where
            the song may stand in a mode also 'modal_unigram', 'modal_bigram' and 'modal_keys'.
        weights: As in DEFAULTS.
    """
    w = weights
    tables = leaning(tables, heard.modal)
    fresh, copies = fresh_frames(frames)
    chord, key = heard.chord[fresh], heard.key[fresh]
    top = np.argpartition(-chord, KEPT, axis=1)[:, :KEPT]
    top.sort(axis=1)
    rows = np.arange(len(top))[:, None]
    top = top[rows, np.argsort(-chord[rows, top], axis=1, kind="stable")]
    said = np.log(chord[rows, top].astype(np.float64) + 1e-6)
    numbers = np.flatnonzero(key.max(axis=0) > min(POSSIBLE, float(key.max())))
    numbers = numbers if len(numbers) else np.array([int(key.mean(axis=0).argmax())])
    mode, tonic = numbers % 2, numbers // 2
    root, kind = top // SIZE, top % SIZE
    relative = (root[:, None, :] - tonic[None, :, None]) % 12
    unigram = tables["unigram"][mode[None, :, None], relative, kind[:, None, :]]
    time = 2 * np.add.reduceat(frames.end - frames.start, fresh)
    score = w["chord"] * said[:, None, :] + w["key"] * np.log(key[:, numbers].astype(np.float64) + 1e-5)[:, :, None]
    score = (score + w["frame"] * unigram) * time[:, None, None]
    group = relative * GROUPS + GROUP_OF[kind][:, None, :]
    side = 12 * GROUPS
    place = ((mode[None, :, None] * side + group[:-1]) * side)[:, :, :, None] + group[1:, :, None, :]
    bigram = tables["bigram"].astype(np.float32).ravel().take(place)
    change, modulate = (score[fresh] for score in _changes(frames, heard.turn, w))
    begin = w["unigram"] * unigram
    stay = top[:-1, :, None] == top[1:, None, :]
    bigram *= np.float32(w["bigram"])
    bigram += (begin[1:] + change[1:, None, None]).astype(np.float32)[:, :, None, :]
    np.copyto(bigram, 0, where=stay[:, None])
    between = (tonic[None, :] - tonic[:, None]) % 12
    moves = w["step"] * tables["keys"][mode[:, None], between, mode[None, :]] + w["modulate"]
    np.fill_diagonal(moves, -1e9)
    return Lattice(numbers, copies, top, score, begin, bigram, moves, change, modulate)


def _changes(frames: Frames, turn: Floats, weights: dict[str, float]) -> tuple[Doubles, Doubles]:
    bar = frames.inside < 1e-4
    beat = np.mod(frames.inside, frames.beat_quarters) < 1e-4
    odds = np.log((turn + 1e-3) / (1.001 - turn)).astype(np.float64)
    change = (
        weights["change"] + weights["turn"] * odds + weights["metre"] * np.where(bar, 0.8, np.where(beat, 0.0, -1.2))
    )
    modulate = weights["key_metre"] * np.where(bar, 0.8, np.where(beat, 0.0, -2.0))
    return change, modulate


def best_path(lat: Lattice) -> tuple[Ints, Ints]:
    """Viterbi: chord (an index into the frame's candidates) and key (an index into the possible ones) of each frame.

    It walks from the front and from the end at once until the two meet in the middle.
    """
    n, middle = len(lat.score), len(lat.score) // 2
    enter = np.zeros((middle + 1, 2, len(lat.keys), KEPT))
    entry = lat.start + (lat.change + lat.modulate)[:, None, None]
    enter[:, 0] = entry[: middle + 1]
    through = _through(lat.steps, entry, middle, 0.0)
    moves = np.stack([lat.moves, lat.moves.T])
    score = np.stack([lat.score, lat.score[::-1]], axis=1)
    values, moved, several = score[: middle + 1].copy(), np.full_like(enter, -np.inf), len(lat.keys) > 1
    values[0, 0] += lat.start[0]
    largest = np.maximum.reduce
    for t in range(1, middle + 1):
        came = largest(values[t - 1, :, :, :, None] + through[t - 1], axis=2)
        stayed = came[:, :, :KEPT]
        if several:
            leap = largest(came[:, :, KEPT, None] + moves, axis=1)
            np.add(leap[:, :, None], enter[t], out=moved[t])
            stayed = np.maximum(moved[t], stayed)
        values[t] += stayed
    best = int((values[middle, 0] + values[n - 1 - middle, 1] - lat.score[middle]).argmax())
    lasts = middle, n - 1 - middle
    front, end = (
        _trace(values[: last + 1, k], moved[:, k], through[:, k], moves[k], best) for k, last in enumerate(lasts)
    )
    path = np.array([*front[::-1], *end[1:]], dtype=np.int64)
    return path % KEPT, path // KEPT


def _trace(values: Doubles, moved: Doubles, through: Doubles, moves: Doubles, state: int) -> list[int]:
    """The states of a walk, from the last back to the first.

    Args:
        values: Best sums up to each state, shape (t, k, KEPT).
        moved: The best of those that come from another key, same shape.
        through: As from `_through`, for this walk.
        moves: Sums for the moves between keys, shape (k, k).
        state: The last one, key * KEPT + chord.
    """
    path = [state]
    key, chord = divmod(state, KEPT)
    for t in range(len(values) - 1, 0, -1):
        before, step = values[t - 1], through[t - 1]
        came = before[key] + step[key, :, chord]
        origin = int(came.argmax())
        if moved[t, key, chord] > came[origin]:
            left = before + step[:, :, KEPT]
            key = int((left.max(axis=1) + moves[:, key]).argmax())
            origin = int(left[key].argmax())
        chord = origin
        path.append(key * KEPT + chord)
    return path


def posteriors(lat: Lattice) -> Doubles:
    """Forward and backward: the probability of each state, shape (n, k, KEPT)."""
    n, size = len(lat.score), len(lat.keys)
    local = np.exp(lat.score - lat.score.max(axis=(1, 2), keepdims=True))
    enter = np.ones((n, 2, size, KEPT))
    enter[:, 0] = np.exp(lat.start + (lat.change + lat.modulate)[:, None, None]) * local
    through = _through(np.exp(lat.steps) * local[1:, :, None, :], enter[:, 0], n - 1, 1.0)
    moves = np.exp(np.stack([lat.moves, lat.moves.T]))
    walked = np.ones((n, 2, size, KEPT))
    walked[0, 0] = local[0] * np.exp(lat.start[0])
    walked[0, 0] /= walked[0, 0].sum()
    rows, total, several = walked[:, :, :, None], np.add.reduce, size > 1
    for t in range(1, n):
        came, now = np.matmul(rows[t - 1], through[t - 1])[:, :, 0], walked[t]
        if several:
            np.multiply(np.matmul(came[:, None, :, KEPT], moves)[:, 0, :, None], enter[t], out=now)
            now += came[:, :, :KEPT]
        else:
            now[:] = came[:, :, :KEPT]
        if t % _EASED == 0:  # only shares count: this keeps the numbers from vanishing
            now /= total(now, axis=(1, 2), keepdims=True)
    share = walked[:, 0] * walked[::-1, 1]
    share /= share.sum(axis=(1, 2), keepdims=True)
    return share


def _through(steps: NDArray[np.floating], enter: Doubles, count: int, neutral: float) -> Doubles:
    """What carries two walks from frame to frame: from the front at [:, 0], from the end at [:, 1].

    Args:
        steps: What moves within a key add or multiply, shape (n - 1, k, KEPT, KEPT).
        enter: The same for the states entered from another key, shape (n, k, KEPT).
        count: Steps to walk.
        neutral: What changes nothing: 0 for sums, 1 for products.

    Returns:
        Shape (count, 2, k, KEPT, KEPT + 1); the last column gathers what may leave for another key.
    """
    out = np.empty((count, 2, steps.shape[1], KEPT, KEPT + 1))
    out[:, 0, :, :, :KEPT] = steps[:count]
    out[:, 0, :, :, KEPT] = neutral
    out[:, 1, :, :, :KEPT] = steps[::-1][:count].swapaxes(2, 3)
    out[:, 1, :, :, KEPT] = enter[:0:-1][:count]
    return out


def decode(frames: Frames, heard: Heard, tables: dict[str, Doubles], weights: dict[str, float]) -> Path:
    """Read chords and keys together; the arguments are those of `lattice`."""
    lat = lattice(frames, heard, tables, weights)
    which, keys = best_path(lat)
    share = posteriors(lat)
    rows = np.arange(len(which))
    return Path(
        chord=lat.chords[rows, which][lat.copies],
        key=lat.keys[keys][lat.copies],
        chord_share=share.sum(axis=1)[rows, which][lat.copies],
        key_share=share.sum(axis=2)[rows, keys][lat.copies],
    )
