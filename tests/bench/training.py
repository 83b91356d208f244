"""Fits the perceptrons: plain numpy, Adam, dropout, a cosine schedule. The same seed gives the same weights."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.model import Perceptron, softmax
from tutor.analysis.slices import Floats, Ints
from tutor.analysis.vocabulary import BASS, MEMBERS, SIZE


@dataclass(frozen=True, slots=True)
class Plan:
    """How to fit one perceptron."""

    hidden: tuple[int, ...]
    epochs: int
    dropout: float
    decay: float = 1e-3
    rate: float = 2e-3
    batch: int = 256


class Adam:
    """Moves parameters down their slopes: Adam with decay of the weights, a short warm-up and a cosine to the end."""

    def __init__(self, parameters: list[Floats], rate: float, steps: int, decays: list[float]) -> None:
        self.parameters, self.rate, self.steps, self.decays, self.step = parameters, rate, steps, decays, 0
        self.first = [np.zeros_like(p) for p in parameters]
        self.second = [np.zeros_like(p) for p in parameters]

    def move(self, slopes: list[Floats]) -> None:
        """One step, in place."""
        self.step += 1
        rate = self.rate * 0.5 * (1 + np.cos(np.pi * self.step / self.steps)) * min(1.0, self.step / 50)
        for i, (value, slope) in enumerate(zip(self.parameters, slopes, strict=True)):
            first, second = self.first[i], self.second[i]
            first *= 0.9
            first += 0.1 * slope
            second *= 0.999
            second += 0.001 * slope * slope
            mean = first / (1 - 0.9**self.step)
            spread = np.sqrt(second / (1 - 0.999**self.step)) + 1e-8
            decay = self.decays[i] * value if self.decays[i] else 0.0
            value -= np.asarray(rate * (mean / spread + decay), dtype=np.float32)


class _Trainer:
    """Weights, moments and the forward and backward passes."""

    def __init__(self, sizes: list[int], plan: Plan, steps: int, seed: int) -> None:
        self.random = np.random.default_rng(seed)
        self.weights = [
            (self.random.standard_normal((a, b)) * np.sqrt(2 / a)).astype(np.float32)
            for a, b in itertools.pairwise(sizes)
        ]
        self.weights[-1] *= np.float32(0.3)
        self.biases = [np.zeros(b, dtype=np.float32) for b in sizes[1:]]
        self.plan = plan
        decays = [plan.decay] * len(self.weights) + [0.0] * len(self.biases)
        self.adam = Adam(self.weights + self.biases, plan.rate, steps, decays)

    def forward(self, rows: Floats) -> tuple[Floats, list[Floats], list[Floats]]:
        kept, masks = [rows], []
        for i, (weight, bias) in enumerate(zip(self.weights, self.biases, strict=True)):
            rows = rows @ weight + bias
            if i < len(self.weights) - 1:
                np.maximum(rows, 0, out=rows)
                mask = (self.random.random(rows.shape, dtype=np.float32) > self.plan.dropout).astype(np.float32)
                mask /= np.float32(1 - self.plan.dropout)
                rows *= mask
                masks.append(mask)
                kept.append(rows)
        return rows, kept, masks

    def backward(self, slope: Floats, kept: list[Floats], masks: list[Floats]) -> None:
        last = len(self.weights)
        weights: list[Floats] = [slope] * last
        biases: list[Floats] = [slope] * last
        for i in range(last - 1, -1, -1):
            weights[i], biases[i] = kept[i].T @ slope, slope.sum(axis=0)
            if i:
                slope = slope @ self.weights[i].T
                slope *= kept[i] > 0
                slope *= masks[i - 1]
        self.adam.move(weights + biases)

    def done(self) -> Perceptron:
        """The fitted perceptron, at the precision in which it is stored."""
        return Perceptron(
            tuple(w.astype(np.float16).astype(np.float32) for w in self.weights),
            tuple(b.astype(np.float16).astype(np.float32) for b in self.biases),
        )


def fit_chords(values: NDArray[Any], chord: Ints, weight: Floats, plan: Plan, seed: int) -> Perceptron:
    """Fit the chord model: root with class, bass, and members, together.

    Args:
        values: Features, shape (n, 12, features).
        chord: root * SIZE + class, shape (n,); -1 is left out.
        weight: Weight of each frame, shape (n,).
        plan: Size and schedule.
        seed: Seed of everything random.
    """
    known = np.flatnonzero((chord >= 0) & (weight > 0))
    root, kind = chord // SIZE, chord % SIZE
    bass = (root + BASS[kind]) % 12
    member = np.take_along_axis(MEMBERS[kind], (np.arange(12)[None] - root[:, None]) % 12, axis=1)

    def slope(scores: Floats, pick: Ints, share: Floats) -> Floats:
        out = np.empty_like(scores)
        rows = np.arange(len(pick))
        chords = softmax(scores[:, :, :SIZE].reshape(len(pick), -1))
        chords[rows, chord[pick]] -= 1
        out[:, :, :SIZE] = chords.reshape(len(pick), 12, SIZE)
        basses = softmax(scores[:, :, SIZE])
        basses[rows, bass[pick]] -= 1
        out[:, :, SIZE] = 0.5 * basses
        out[:, :, SIZE + 1] = 0.5 * (1 / (1 + np.exp(-scores[:, :, SIZE + 1])) - member[pick])
        out *= share[:, None, None]
        return out

    return _fit(values, known, weight, SIZE + 2, plan, seed, slope)


def fit_classes(values: NDArray[Any], label: Ints, weight: Floats, outputs: int, plan: Plan, seed: int) -> Perceptron:
    """Fit one softmax over candidates times outputs.

    Args:
        values: Features, shape (n, candidates, features).
        label: candidate * outputs + output, shape (n,); -1 is left out.
        weight: Weight of each row, shape (n,).
        outputs: Outputs for each candidate.
        plan: Size and schedule.
        seed: Seed of everything random.
    """
    known = np.flatnonzero((label >= 0) & (weight > 0))

    def slope(scores: Floats, pick: Ints, share: Floats) -> Floats:
        out = softmax(scores)
        out[np.arange(len(pick)), label[pick]] -= 1
        out *= share[:, None]
        return out.reshape(scores.shape)

    return _fit(values, known, weight, outputs, plan, seed, slope)


def fit_share(values: Floats, label: Ints, weight: Floats, ridge: float) -> Perceptron:
    """Fit a logistic regression by Newton's method; its one score is the log-odds of label 1.

    Args:
        values: Shape (n, features); each is brought to one scale first.
        label: 0 or 1, shape (n,).
        weight: Shape (n,).
        ridge: Weight of the squared coefficients.
    """
    mean, spread = values.mean(axis=0), values.std(axis=0) + np.float32(1e-3)
    rows = np.concatenate([(values - mean) / spread, np.ones((len(values), 1))], axis=1).astype(np.float64)
    penalty = np.append(np.full(values.shape[1], ridge), 1e-6)
    line = np.zeros(rows.shape[1])
    for _ in range(50):
        share = 1 / (1 + np.exp(-np.clip(rows @ line, -30, 30)))
        slope = rows.T @ (weight * (label - share)) - penalty * line
        bend = (rows * (weight * share * (1 - share))[:, None]).T @ rows + np.diag(penalty)
        line += np.linalg.solve(bend, slope)
    first = (line[:-1] / spread).astype(np.float32)[:, None]
    return Perceptron((first,), (np.array([line[-1]], dtype=np.float32) - mean @ first,))


def _fit(
    values: NDArray[Any], known: Ints, weight: Floats, outputs: int, plan: Plan, seed: int, slope: Any
) -> Perceptron:
    _, candidates, features = values.shape
    batches = len(known) // plan.batch
    trainer = _Trainer([features, *plan.hidden, outputs], plan, plan.epochs * batches, seed)
    for _ in range(plan.epochs):
        order = trainer.random.permutation(known)
        for i in range(batches):
            pick = order[i * plan.batch : (i + 1) * plan.batch]
            rows = values[pick].reshape(-1, features).astype(np.float32)
            scores, kept, masks = trainer.forward(rows)
            share = (weight[pick] / weight[pick].sum()).astype(np.float32)
            out = slope(scores.reshape(len(pick), candidates, outputs), pick, share)
            trainer.backward(out.reshape(-1, outputs), kept, masks)
    return trainer.done()
