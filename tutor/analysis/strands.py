"""A network that hears a song in its course: twelve strands, one for each candidate tone.

All strands share one set of weights; every layer hands each strand its own frames before and after, and the mean of all
twelve. From it come three judgements of the chord (see `tutor.analysis.listen`) and the shares of the keys.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.slices import Floats
from tutor.analysis.vocabulary import SIZE

CHORD = slice(0, SIZE)
"""Outputs that judge the tone as the root of each class."""
BASS_OUT = SIZE
"""The output that judges it as the bass."""
MEMBER_OUT = SIZE + 1
"""The output that judges it as a member of the chord."""
KEY = slice(SIZE + 2, SIZE + 4)
"""Outputs that judge it as the tonic of major and of minor."""
OUTPUTS = SIZE + 4


@dataclass(frozen=True, slots=True)
class Layer:
    """One step through time; layer i looks 2**i frames back and ahead."""

    near: Floats
    """From the frame before, the frame and the frame after, shape (3 h, h)."""
    pool: Floats
    """From the mean of the strands, shape (h, h)."""
    bias: Floats
    gain: Floats
    """With ``shift`` what follows the levelling, shape (h,)."""
    shift: Floats
    mix: Floats
    """Shape (h, h)."""
    mix_bias: Floats


@dataclass(frozen=True, slots=True)
class _Step:
    """A layer as it is computed: its levelling worked into the weights before and after it.

    What the weights give has mean 0 once each of their rows has. A rectifier after a stretching and a shift is the
    greater of the value and a floor, before a stretching and a shift that the next weights take over.
    """

    near: Floats
    pool: Floats
    bias: Floats
    floor: Floats
    mix: Floats
    mix_bias: Floats

    @classmethod
    def of(cls, layer: Layer) -> _Step:
        """Prepare a layer."""
        up = np.where(layer.gain < 0, -1, 1)
        stretch = np.maximum(np.abs(layer.gain), 1e-6)
        before = [(w - w.mean(axis=-1, keepdims=True)) * up for w in (layer.near, layer.pool, layer.bias)]
        after = [-layer.shift / stretch, stretch[:, None] * layer.mix, layer.shift @ layer.mix + layer.mix_bias]
        return cls(*(w.astype(np.float32) for w in before + after))

    def __call__(self, hidden: Floats, around: Floats) -> Floats:
        """What becomes of the values of n frames, shape (12, n, h).

        Args:
            hidden: The values.
            around: Those of the frame before, the frame and the frame after, shape (12, n, 3 h).
        """
        strands, n, size = hidden.shape
        more: Floats = around.reshape(strands * n, 3 * size) @ self.near
        more.reshape(hidden.shape)[:] += hidden.mean(axis=0) @ self.pool + self.bias
        more *= _one_by_spread(more)
        np.maximum(more, self.floor, out=more)
        out = (more @ self.mix).reshape(hidden.shape)
        out += self.mix_bias
        out += hidden
        return out


@dataclass(frozen=True, slots=True, eq=False)
class Strands:
    """The weights, for h hidden values."""

    first: Floats
    """Shape (features, h)."""
    first_bias: Floats
    pool: Floats
    """Shape (h, h)."""
    gain: Floats
    shift: Floats
    out: Floats
    """Shape (h, OUTPUTS)."""
    out_bias: Floats
    layers: tuple[Layer, ...] = field(default=())

    def begin(self, *values: Floats) -> Floats:
        """First values of some frames, which need not know of each other.

        Args:
            values: Features, each of shape (n, 12, some); together as many as the first weights have rows.

        Returns:
            Shape (n, 12, h).
        """
        row = 0
        first = np.zeros((*values[0].shape[:2], len(self.first_bias)), dtype=np.float32)
        for part in values:
            first += part @ self.first[row : row + part.shape[2]]
            row += part.shape[2]
        return self.settle(np.swapaxes(first + self.first_bias, 0, 1)).swapaxes(0, 1)

    def settle(self, first: Floats) -> Floats:
        """First values from what the first weights give.

        Args:
            first: Strand by strand, shape (12, n, h).

        Returns:
            Same shape.
        """
        hidden = first + np.maximum(first, 0).mean(axis=0) @ self.pool
        return np.maximum(level(hidden, self.gain, self.shift), 0)

    def run(self, hidden: Floats) -> Floats:
        """Scores of each frame of a song.

        Args:
            hidden: From `begin`, all frames in order.

        Returns:
            Shape (n, 12, OUTPUTS): scores before the softmax.
        """
        n, strands, size = hidden.shape
        hidden = np.ascontiguousarray(hidden.swapaxes(0, 1))
        around = np.empty((strands, n, 3 * size), dtype=np.float32)
        for i, step in enumerate(_steps(self)):
            reach = min(2**i, n)
            around[:, :reach, :size] = 0
            around[:, reach:, :size] = hidden[:, : n - reach]
            around[:, :, size : 2 * size] = hidden
            around[:, : n - reach, 2 * size :] = hidden[:, reach:]
            around[:, n - reach :, 2 * size :] = 0
            hidden = step(hidden, around)
        scores: Floats = hidden.reshape(strands * n, size) @ self.out
        scores += self.out_bias
        return scores.reshape(strands, n, -1).swapaxes(0, 1)

    def arrays(self) -> dict[str, Floats]:
        """The weights by name, as `of` takes them."""
        named = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "layers"}
        for i, layer in enumerate(self.layers):
            named.update({f"{i}.{f.name}": getattr(layer, f.name) for f in fields(layer)})
        return named

    @classmethod
    def of(cls, named: dict[str, NDArray[Any]]) -> Strands:
        """From weights by name.

        Raises:
            ValueError: weights are missing or not known.
        """
        own = {f.name: np.asarray(named[f.name], dtype=np.float32) for f in fields(cls) if f.name in named}
        layers: list[Layer] = []
        while f"{len(layers)}.near" in named:
            i = len(layers)
            layers.append(Layer(**{f.name: np.asarray(named[f"{i}.{f.name}"], np.float32) for f in fields(Layer)}))
        if len(own) + len(layers) * len(fields(Layer)) != len(named) or len(own) != len(fields(cls)) - 1:
            raise ValueError("these are not the weights of a network of strands")
        return cls(**own, layers=tuple(layers))


@lru_cache(maxsize=16)
def _steps(net: Strands) -> tuple[_Step, ...]:
    return tuple(_Step.of(layer) for layer in net.layers)


def level(values: Floats, gain: Floats, shift: Floats) -> Floats:
    """Bring each strand of each frame to mean 0 and spread 1, then stretch and move it (layer normalization)."""
    size = values.shape[-1]
    flat = values.reshape(-1, size)
    flat = flat - (flat @ np.full(size, 1 / size, dtype=np.float32))[:, None]
    flat *= _one_by_spread(flat)
    flat *= gain
    flat += shift
    return flat.reshape(values.shape)


def _one_by_spread(rows: Floats) -> Floats:
    """One by the spread of each row, whose mean is 0; shape (rows, 1)."""
    spread: Floats = np.sqrt(np.einsum("nh,nh->n", rows, rows) / np.float32(rows.shape[1]) + np.float32(1e-5))
    np.divide(1, spread, out=spread)
    return spread[:, None]
