"""Fits networks of strands: plain numpy, Adam, dropout, averaged weights. The same seed gives the same weights.

A network may learn from people's labels and from what other networks hear in the same pieces (G. Hinton and others,
*Distilling the Knowledge in a Neural Network*, 2015; recalled): these say which other chords are near.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.bench.training import Adam
from tutor.analysis.model import softmax
from tutor.analysis.slices import Floats, Ints
from tutor.analysis.strands import BASS_OUT, CHORD, KEY, MEMBER_OUT, OUTPUTS, Strands
from tutor.analysis.vocabulary import BASS, MEMBERS, SIZE

AUXILIARY = ("turn", "turn_bias")
"""Weights of a task that only helps to learn: whether the harmony changes at a frame."""
_ROOT, _CLASS = np.divmod(np.arange(12 * SIZE), SIZE)
_BASSES: Floats = ((_ROOT + BASS[_CLASS])[:, None] % 12 == np.arange(12)).astype(np.float32)
"""The bass of each chord as one-hot rows, shape (12 * SIZE, 12)."""
_MEMBERS: Floats = MEMBERS[_CLASS[:, None], (np.arange(12) - _ROOT[:, None]) % 12]
"""The members of each chord by chroma, shape (12 * SIZE, 12)."""


@dataclass(frozen=True, slots=True)
class StrandPlan:
    """How to fit it."""

    hidden: int = 64
    layers: int = 3
    epochs: int = 20
    dropout: float = 0.3
    input_dropout: float = 0.3
    decay: float = 0.05
    rate: float = 2e-3
    smoothing: float = 0.1
    """Share of each chord label that is spread over all chords: analysts are not always right either."""
    taught: float = 0.5
    """Share of what is learned from other networks where a piece has been heard by some."""
    memory: float = 0.99
    """How much of the averaged weights each step keeps."""
    frames: int = 64
    """Frames of one excerpt."""
    excerpts: int = 8
    """Excerpts of one step."""
    bass: float = 0.5
    member: float = 0.5
    key: float = 0.3
    turn: float = 0.2


@dataclass(frozen=True, slots=True)
class Taught:
    """One piece to learn from, n frames."""

    values: NDArray[Any]
    """Features, shape (n, 12, features)."""
    chord: Ints
    """root * SIZE + class; -1 is left out."""
    key: Ints
    """2 * tonic + mode; -1 is left out."""
    weight: Floats
    heard: NDArray[Any] | None = None
    """Shares of the chords that other networks hear, shape (n, 12 * SIZE)."""

    def target(self, rows: slice, taught: float) -> Floats:
        """Share of each chord that some frames are to learn, shape (rows, 12 * SIZE); zeros without a label."""
        chord = self.chord[rows]
        out: Floats = (chord[:, None] == np.arange(12 * SIZE)).astype(np.float32)
        if self.heard is not None:
            out += np.float32(taught) * (self.heard[rows] - out) * (chord >= 0)[:, None]
        return out


@dataclass(slots=True)
class _Batch:
    values: Floats
    target: Floats
    """Share of each chord, shape (excerpts, frames, 12 * SIZE)."""
    chord: Ints
    key: Ints
    weight: Floats
    inside: Floats


def fit_strands(pieces: Sequence[Taught], plan: StrandPlan, seed: int) -> Strands:
    """Fit a network on pieces."""
    random = np.random.default_rng(seed)
    weights = _fresh(pieces[0].values.shape[2], plan, random)
    sizes = np.array([len(p.weight) for p in pieces])
    steps = plan.epochs * int(sizes.sum()) // (plan.frames * plan.excerpts)
    adam = Adam(list(weights.values()), plan.rate, steps, [plan.decay] * len(weights))
    mean = {name: value.copy() for name, value in weights.items()}
    for step in range(steps):
        batch = _draw(pieces, sizes / sizes.sum(), plan, random)
        slopes = _slopes(weights, batch, plan, random)
        norm = np.sqrt(sum(float(np.vdot(s, s)) for s in slopes.values()))
        adam.move([slopes[name] * np.float32(min(1.0, 1.0 / max(norm, 1e-9))) for name in weights])
        keep = np.float32(min(plan.memory, (1 + step) / (10 + step)))
        for name, value in weights.items():
            mean[name] += (1 - keep) * (value - mean[name])
    return Strands.of({name: value.astype(np.float16) for name, value in mean.items() if name not in AUXILIARY})


def _fresh(features: int, plan: StrandPlan, random: np.random.Generator) -> dict[str, Floats]:
    h = plan.hidden

    def matrix(rows: int, columns: int) -> Floats:
        reach = 1 / np.sqrt(rows)
        return random.uniform(-reach, reach, (rows, columns)).astype(np.float32)

    zeros, ones = np.zeros(h, dtype=np.float32), np.ones(h, dtype=np.float32)
    out = {
        "first": matrix(features, h), "first_bias": zeros.copy(), "pool": matrix(h, h), "gain": ones.copy(),
        "shift": zeros.copy(), "out": matrix(h, OUTPUTS), "out_bias": np.zeros(OUTPUTS, dtype=np.float32),
        "turn": matrix(2 * h, 1)[:, 0].copy(), "turn_bias": np.zeros(1, dtype=np.float32),
    }  # fmt: skip
    for i in range(plan.layers):
        out |= {
            f"{i}.near": matrix(3 * h, h), f"{i}.pool": matrix(h, h), f"{i}.bias": zeros.copy(),
            f"{i}.gain": ones.copy(), f"{i}.shift": zeros.copy(), f"{i}.mix": matrix(h, h),
            f"{i}.mix_bias": zeros.copy(),
        }  # fmt: skip
    return out


def _draw(
    pieces: Sequence[Taught], share: NDArray[np.float64], plan: StrandPlan, random: np.random.Generator
) -> _Batch:
    """Excerpts of pieces, longer pieces more often; what lies outside a piece is empty."""
    shape = plan.excerpts, plan.frames
    features = pieces[0].values.shape[2]
    batch = _Batch(
        np.zeros((*shape, 12, features), dtype=np.float32), np.zeros((*shape, 12 * SIZE), dtype=np.float32),
        np.full(shape, -1), np.full(shape, -1), np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32),
    )  # fmt: skip
    half = plan.frames // 2
    for b, i in enumerate(random.choice(len(pieces), plan.excerpts, p=share)):
        piece = pieces[i]
        n = len(piece.weight)
        start = int(random.integers(-half, max(1, n - half)))
        low, high = max(0, start), min(n, start + plan.frames)
        here = slice(low - start, high - start)
        batch.values[b, here] = piece.values[low:high]
        batch.target[b, here] = piece.target(slice(low, high), plan.taught)
        batch.chord[b, here], batch.key[b, here] = piece.chord[low:high], piece.key[low:high]
        batch.weight[b, here], batch.inside[b, here] = piece.weight[low:high], 1
    return batch


class _Level:
    """Layer normalization that remembers what its slope needs."""

    def __init__(self, values: Floats, gain: Floats, shift: Floats) -> None:
        centred = values - values.mean(axis=-1, keepdims=True)
        self.spread = np.sqrt((centred * centred).mean(axis=-1, keepdims=True) + np.float32(1e-5))
        self.even = centred / self.spread
        self.gain = gain
        self.out = self.even * gain + shift

    def back(self, slope: Floats) -> tuple[Floats, Floats, Floats]:
        """Slopes of the values, the gain and the shift."""
        size = slope.shape[-1]
        gain = (slope * self.even).reshape(-1, size).sum(axis=0)
        shift = slope.reshape(-1, size).sum(axis=0)
        inner = slope * self.gain
        inner -= inner.mean(axis=-1, keepdims=True) + self.even * (inner * self.even).mean(axis=-1, keepdims=True)
        return inner / self.spread, gain, shift


def _dropped(shape: tuple[int, ...], share: float, random: np.random.Generator) -> Floats:
    mask = (random.random(shape, dtype=np.float32) > share).astype(np.float32)
    mask /= np.float32(1 - share)
    return mask


@dataclass(slots=True)
class _Step:
    """What one layer did, for the way back."""

    wide: Floats
    mean: Floats
    even: _Level
    active: Floats
    mask: Floats


@dataclass(slots=True)
class _Pass:
    """What the network did, for the way back."""

    values: Floats
    raw: Floats
    first: _Level
    first_mask: Floats
    steps: list[_Step]
    hidden: Floats
    inside: Floats

    @property
    def pooled(self) -> Floats:
        """Mean and largest of the strands."""
        return np.concatenate([self.hidden.mean(axis=2), self.hidden.max(axis=2)], axis=2)


def _slopes(w: dict[str, Floats], batch: _Batch, plan: StrandPlan, random: np.random.Generator) -> dict[str, Floats]:
    """Slope of the loss in every weight: forward and back."""
    went = _forward(w, batch, plan, random)
    scores = _times(went.hidden, w["out"]) + w["out_bias"]
    pooled = went.pooled
    score_slope, turn_slope = _loss(scores, pooled @ w["turn"] + w["turn_bias"], batch, plan)
    out = {
        "out": _outer(went.hidden, score_slope), "out_bias": _summed(score_slope),
        "turn": np.einsum("bt,bth->h", turn_slope, pooled), "turn_bias": turn_slope.sum().reshape(1),
    }  # fmt: skip
    slope = _times(score_slope, w["out"].T)
    size = plan.hidden
    slope += (turn_slope[:, :, None] * w["turn"][:size] / 12)[:, :, None]
    top = went.hidden.argmax(axis=2)[:, :, None]
    largest = np.take_along_axis(slope, top, axis=2) + (turn_slope[:, :, None] * w["turn"][size:])[:, :, None]
    np.put_along_axis(slope, top, largest, axis=2)
    return out | _backward(w, went, slope, plan)


def _forward(w: dict[str, Floats], batch: _Batch, plan: StrandPlan, random: np.random.Generator) -> _Pass:
    inside = batch.inside[:, :, None, None]
    values = batch.values * _dropped(batch.values.shape, plan.input_dropout, random)
    raw = _times(values, w["first"]) + w["first_bias"]
    pooled = np.maximum(raw, 0).mean(axis=2) @ w["pool"]
    first = _Level(raw + pooled[:, :, None], w["gain"], w["shift"])
    mask = _dropped(raw.shape, plan.dropout, random) * (first.out > 0) * inside
    went = _Pass(values, raw, first, mask, [], first.out * mask, inside)
    for i in range(plan.layers):
        wide, mean = around(went.hidden, 2**i), went.hidden.mean(axis=2)
        near = _times(wide, w[f"{i}.near"]) + w[f"{i}.bias"] + (mean @ w[f"{i}.pool"])[:, :, None]
        even = _Level(near, w[f"{i}.gain"], w[f"{i}.shift"])
        active = np.maximum(even.out, 0)
        mask = _dropped(active.shape, plan.dropout, random) * inside
        went.steps.append(_Step(wide, mean, even, active, mask))
        went.hidden = went.hidden * inside + (_times(active, w[f"{i}.mix"]) + w[f"{i}.mix_bias"]) * mask
    return went


def _backward(w: dict[str, Floats], went: _Pass, slope: Floats, plan: StrandPlan) -> dict[str, Floats]:
    """Slopes of the weights below the outputs, from the slope of the last hidden values."""
    out: dict[str, Floats] = {}
    for i in range(plan.layers - 1, -1, -1):
        step = went.steps[i]
        inner = slope * step.mask
        out[f"{i}.mix"], out[f"{i}.mix_bias"] = _outer(step.active, inner), _summed(inner)
        inner = _times(inner, w[f"{i}.mix"].T) * (step.active > 0)
        inner, out[f"{i}.gain"], out[f"{i}.shift"] = step.even.back(inner)
        out[f"{i}.near"], out[f"{i}.bias"] = _outer(step.wide, inner), _summed(inner)
        pooled = inner.sum(axis=2)
        out[f"{i}.pool"] = np.einsum("bth,btk->hk", step.mean, pooled)
        slope = slope * went.inside + _gathered(_times(inner, w[f"{i}.near"].T), 2**i, plan.hidden)
        slope += (pooled @ w[f"{i}.pool"].T / 12)[:, :, None]
    inner, out["gain"], out["shift"] = went.first.back(slope * went.first_mask)
    pooled = inner.sum(axis=2)
    out["pool"] = np.einsum("bth,btk->hk", np.maximum(went.raw, 0).mean(axis=2), pooled)
    inner += (pooled @ w["pool"].T / 12)[:, :, None] * (went.raw > 0)
    out["first"], out["first_bias"] = _outer(went.values, inner), _summed(inner)
    return out


def _summed(slope: Floats) -> Floats:
    total: Floats = slope.reshape(-1, slope.shape[-1]).sum(axis=0)
    return total


def _times(values: Floats, weight: Floats) -> Floats:
    return (values.reshape(-1, values.shape[-1]) @ weight).reshape(*values.shape[:-1], weight.shape[1])


def around(values: Floats, reach: int) -> Floats:
    """Each frame beside the one ``reach`` before and the one ``reach`` after; zeros beyond the ends.

    Args:
        values: Shape (songs, n, 12, h).
        reach: Frames.

    Returns:
        Shape (songs, n, 12, 3 h).
    """
    songs, n, strands, size = values.shape
    out = np.zeros((songs, n, strands, 3 * size), dtype=values.dtype)
    out[..., size : 2 * size] = values
    if reach < n:
        out[:, reach:, :, :size] = values[:, :-reach]
        out[:, :-reach, :, 2 * size :] = values[:, reach:]
    return out


def _outer(values: Floats, slope: Floats) -> Floats:
    return values.reshape(-1, values.shape[-1]).T @ slope.reshape(-1, slope.shape[-1])


def _gathered(wide: Floats, reach: int, size: int) -> Floats:
    """What `around` has handed out, gathered back into the frames it came from."""
    out = wide[..., size : 2 * size].copy()
    if reach < wide.shape[1]:
        out[:, :-reach] += wide[:, reach:, :, :size]
        out[:, reach:] += wide[:, :-reach, :, 2 * size :]
    return out


def _loss(scores: Floats, turn: Floats, batch: _Batch, plan: StrandPlan) -> tuple[Floats, Floats]:
    """Slopes of the loss in the scores and in the log-odds of a change."""
    out = np.zeros_like(scores)
    b, t = np.nonzero((batch.chord >= 0) & (batch.weight > 0))
    target = batch.target[b, t]
    share = (batch.weight[b, t] / batch.weight[b, t].sum()).astype(np.float32)[:, None]
    said = softmax(scores[b, t][:, :, CHORD].reshape(len(b), -1))
    said -= (1 - plan.smoothing) * target + np.float32(plan.smoothing / (12 * SIZE))
    bass = softmax(scores[b, t][:, :, BASS_OUT]) - target @ _BASSES
    member = 1 / (1 + np.exp(-scores[b, t][:, :, MEMBER_OUT])) - target @ _MEMBERS
    at = np.zeros((len(b), 12, OUTPUTS), dtype=np.float32)
    at[:, :, CHORD] = (said * share).reshape(len(b), 12, SIZE)
    at[:, :, BASS_OUT] = plan.bass * bass * share
    at[:, :, MEMBER_OUT] = plan.member * member * share
    out[b, t] = at
    b, t = np.nonzero((batch.key >= 0) & (batch.weight > 0))
    share = (plan.key * batch.weight[b, t] / batch.weight[b, t].sum()).astype(np.float32)[:, None]
    home = softmax(scores[b, t][:, :, KEY].reshape(len(b), -1))
    home[np.arange(len(b)), batch.key[b, t]] -= 1
    out[b, t, :, KEY] = (home * share).reshape(len(b), 12, 2)
    return out, _turn_loss(turn, batch.chord, plan)


def _turn_loss(turn: Floats, chord: Ints, plan: StrandPlan) -> Floats:
    known = np.zeros(chord.shape, dtype=bool)
    known[:, 1:] = (chord[:, 1:] >= 0) & (chord[:, :-1] >= 0)
    changed = np.zeros(chord.shape, dtype=np.float32)
    changed[:, 1:] = chord[:, 1:] != chord[:, :-1]
    slope = np.where(known, 1 / (1 + np.exp(-np.clip(turn, -30, 30))) - changed, 0)
    return (slope * np.float32(plan.turn / max(1, int(known.sum())))).astype(np.float32)
