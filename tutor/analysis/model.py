"""The fitted model: small networks, trees and tables of counts, read from ``harmony_model.npz``.

``python -m tests.bench.fit_harmony`` writes the file; its entry ``about`` says from what and with what result.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.slices import Floats
from tutor.analysis.strands import Strands
from tutor.analysis.trees import NO_TREES, Trees

FILE = "harmony_model.npz"


@dataclass(frozen=True, slots=True, eq=False)
class Perceptron:
    """Layers with a rectifier between them."""

    weights: tuple[Floats, ...]
    """Matrices, shape (inputs, outputs)."""
    biases: tuple[Floats, ...]

    def __call__(self, values: Floats) -> Floats:
        """Scores before the softmax, shape (rows, outputs)."""
        first = values @ self.weights[0]
        first += self.biases[0]
        return self.after(first)

    def after(self, first: Floats) -> Floats:
        """The scores from what the first layer gives, shape (rows, outputs); ``first`` is written over."""
        values = first
        for weight, bias in zip(self.weights[1:], self.biases[1:], strict=True):
            np.maximum(values, 0, out=values)
            values = values @ weight
            values += bias
        return values


@lru_cache(maxsize=16)
def stacked(nets: tuple[Perceptron, ...]) -> Perceptron:
    """Perceptrons of one shape as one, which gives the scores of each: shape (nets, rows, outputs)."""
    layers = range(len(nets[0].weights))
    return Perceptron(
        tuple(np.stack([net.weights[i] for net in nets]) for i in layers),
        tuple(np.stack([net.biases[i] for net in nets])[:, None] for i in layers),
    )


@dataclass(frozen=True, slots=True)
class Model:
    """Everything that was fitted."""

    nets: dict[str, tuple[Perceptron, ...]]
    """Perceptrons by name; several of one name vote together."""
    tables: dict[str, NDArray[np.float64]]
    """Logarithms of counts, and the calibration."""
    weights: dict[str, float]
    """Weights of the decoding."""
    about: dict[str, Any]
    """Provenance: data, licence, date of the fit, size."""
    strands: tuple[Strands, ...] = ()
    """Networks that hear the song in its course; several vote together."""
    trees: Trees = NO_TREES
    """What judges, beside the perceptrons 'sure', whether a reading is right."""

    def dumps(self) -> bytes:
        """The model as bytes of a file that `loads` reads."""
        arrays: dict[str, NDArray[Any]] = {}
        for name, nets in self.nets.items():
            for i, net in enumerate(nets):
                for j, (weight, bias) in enumerate(zip(net.weights, net.biases, strict=True)):
                    arrays[f"net.{name}.{i}.{j}.w"] = weight.astype(np.float16)
                    arrays[f"net.{name}.{i}.{j}.b"] = bias.astype(np.float16)
        for i, strand in enumerate(self.strands):
            arrays |= {f"strand.{i}.{name}": value.astype(np.float16) for name, value in strand.arrays().items()}
        if len(self.trees.asked):
            arrays |= {f"trees.{name}": value for name, value in self.trees.arrays().items()}
        for name, table in self.tables.items():
            arrays[f"table.{name}"] = table.astype(np.float32)
        text = json.dumps({"weights": self.weights, "about": self.about}, sort_keys=True)
        arrays["text"] = np.frombuffer(text.encode(), dtype=np.uint8)
        buffer = io.BytesIO()
        np.savez_compressed(buffer, allow_pickle=False, **arrays)
        return buffer.getvalue()

    @classmethod
    def loads(cls, data: bytes) -> Model:
        """Read what `dumps` wrote.

        Raises:
            ValueError: the bytes are no model.
        """
        try:
            with np.load(io.BytesIO(data), allow_pickle=False) as archive:
                arrays = {name: archive[name] for name in archive.files}
            text = json.loads(arrays.pop("text").tobytes())
        except (KeyError, OSError, ValueError) as error:
            raise ValueError(f"not a harmony model: {error}") from error
        tables = {name: table.astype(np.float64) for name, table in _under(arrays, "table.").items()}
        grown = _under(arrays, "trees.")
        trees = Trees.of(grown) if grown else NO_TREES
        return cls(_nets(arrays), tables, text["weights"], text["about"], _strands(arrays), trees)


def _under(arrays: Mapping[str, NDArray[Any]], start: str) -> dict[str, NDArray[Any]]:
    return {name.removeprefix(start): value for name, value in arrays.items() if name.startswith(start)}


def _strands(arrays: Mapping[str, NDArray[Any]]) -> tuple[Strands, ...]:
    numbers = sorted({int(name.split(".")[0]) for name in _under(arrays, "strand.")})
    return tuple(Strands.of(_under(arrays, f"strand.{i}.")) for i in numbers)


def _nets(arrays: dict[str, NDArray[Any]]) -> dict[str, tuple[Perceptron, ...]]:
    layers: dict[str, dict[int, dict[int, tuple[Floats, Floats]]]] = {}
    for key in arrays:
        if key.startswith("net.") and key.endswith(".w"):
            name, net, layer = key.removeprefix("net.").removesuffix(".w").rsplit(".", 2)
            pair = arrays[key].astype(np.float32), arrays[key[:-1] + "b"].astype(np.float32)
            layers.setdefault(name, {}).setdefault(int(net), {})[int(layer)] = pair
    return {
        name: tuple(
            Perceptron(tuple(w for w, _ in ordered), tuple(b for _, b in ordered))
            for ordered in ([one[j] for j in sorted(one)] for _, one in sorted(nets.items()))
        )
        for name, nets in layers.items()
    }


def softmax(scores: Floats) -> Floats:
    """Shares over everything but the first axis, shape (n, outputs)."""
    flat: Floats = scores.reshape(len(scores), -1)
    flat = flat - flat.max(axis=1, keepdims=True)
    np.exp(flat, out=flat)
    flat /= flat.sum(axis=1, keepdims=True)
    return flat


def judge(nets: tuple[Perceptron, ...], values: Floats) -> list[Floats]:
    """Scores of each perceptron for each candidate.

    Args:
        nets: Perceptrons that judge one candidate at a time.
        values: Features, shape (n, candidates, features).

    Returns:
        One array of shape (n, candidates, outputs) for each perceptron.
    """
    n, candidates, size = values.shape
    rows = values.reshape(n * candidates, size)
    return [net(rows).reshape(n, candidates, -1) for net in nets]


@lru_cache(maxsize=1)
def shipped() -> Model:
    """The model that comes with the program."""
    return Model.loads((files("tutor.analysis") / FILE).read_bytes())
