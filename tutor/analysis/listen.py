"""What the networks hear in each frame, before anything is decided.

A network of strands hears the song in its course and judges each of the twelve tones three ways: as the root of each
chord class, as the bass, and as a member of the chord at all. The three are mixed on a logarithmic scale: members and
bass are learned from every chord alike and steady the rarer classes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from tutor.analysis.features import Held, Views, Windows, chord_views, firsts, held_key_views, with_chords
from tutor.analysis.modal import modal_share
from tutor.analysis.model import Model, Perceptron, judge, softmax
from tutor.analysis.slices import Floats, Frames, Ints, few_at_once, fresh_frames
from tutor.analysis.strands import BASS_OUT, CHORD, KEY, MEMBER_OUT, Strands
from tutor.analysis.symbols import with_symbols
from tutor.analysis.turning import FirstLayer
from tutor.analysis.turns import turn_features
from tutor.analysis.vocabulary import BASS, MEMBERS
from tutor.music.table import NoteTable

_TURNED: Ints = (np.arange(12)[:, None] + np.arange(12)[None, :]) % 12
_BASSES: Floats = (BASS[:, None] == np.arange(12)).astype(np.float32)
"""The bass of each class in semitones above its root, as one-hot rows, shape (SIZE, 12)."""


@dataclass(frozen=True, slots=True)
class Heads:
    """The three judgements of the strands."""

    chord: Floats
    """Shares of the chords, shape (n, 12 * SIZE)."""
    bass: Floats
    """Shares of the basses, shape (n, 12)."""
    member: Floats
    """Probability that each chroma belongs to the chord, shape (n, 12)."""

    def at(self, rows: Ints) -> Heads:
        """The same for some of the frames, or for frames several times over."""
        return Heads(*(values.take(rows, axis=0) for values in (self.chord, self.bass, self.member)))


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
    modal: float = 0.0
    """Probability that the song stands in a mode, 0 where it is small."""


def judge_views(nets: tuple[Perceptron, ...], seen: Held) -> list[Floats]:
    """Scores of each perceptron for each candidate, shape (n, 12, outputs)."""
    first = _first_of(nets, *seen.views.counts)
    return [scores.swapaxes(0, 1) for scores in _after(nets, first.held(seen))]


def _in_order(parts: Sequence[Floats]) -> Floats:
    """Parts of shape (12, some frames, k) as one of shape (n, 12, k)."""
    return np.concatenate(parts, axis=1).swapaxes(0, 1)


def _after(nets: tuple[Perceptron, ...], first: Floats) -> list[Floats]:
    """Scores of perceptrons from what their first layers, side by side, gave; of shape (12, n, outputs) each."""
    rows = first.reshape(12 * first.shape[1], -1)
    edges = np.cumsum([len(net.biases[0]) for net in nets])
    parts = np.split(rows, edges[:-1], axis=1)
    return [net.after(part).reshape(12, first.shape[1], -1) for net, part in zip(nets, parts, strict=True)]


@lru_cache(maxsize=16)
def _first_of(nets: tuple[Perceptron, ...], blocks: int, tones: int) -> FirstLayer:
    """The first layers of perceptrons side by side, for views of so many blocks and tones."""
    weights = np.concatenate([net.weights[0] for net in nets], axis=1)
    return FirstLayer.of(weights, np.concatenate([net.biases[0] for net in nets]), blocks, tones)


def heads_of(scores: list[tuple[Floats, Floats, Floats]]) -> Heads:
    """Mean of the judgements of several networks, from their scores of chords, basses and members."""
    chord = sum(softmax(s) for s, _, _ in scores)
    bass = sum(softmax(s) for _, s, _ in scores)
    member = sum(1 / (1 + np.exp(-s)) for _, _, s in scores)
    count = np.float32(len(scores))
    return Heads(np.asarray(chord / count), np.asarray(bass / count), np.asarray(member / count))


def mix(heads: Heads, weights: dict[str, float]) -> Floats:
    """Shares of the chords from the three heads, shape (n, 12 * SIZE)."""
    odds = np.log(heads.member + 1e-3) - np.log(1 - heads.member + 1e-3)
    said = np.concatenate([odds.take(_TURNED, axis=1), np.log(heads.bass + 1e-4).take(_TURNED, axis=1)], axis=2)
    asked = np.concatenate([weights["member"] * MEMBERS, weights["bass"] * _BASSES], axis=1)
    score = (said @ asked.T).reshape(heads.chord.shape)
    score += np.log(heads.chord + 1e-7)
    return softmax(score)


@dataclass(frozen=True, slots=True)
class Course:
    """What the strands hear."""

    heads: Heads
    key: Floats
    """Shares of the keys, shape (n, 24)."""

    def at(self, rows: Ints) -> Course:
        """The same for some of the frames, or for frames several times over."""
        return Course(self.heads.at(rows), self.key[rows])


def follow(strands: tuple[Strands, ...], first: list[Floats]) -> Course:
    """Let the strands hear a song.

    Args:
        strands: The networks; they vote.
        first: What each makes of the n frames by themselves, from `Strands.begin`.
    """
    told = [net.run(hidden) for net, hidden in zip(strands, first, strict=True)]
    heads = heads_of([(s[:, :, CHORD], s[:, :, BASS_OUT], s[:, :, MEMBER_OUT]) for s in told])
    return Course(heads, vote([s[:, :, KEY] for s in told]))


def listen(model: Model, frames: Frames, table: NoteTable) -> Heard:
    """Hear chords and keys in every frame; ``table`` is where the frames come from."""
    windows = Windows(frames)
    fresh, copies = fresh_frames(frames)
    home = held_key_views(windows, fresh)
    course = _course(model.strands, chord_views(windows, fresh), home)
    chord = with_symbols(mix(course.heads, model.weights).take(copies, axis=0), frames, table)
    course = course.at(copies)
    heads = course.heads
    beats, of_beat = firsts(frames.beat[fresh])  # a key is judged once a beat
    seen = replace(home.at(beats), views=with_chords(home.views, windows, chord, home.frames))
    key = vote(judge_views(model.nets["key"], seen))[of_beat][copies]
    key = both(key, course.key, model.weights["strands_key"])
    modal = modal_share(model.nets["gate"], frames)
    if modal > 0:
        key = both(key, vote(judge_views(model.nets["modal"], seen))[of_beat][copies], modal)
    turned = turn_features(windows, chord, heads.bass, heads.member)
    return Heard(chord, key, turn_share(model.nets["turn"], turned), heads, modal)


def _course(strands: tuple[Strands, ...], chords: Views, home: Held) -> Course:
    """What the strands hear; the features are laid before them a few frames at a time."""
    first, more = _first_of_strands(strands, chords.features, chords.counts, home.views.counts)
    further, spelling = more.held(home), home.spelling[home.of]
    begun: list[list[Floats]] = []
    for rows in few_at_once(len(spelling)):
        hidden = np.split(first(chords.at(rows), spelling[rows]) + further[:, rows], len(strands), axis=2)
        begun.append([net.settle(part) for net, part in zip(strands, hidden, strict=True)])
    return follow(strands, [_in_order(each) for each in zip(*begun, strict=True)])


@lru_cache(maxsize=16)
def _first_of_strands(
    strands: tuple[Strands, ...], seen: int, chords: tuple[int, int], home: tuple[int, int]
) -> tuple[FirstLayer, FirstLayer]:
    """What strands, side by side, make of the chord views, and what they add from the key views.

    Args:
        strands: The networks.
        seen: Features of the chord views.
        chords: Blocks and tones of the chord views.
        home: Blocks and tones of the key views.
    """
    first = np.concatenate([net.first for net in strands], axis=1)
    bias = np.concatenate([net.first_bias for net in strands])
    return FirstLayer.of(first[:seen], bias, *chords), FirstLayer.of(first[seen:], np.zeros_like(bias), *home)


def vote(scores: list[Floats]) -> Floats:
    """Mean of the shares that several perceptrons give, from their scores."""
    return np.asarray(sum(softmax(s) for s in scores) / np.float32(len(scores)))


def both(one: Floats, other: Floats, share: float) -> Floats:
    """Shares of the keys by two models, the second with this weight."""
    return np.asarray((1 - share) * one + share * other, dtype=np.float32)


def turn_share(nets: tuple[Perceptron, ...], seen: Floats) -> Floats:
    """Probability of a change at each frame, shape (n,); ``seen`` from `turn_features`."""
    share: Floats = softmax(judge(nets[:1], seen[:, None, :])[0])[:, 1]
    return share
