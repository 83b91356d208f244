"""Which labels of an analysis can be read from the notes at all.

No reader that goes by the notes can agree with a label that they contradict: a slip of the pen, a lost accidental, a
figure forgotten, another version of the song. The rules here look at the analysis and at the notes alone, never at
what the engine reads, so that they take away what it gets right as well as what it gets wrong.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from tests.bench.corpus import Piece, chord_number, members_of
from tutor.analysis.slices import Floats
from tutor.analysis.vocabulary import BASS, MEMBERS, SIZE

NEVER = 0.05
"""Share of a span up to which a tone counts as never lowest."""
STEADY = 0.8
"""Share of a span from which another one is its bass."""
HEARD = 0.2
"""Share of a span from which a tone is heard."""
HALF = 0.5
"""Least share of the sound that lies within a chord."""
WHY = {
    "unknown": "the label names no chord that the model knows",
    "bass": "its bass is never lowest, and another tone of the chord always is",
    "third": "its third never sounds, and the other third does",
    "sound": "less than half of what sounds belongs to it",
    "apart": "score and analysis do not belong together in the bars around",
}


def contradiction(piece: Piece, span: dict[str, Any]) -> str:
    """What speaks against a label, a key of WHY; empty where nothing does."""
    chord = chord_number(span)
    if chord < 0:
        return "unknown"
    frames = piece.frames
    middle = (frames.start + frames.end) / 2
    here = (middle > span["offset_ql"]) & (middle < span["end_ql"])
    if not here.any():
        return ""
    length = (frames.end - frames.start)[here, None]
    chroma = piece.chroma[here]
    sound = (chroma * length).sum(axis=0)
    time = ((chroma > 0) * length).sum(axis=0) / length.sum()
    low = (frames.bass[here] * length).sum(axis=0)
    against = _against(chord, sound, time, low / max(float(low.sum()), 1e-9))
    return against or ("" if piece.together[here].all() else "apart")


def _against(chord: int, sound: Floats, time: Floats, low: Floats) -> str:
    members = members_of(np.array([chord]))[0]
    root, kind = divmod(chord, SIZE)
    lowest = int(low.argmax())
    if low[(root + BASS[kind]) % 12] < NEVER and low[lowest] >= STEADY and members[lowest]:
        return "bass"
    if sound.sum() > 0 and sound @ members < HALF * sound.sum():
        return "sound"
    for own, other in ((3, 4), (4, 3)):
        third, rival = (root + own) % 12, (root + other) % 12
        if MEMBERS[kind][own] and not members[rival] and time[third] == 0 and time[rival] > HEARD:
            return "third"
    return ""


def believed(piece: Piece) -> Floats:
    """Weight of each frame in learning what is sure: its quarters, 0 where the notes contradict the label."""
    weight = piece.weight.copy()
    middle = (piece.frames.start + piece.frames.end) / 2
    for span in piece.spans:
        if contradiction(piece, span):
            weight[(middle > span["offset_ql"]) & (middle < span["end_ql"])] = 0
    return weight


def readable(piece: Piece) -> Piece:
    """The piece with those labels only that the notes do not contradict."""
    return replace(piece, spans=[s for s in piece.spans if not contradiction(piece, s)])


def shares(pieces: Sequence[Piece]) -> dict[str, float]:
    """Share of the analysed time of each key of WHY."""
    count: Counter[str] = Counter()
    for piece in pieces:
        for span in piece.spans:
            count[contradiction(piece, span)] += span["end_ql"] - span["offset_ql"]
    total = sum(count.values())
    return {why: count[why] / total for why in WHY}
