"""Sounding slices: a NoteTable as arrays over a regular grid of frames.

A frame is half a quarter long (a quarter of one where the metre counts sixteenths), laid from each bar line, so that
every change of harmony that analysts write falls on a frame's edge. Pitches are counted on the line of fifths, so
that F# and Gb stay apart; index ``fifths + LOF_ZERO``.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.columns import distinct
from tutor.music.pitch import FIFTHS
from tutor.music.table import MeasureRow, NoteTable

Floats = NDArray[np.float32]
Ints = NDArray[np.int64]

LOF = 41
"""Places kept on the line of fifths, from 20 flats-side to 20 sharps-side of C."""
LOF_ZERO = 20
"""Index of C."""
NO_NOTE = 999
"""MIDI number that stands for silence in `Frames.low`."""
_AT_ONCE = 64
"""Frames for which a network's values stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class Frames:
    """The music cut into n frames. Histograms are shares of the frame's time (two voices on a tone count twice)."""

    start: NDArray[np.float64]
    """Offsets in quarters, shape (n,)."""
    end: NDArray[np.float64]
    """Offsets in quarters, shape (n,)."""
    inside: Floats
    """Quarters since the bar line (a pick-up counts from where a full bar would begin), shape (n,)."""
    bar: Ints
    """Index of the bar, shape (n,)."""
    beat: Ints
    """Running number of the felt beat, shape (n,)."""
    half: Ints
    """Running number of the half bar (two beats of a bar of four, else the whole bar or the beat), shape (n,)."""
    beat_quarters: Floats
    """Length of the felt beat, shape (n,)."""
    bar_quarters: Floats
    """Length of a full bar, shape (n,)."""
    fifths: Ints
    """Key signature, shape (n,)."""
    sound: Floats
    """Time on each place of the line of fifths, shape (n, LOF)."""
    attack: Floats
    """Notes struck, by chroma, shape (n, 12)."""
    bass: Floats
    """Time for which each chroma is lowest, shape (n, 12)."""
    voice: Floats
    """Time of the sung line by chroma, shape (n, 12)."""
    step: Floats
    """Time of notes that move on by step, by chroma, shape (n, 12)."""
    low: Ints
    """Lowest MIDI number that sounds, NO_NOTE in silence, shape (n,)."""
    low_fifths: Ints
    """Its place on the line of fifths (0 in silence), shape (n,)."""

    @property
    def count(self) -> int:
        """How many frames there are."""
        return len(self.start)


@dataclass(frozen=True, slots=True)
class NoteArrays:
    """The notes that have a length, one element each."""

    onset: NDArray[np.float64]
    end: NDArray[np.float64]
    midi: Ints
    fifths: Ints
    part: Ints
    sung: NDArray[np.bool_]


def note_arrays(table: NoteTable) -> NoteArrays:
    """The sounding notes of a table as arrays (grace notes are ornaments and stay out)."""
    rows = [n for n in table.notes if n.duration_quarters > 0 and abs(n.alter) <= 2]
    onset = np.array([n.onset_quarters for n in rows], dtype=np.float64)
    part = np.array([n.part for n in rows], dtype=np.int64)
    return NoteArrays(
        onset=onset,
        end=onset + np.array([n.duration_quarters for n in rows], dtype=np.float64),
        midi=np.array([n.midi for n in rows], dtype=np.int64),
        fifths=np.array([FIFTHS[n.step] + 7 * n.alter for n in rows], dtype=np.int64),
        part=part,
        sung=np.array([p.role == "voice" for p in table.parts], dtype=bool)[part],
    )


def frames_of(table: NoteTable) -> Frames:
    """Cut a table into frames.

    Raises:
        ValueError: the table has no bars.
    """
    if not table.measures:
        raise ValueError("a table without bars has no frames")
    grid = _grid(table.measures)
    notes = note_arrays(table)
    start, end = grid["start"], grid["end"]
    note, frame, share = _overlaps(notes.onset, notes.end, start, end)
    chroma = (notes.fifths * 7) % 12
    n = len(start)
    moves = _moves_by_step(notes)
    low, low_fifths, bass = _lowest(notes, start, end)
    first = np.searchsorted(start, notes.onset + 1e-6, side="right") - 1
    attack = _histogram(n, 12, np.maximum(first, 0), chroma, np.ones(len(first)))
    sung = notes.sung[note]
    stepping = moves[note]
    return Frames(
        start=start,
        end=end,
        inside=grid["inside"].astype(np.float32),
        bar=grid["bar"].astype(np.int64),
        beat=grid["beat"].astype(np.int64),
        half=grid["half"].astype(np.int64),
        beat_quarters=grid["beat_quarters"].astype(np.float32),
        bar_quarters=grid["bar_quarters"].astype(np.float32),
        fifths=grid["fifths"].astype(np.int64),
        sound=_histogram(n, LOF, frame, notes.fifths[note] + LOF_ZERO, share),
        attack=attack,
        bass=bass,
        voice=_histogram(n, 12, frame[sung], chroma[note][sung], share[sung]),
        step=_histogram(n, 12, frame[stepping], chroma[note][stepping], share[stepping]),
        low=low,
        low_fifths=low_fifths,
    )


def _grid(measures: tuple[MeasureRow, ...]) -> dict[str, NDArray[np.float64]]:
    cuts: list[NDArray[np.float64]] = []
    bars: list[tuple[float, ...]] = []
    beat = half = -1
    for index, bar in enumerate(measures):
        length, whole, felt = bar.duration_quarters, bar.bar_quarters, bar.beat_quarters
        if length <= 1e-6:
            continue
        lead = whole - length if index == 0 and length < whole - 1e-6 else 0.0
        cut, beats, halves = _cut_bar(lead, length, whole, felt, 0.25 if bar.denominator >= 16 else 0.5)
        cuts.append(cut)
        bars.append((bar.start_quarters - lead, index, beat, half, felt, whole, bar.fifths))
        beat, half = beat + beats, half + halves
    first, last, inner_beat, inner_half = np.concatenate(cuts).T
    every = np.repeat(np.array(bars, dtype=np.float64), [len(cut) for cut in cuts], axis=0).T
    at, index_of, beat_of, half_of, felt_of, whole_of, fifths_of = every
    return {
        "start": np.round(at + first, 6),
        "end": np.round(at + last, 6),
        "inside": first,
        "bar": index_of,
        "beat": beat_of + inner_beat,
        "half": half_of + inner_half,
        "beat_quarters": felt_of,
        "bar_quarters": whole_of,
        "fifths": fifths_of,
    }


@lru_cache(maxsize=512)
def _cut_bar(
    lead: float, length: float, whole: float, felt: float, unit: float
) -> tuple[NDArray[np.float64], int, int]:
    """The frames of a bar: from, to (in quarters from where a full bar would begin), beat and half bar, from 1.

    Returns:
        Shape (frames, 4), and how many beats and half bars there are.
    """
    beats = whole / felt
    group = 2 * felt if abs(beats - 4) < 1e-6 else whole if beats != 2 else felt
    inner = np.arange(0.0, whole + length, unit).tolist()
    edges = [lead, *(x for x in inner if lead + 1e-6 < x < lead + length - 1e-6), lead + length]
    beat = half = 0
    last = (-1, -1)
    rows = []
    for a, b in itertools.pairwise(edges):
        place = int(a / felt + 1e-6), int(a / group + 1e-6)
        beat, half, last = beat + (place[0] != last[0]), half + (place[1] != last[1]), place
        rows.append((a, b, beat, half))
    return np.array(rows, dtype=np.float64), beat, half


def _overlaps(
    onset: NDArray[np.float64], end: NDArray[np.float64], start: NDArray[np.float64], stop: NDArray[np.float64]
) -> tuple[Ints, Ints, NDArray[np.float64]]:
    """Pairs (note, frame) that overlap, with the share of the frame's time each covers."""
    first = np.maximum(np.searchsorted(start, onset + 1e-6, side="right") - 1, 0)
    last = np.maximum(np.searchsorted(start, end - 1e-6, side="left"), first + 1)
    counts = last - first
    note = np.repeat(np.arange(len(onset)), counts)
    ahead = np.cumsum(counts) - counts
    frame = np.arange(int(counts.sum())) - np.repeat(ahead, counts) + np.repeat(first, counts)
    time = np.minimum(end[note], stop[frame]) - np.maximum(onset[note], start[frame])
    return note, frame, np.maximum(time, 0.0) / (stop - start)[frame]


def _histogram(rows: int, columns: int, row: Ints, column: Ints, weight: NDArray[np.float64]) -> Floats:
    flat = np.bincount(row * columns + column, weights=weight, minlength=rows * columns)
    return flat.reshape(rows, columns).astype(np.float32)


def _moves_by_step(notes: NoteArrays) -> NDArray[np.bool_]:
    """Whether another note of the same part begins, a tone or semitone away, where each note ends."""
    size = np.int64(1 << 20)

    def code(at: NDArray[np.float64], midi: Ints) -> Ints:
        return (notes.part * size + np.round(at * 48).astype(np.int64)) * 256 + midi

    if not len(notes.onset):
        return np.zeros(0, dtype=bool)
    begins = distinct(code(notes.onset, notes.midi))
    wanted = code(notes.end, notes.midi) + np.array([-2, -1, 1, 2])[:, None]
    at = np.minimum(np.searchsorted(begins, wanted), len(begins) - 1)
    found: NDArray[np.bool_] = (begins[at] == wanted).any(axis=0)
    return found


def _lowest(notes: NoteArrays, start: NDArray[np.float64], end: NDArray[np.float64]) -> tuple[Ints, Ints, Floats]:
    """Lowest note of each frame, its place on the line of fifths, and the time each chroma is lowest."""
    n = len(start)
    edges = distinct(np.round(np.concatenate([start, end[-1:], notes.onset, notes.end]), 6))
    edges = edges[(edges >= start[0] - 1e-6) & (edges <= end[-1] + 1e-6)]
    at, until = edges[:-1], edges[1:]
    note, cell, _ = _overlaps(notes.onset, notes.end, at, until)
    key = notes.midi * 64 + notes.fifths + LOF_ZERO
    lowest = np.full(len(at), NO_NOTE * 64, dtype=np.int64)
    np.minimum.at(lowest, cell, key[note])
    frame = np.maximum(np.searchsorted(start, at + 1e-6, side="right") - 1, 0)
    sounding = lowest < NO_NOTE * 64
    fifths = lowest % 64 - LOF_ZERO
    share = (until - at) / (end - start)[frame]
    bass = _histogram(n, 12, frame[sounding], (fifths[sounding] * 7) % 12, share[sounding])
    low = np.full(n, NO_NOTE * 64, dtype=np.int64)
    np.minimum.at(low, frame, lowest)
    return low // 64, np.where(low < NO_NOTE * 64, low % 64 - LOF_ZERO, 0), bass


def fresh_frames(frames: Frames) -> tuple[Ints, Ints]:
    """Frames in which something begins or ends, and for each frame its place among them.

    A held chord is heard once: what follows it unchanged gets the same judgement.
    """
    new = frames.attack.sum(axis=1) > 0
    new[1:] |= np.any(frames.sound[1:] != frames.sound[:-1], axis=1)
    new[0] = True
    return np.flatnonzero(new), np.cumsum(new) - 1


def few_at_once(n: int) -> list[slice]:
    """Stretches of n frames of about one length, short enough for what is computed of them to stay in cache."""
    count = max(1, round(n / _AT_ONCE))
    edges = [n * k // count for k in range(count + 1)]
    return [slice(first, last) for first, last in itertools.pairwise(edges)]
