"""What the perceptrons hear in each frame, before anything is decided.

The chord model judges each of the twelve tones three ways: as the root of each chord class, as the bass, and as a
member of the chord at all. The three are mixed on a logarithmic scale: members and bass are learned from every chord
alike and steady the rarer classes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tutor.analysis.features import Views, Windows, chord_views, key_views, spell_map, turn, with_chords
from tutor.analysis.model import Model, Perceptron, judge, softmax
from tutor.analysis.slices import Floats, Frames, Ints
from tutor.analysis.turns import turn_features
from tutor.analysis.vocabulary import BASS, MEMBERS, SIZE

_TURNED: Ints = (np.arange(12)[:, None] + np.arange(12)[None, :]) % 12


@dataclass(frozen=True, slots=True)
class Heads:
    """The three judgements of the chord model."""

    chord: Floats
    """Shares of the chords, shape (n, 12 * SIZE)."""
    bass: Floats
    """Shares of the basses, shape (n, 12)."""
    member: Floats
    """Probability that each chroma belongs to the chord, shape (n, 12)."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What goes into the decoding."""

    chord: Floats
    """Mixed shares of the chords, shape (n, 12 * SIZE)."""
    key: Floats
    """Shares of the keys, shape (n, 24)."""
    turn: Floats
    """Probability that the harmony changes at the start of each frame, shape (n,)."""
    heads: Heads


def chord_heads(nets: tuple[Perceptron, ...], values: Floats) -> Heads:
    """Ask the chord perceptrons and average.

    Args:
        nets: Perceptrons with SIZE + 2 outputs.
        values: Features of the chord views, shape (n, 12, features).
    """
    scores = judge(nets, values)
    n = len(values)
    chord = sum(softmax(s[:, :, :SIZE].reshape(n, -1)) for s in scores)
    bass = sum(softmax(s[:, :, SIZE]) for s in scores)
    member = sum(1 / (1 + np.exp(-s[:, :, SIZE + 1])) for s in scores)
    count = np.float32(len(nets))
    return Heads(np.asarray(chord / count), np.asarray(bass / count), np.asarray(member / count))


def mix(heads: Heads, weights: dict[str, float]) -> Floats:
    """Shares of the chords from the three heads, shape (n, 12 * SIZE)."""
    n = len(heads.chord)
    score = np.log(heads.chord + 1e-7).reshape(n, 12, SIZE)
    under = (np.arange(12)[:, None] + BASS[None, :]) % 12
    score = score + weights["bass"] * np.log(heads.bass + 1e-4)[:, under]
    odds = np.log(heads.member + 1e-3) - np.log(1 - heads.member + 1e-3)
    score = score + weights["member"] * (odds[:, _TURNED] @ MEMBERS.T)
    return softmax(score.astype(np.float32))


def key_features(views: Views, windows: Windows, chord: Floats, spelling: Ints) -> Floats:
    """What the key model sees, shape (n, 12, features)."""
    return turn(with_chords(views, windows, chord), spelling)


def listen(model: Model, frames: Frames) -> Heard:
    """Hear chords and keys in every frame."""
    windows = Windows(frames)
    spelling = spell_map(windows)
    heads = chord_heads(model.nets["chord"], turn(chord_views(windows), spelling))
    chord = mix(heads, model.weights)
    scores = judge(model.nets["key"], key_features(key_views(windows), windows, chord, spelling))
    key = sum(softmax(s) for s in scores)
    seen = turn_features(windows, chord, heads.bass, heads.member)
    return Heard(chord, np.asarray(key / np.float32(len(scores))), turn_share(model.nets["turn"], seen), heads)


def turn_share(nets: tuple[Perceptron, ...], seen: Floats) -> Floats:
    """Probability of a change at each frame, shape (n,); ``seen`` from `turn_features`."""
    share: Floats = softmax(judge(nets[:1], seen[:, None, :])[0])[:, 1]
    return share
