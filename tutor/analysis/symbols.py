"""Printed chord symbols: strong evidence of the harmony, not law.

A symbol speaks from where it stands to the next one, and at most for `HOLD_BARS` bars. It raises the chords it names
on the logarithmic scale on which the models speak, in proportion to how much of what sounds belongs to the chord it
names: over a bare melody it decides, over a bar that plainly sounds another chord it does not.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.findings import Quality
from tutor.analysis.model import softmax
from tutor.analysis.slices import LOF, LOF_ZERO, Floats, Frames
from tutor.analysis.vocabulary import CLASSES, SIZE
from tutor.music.chordsymbol import SymbolChord, parse_symbol
from tutor.music.quality import tones_of
from tutor.music.table import NoteTable

HOLD_BARS = 4
"""A symbol is trusted for so many bars when no other follows."""
AGREED = 3.0
"""How much stronger a symbol speaks where everything that sounds belongs to it."""
DOUBT_LEFT = 0.25
"""Share of the doubt that is left where a printed symbol names the very chord that was read."""
WEIGHT_ROOT = 5.0
WEIGHT_QUALITY = 3.5
WEIGHT_BASS = 3.0
"""Added to the log of a share where root, quality and inversion agree with the symbol. Set by hand: the
development analyses have no printed symbols."""
_PLAIN: dict[Quality, Quality] = {
    "major-sixth": "major",
    "minor-sixth": "minor",
    "major-ninth": "major-seventh",
    "dominant-ninth": "dominant-seventh",
    "minor-ninth": "minor-seventh",
    "added-ninth": "major",
    "suspended-second": "major",
    "suspended-fourth": "major",
    "power": "major",
    "minor-major-seventh": "minor",
    "augmented-major-seventh": "augmented",
    "dominant-seventh-flat-five": "dominant-seventh",
}
"""The class of the model that stands for each further quality."""
_OPEN = ("power", "suspended-second", "suspended-fourth")


def printed(table: NoteTable) -> tuple[tuple[float, float, SymbolChord], ...]:
    """Start, end and chord of each readable symbol, in order."""
    found: list[tuple[float, SymbolChord | None]] = []
    for row in sorted(table.texts, key=lambda r: r.onset_quarters):
        if row.kind == "chord":
            try:
                found.append((row.onset_quarters, parse_symbol(row.text)))
            except ValueError:
                found.append((row.onset_quarters, None))
    spans = []
    for i, (start, chord) in enumerate(found):
        held = start + HOLD_BARS * table.bar_at(start).bar_quarters
        end = min(found[i + 1][0] if i + 1 < len(found) else table.length_quarters, held)
        if chord is not None and end > start:
            spans.append((start, end, chord))
    return tuple(spans)


def plain(quality: Quality) -> Quality:
    """The quality of the model's vocabulary that stands for any quality."""
    return _PLAIN.get(quality, quality)


def confirms(symbol: SymbolChord, root: int, quality: Quality, inversion: int) -> bool:
    """Whether a symbol names a chord with this root (semitones above C), quality and inversion."""
    alike = quality == symbol.quality or plain(quality) == plain(symbol.quality)
    return symbol.root.chroma == root and alike and symbol.inversion == inversion


def with_symbols(chord: Floats, frames: Frames, table: NoteTable) -> Floats:
    """Raise the shares of the chords that the printed symbols name.

    Args:
        chord: Shares of the chords, shape (n, 12 * SIZE).
        frames: The n frames.
        table: The score with its texts.
    """
    spans = printed(table)
    if not spans:
        return chord
    bonus = np.zeros((frames.count, 12, SIZE), dtype=np.float32)
    for start, end, symbol in spans:
        inside = (frames.start >= start - 1e-6) & (frames.start < end - 1e-6)
        bonus[inside, symbol.root.chroma] += _bonus(symbol) * _agreement(frames, inside, symbol)
    raised = np.log(chord.reshape(bonus.shape) + 1e-6) + bonus
    return softmax(raised.astype(np.float32))


def _agreement(frames: Frames, inside: NDArray[np.bool_], symbol: SymbolChord) -> float:
    """From 0 to AGREED, by the square of the share of time that the symbol's own tones take; silence agrees."""
    sound = frames.sound[inside].sum(axis=0)
    total = float(sound.sum())
    members = {t.chroma for t in (*tones_of(symbol.root, symbol.quality), symbol.bass)}
    own = sum(float(sound[i]) for i in range(LOF) if ((i - LOF_ZERO) * 7) % 12 in members)
    return AGREED * (own / total if total > 0 else 1.0) ** 2


def _bonus(symbol: SymbolChord) -> Floats:
    wanted = plain(symbol.quality)
    inversion = symbol.inversion
    out = np.full(SIZE, WEIGHT_ROOT, dtype=np.float32)
    for i, (quality, member) in enumerate(CLASSES):
        if quality.endswith("sixth"):
            out[i] = 0.0
            continue
        alike = quality == wanted or (symbol.quality in _OPEN and quality in ("major", "minor"))
        out[i] += WEIGHT_QUALITY * alike + WEIGHT_BASS * (inversion is not None and member == inversion)
    return out
