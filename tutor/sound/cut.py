"""A pitch track cut into notes."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tutor.music.take import SungNote
from tutor.sound.track import HOP_S, window_s

SHORTEST_S = 0.08
"""Anything shorter is taken for a slip or a slide."""
BREAK_S = 0.06
"""A gap in the voice from which on a new note begins, even at the same pitch."""

SPLINTER_S = 0.12
"""A piece shorter than this that stands at the pitch of the note beside it belongs to it."""
TAIL_S, TAIL_DB = 0.16, 12.0
"""A piece shorter, and this much quieter than the note it hangs on, is no note of its own (choices of ours)."""

_SMOOTH = 21
_STEP_SEMITONES = 0.6

Array = NDArray[np.float64]


def cut(hertz: Array, level_db: Array) -> tuple[SungNote, ...]:
    """Cut a track with one point every `HOP_S` into notes.

    Args:
        hertz: shape (frames,), 0 where nothing is sung.
        level_db: level of each frame in decibels, shape (frames,).

    Returns:
        Notes in order. A note's centre is the mean in semitones over whole cycles of its vibrato (heard pitch is the
        mean of the cycle: R. Timmers and P. Desain 2000, citing Shonle and Horan 1980), without its onset glide.
    """
    notes: list[SungNote] = []
    for start, stop in _stretches(hertz, level_db):
        midi = 69.0 + 12.0 * np.log2(hertz[start:stop] / 440.0)
        pieces = _mended(midi, _without_tails(_whole_waves(midi, _steady(midi)), level_db[start:stop]))
        notes.extend(_note(midi[a:b], start + a) for a, b in pieces if (b - a) * HOP_S >= SHORTEST_S - 1e-9)
    return tuple(notes)


def _mended(midi: Array, pieces: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Give a splinter that a wide, quick leap cut off back to its note: short, and at the pitch of a neighbour."""
    kept: list[tuple[int, int]] = []
    for a, b in pieces:
        last = kept[-1] if kept else None
        if last is not None and last[1] == a and min(b - a, last[1] - last[0]) * HOP_S < SPLINTER_S:
            away = abs(float(np.median(midi[a:b])) - float(np.median(midi[slice(*last)])))
            if away < 0.8:
                kept[-1] = (last[0], b)
                continue
        kept.append((a, b))
    return kept


def _without_tails(pieces: list[tuple[int, int]], level_db: Array) -> list[tuple[int, int]]:
    """Leave out what stays after a note has died away: a short, far quieter piece at another pitch, joined to it."""
    kept: list[tuple[int, int]] = []
    for a, b in pieces:
        before = float(np.median(level_db[slice(*kept[-1])])) if kept else -np.inf
        if kept and (b - a) * HOP_S < TAIL_S and float(np.median(level_db[a:b])) < before - TAIL_DB:
            continue
        kept.append((a, b))
    return kept


def _whole_waves(midi: Array, pieces: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Give half a wave that was cut off at either end of a wide vibrato back to its note."""
    k = max(range(len(pieces)), key=lambda i: pieces[i][1] - pieces[i][0])
    body = midi[slice(*pieces[k])]
    rate_hz, extent = _vibrato(body)
    if not rate_hz:
        return pieces
    centre, half = float(np.mean(body)), 0.6 / rate_hz / HOP_S

    def belongs(i: int) -> bool:
        if not 0 <= i < len(pieces):
            return False
        a, b = pieces[i]
        return b - a <= half and abs(float(np.median(midi[a:b])) - centre) < extent + 0.3

    first, last = (k - 1 if belongs(k - 1) else k), (k + 1 if belongs(k + 1) else k)
    return [*pieces[:first], (pieces[first][0], pieces[last][1]), *pieces[last + 1 :]]


def _stretches(hertz: Array, level_db: Array) -> list[tuple[int, int]]:
    """Runs of voiced frames; short holes are bridged, a clear dip in level divides."""
    voiced = hertz > 0
    hole = round(BREAK_S / HOP_S)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], voiced.astype(np.int8), [0]))))
    runs: list[tuple[int, int]] = []
    for start, stop in edges.reshape(-1, 2):
        last = runs[-1] if runs else None
        if last and start - last[1] < hole and abs(12 * np.log2(hertz[start] / hertz[last[1] - 1])) < 2.0:
            gap = np.linspace(np.log(hertz[last[1] - 1]), np.log(hertz[start]), start - last[1] + 2)[1:-1]
            hertz[last[1] : start] = np.exp(gap)
            runs[-1] = (last[0], int(stop))
        else:
            runs.append((int(start), int(stop)))
    return [piece for run in runs for piece in _at_dips(level_db, *run)]


def _at_dips(level_db: Array, start: int, stop: int) -> list[tuple[int, int]]:
    """Divide a run where the level falls by 9 dB or more and rises again: the same note sung anew."""
    pieces: list[tuple[int, int]] = []
    begin = start
    for i in range(start + 8, stop - 8):
        around = level_db[i - 3 : i + 4]
        if level_db[i] > around.min():
            continue
        before = level_db[max(begin, i - 25) : i].max()
        after = level_db[i + 1 : min(stop, i + 26)].max()
        if min(before, after) - level_db[i] >= 9.0 and i - begin >= 8:
            pieces.append((begin, i))
            begin = i
    pieces.append((begin, stop))
    return pieces


def _steady(midi: Array) -> list[tuple[int, int]]:
    """Divide one breath into notes: vibrato is averaged out first, then a step of half a tone or so divides."""
    count = len(midi)
    if count < 2:
        return [(0, count)]
    width = min(_SMOOTH, count if count % 2 else count - 1)
    smooth = _median(midi, 5)
    if width >= 3:
        kernel = np.hanning(width + 2)[1:-1]
        padded = np.pad(smooth, width // 2, mode="edge")
        smooth = np.convolve(padded, kernel / kernel.sum(), mode="valid")
    lag = 8
    slope = np.zeros(count)
    if count > 2 * lag:
        slope[lag:-lag] = smooth[2 * lag :] - smooth[: -2 * lag]
    cuts = [0]
    i = 0
    while i < count:
        if abs(slope[i]) < _STEP_SEMITONES:
            i += 1
            continue
        j = i
        while j < count and slope[j] * slope[i] > 0 and abs(slope[j]) >= _STEP_SEMITONES:
            j += 1
        cuts.append(i + int(np.argmax(np.abs(slope[i:j]))))
        i = j
    cuts.append(count)
    return _joined(smooth, cuts)


def _joined(smooth: Array, cuts: list[int]) -> list[tuple[int, int]]:
    """Pieces between cuts; neighbours whose middles lie within half a semitone are one note."""
    pieces: list[tuple[int, int]] = []
    for a, b in pairwise(cuts):
        if b <= a:
            continue
        middle = float(np.median(smooth[a:b]))
        if pieces and abs(middle - float(np.median(smooth[slice(*pieces[-1])]))) < 0.5:
            pieces[-1] = (pieces[-1][0], b)
        else:
            pieces.append((a, b))
    return pieces


def _note(midi: Array, first: int) -> SungNote:
    glide = min(round(0.08 / HOP_S), len(midi) // 4)
    core = midi[glide : len(midi) - min(round(0.04 / HOP_S), len(midi) // 6)]
    rate_hz, extent = _vibrato(core)
    if rate_hz:
        period = 1.0 / (rate_hz * HOP_S)
        whole = int(len(core) // period)
        centre = _whole_cycles(core, period, whole)
        drift = _window(core, period, 0) - _window(core, period, len(core) - round(period))
        drift = -drift
    else:
        centre = float(np.mean(core[np.abs(core - np.median(core)) <= 1.0]))
        third = max(1, len(core) // 4)
        drift = float(np.median(core[-third:]) - np.median(core[:third]))
    return SungNote(first * HOP_S, len(midi) * HOP_S, centre, 100.0 * drift, rate_hz, 100.0 * extent)


def _window(core: Array, period: float, at: int) -> float:
    return float(np.mean(core[at : at + max(1, round(period))]))


def _whole_cycles(core: Array, period: float, cycles: int) -> float:
    """Mean over a whole number of cycles, the last sample counted in part, from as many starts as fit."""
    span = cycles * period
    total = np.concatenate(([0.0], np.cumsum(core)))
    spots = np.arange(0, max(1, int(len(core) - span) + 1))
    sums = np.interp(spots + span, np.arange(len(total)), total) - total[spots]
    return float(np.mean(sums) / span)


def _vibrato(core: Array) -> tuple[float, float]:
    """Rate in hertz and half extent in semitones of a regular wave of 4 to 8 Hz; zeros where there is none."""
    if len(core) * HOP_S < 0.35:
        return 0.0, 0.0
    n = np.arange(len(core))
    flat = core - np.polyval(np.polyfit(n, core, 2), n)
    flat = np.clip(flat, -2.0, 2.0)
    size = 2048
    bell = np.hanning(len(flat))
    power = np.abs(np.fft.rfft(flat * bell, size))
    hz = np.fft.rfftfreq(size, HOP_S)
    band = (hz >= 3.8) & (hz <= 8.5)
    k = int(np.flatnonzero(band)[power[band].argmax()])
    extent = 2.0 * float(power[k]) / float(bell.sum())
    spread = float(np.std(flat * np.sqrt(bell / bell.mean())))
    if extent < 0.12 or extent / np.sqrt(2) < 0.6 * spread:
        return 0.0, 0.0
    a, b, c = np.log(power[k - 1 : k + 2] + 1e-12)
    rate_hz = float(hz[k] + 0.5 * (a - c) / (a - 2 * b + c) * hz[1])
    # the frames of the track smooth the wave; give back what that took
    window = window_s(440.0 * 2 ** ((float(np.mean(core)) - 69.0) / 12.0))
    return rate_hz, extent / float(np.sinc(rate_hz * window))


def _median(values: Array, width: int) -> Array:
    padded = np.pad(values, width // 2, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1))
