"""The wider vocabulary of stage songs: sixths, ninths, suspended and open chords.

The fitted model knows triads, sevenths and augmented sixths, as the analyses it learned from do. Whether a sixth, a
ninth or a fourth *belongs* to such a chord is decided here, cautiously (common practice, no source): it is printed in
a chord symbol; or it is held through most of a chord that lasts, sounds together with the chord's own tones, and does
not move on by step as a suspension or neighbour would.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tutor.analysis.findings import Quality
from tutor.analysis.slices import LOF_ZERO, Floats
from tutor.analysis.spelling import Spelled
from tutor.analysis.symbols import plain
from tutor.music.chordsymbol import SymbolChord
from tutor.music.pitch import PitchClass
from tutor.music.quality import MEMBERS, tones_of

LASTING_QUARTERS = 3.0
"""A chord shorter than this is never widened without a symbol."""
HELD_SHARE = 0.5
"""Share of the chord's time for which the added tone must sound."""
_ADDED: dict[Quality, tuple[tuple[Quality, int], ...]] = {
    "major": (("added-ninth", 2), ("major-sixth", 3)),
    "minor": (("minor-sixth", 3),),
    "dominant-seventh": (("dominant-ninth", 2),),
    "major-seventh": (("major-ninth", 2),),
    "minor-seventh": (("minor-ninth", 2),),
}
"""What a further tone, in fifths above the root, makes of a chord."""
_OPEN: tuple[Quality, ...] = ("power", "suspended-second", "suspended-fourth")


@dataclass(frozen=True, slots=True)
class Sounding:
    """What sounds in a chord's stretch."""

    quarters: float
    """Its length."""
    share: Floats
    """Share of the time for which each place of the line of fifths sounds, shape (LOF,)."""
    step: Floats
    """Time of each chroma that moves on by step, in quarters, shape (12,)."""

    def held(self, tone: int) -> float:
        """Share of time for which a place sounds without moving on by step."""
        index = tone + LOF_ZERO
        if not 0 <= index < len(self.share):
            return 0.0
        time = float(self.share[index])
        return max(0.0, time - float(self.step[(tone * 7) % 12]) / max(self.quarters, 1e-6))

    def heard(self, tone: int) -> bool:
        """Whether a place sounds at all."""
        index = tone + LOF_ZERO
        return bool(0 <= index < len(self.share) and self.share[index] > 0)


def widen(chord: Spelled, sounding: Sounding, symbol: SymbolChord | None) -> Spelled:
    """Give a chord its sixth, ninth, fourth or second where it belongs to it.

    Args:
        chord: As the model reads it.
        sounding: What sounds under it.
        symbol: The printed symbol that covers it, if any.
    """
    if symbol is not None and symbol.root.chroma == chord.root.chroma:
        named = _printed(chord, sounding, symbol)
        if named is not None:
            return named
    if sounding.quarters < LASTING_QUARTERS or chord.inversion:
        return chord
    root = chord.root.fifths
    if not all(sounding.heard(t.fifths) for t in chord.tones):
        return _suspended(chord, sounding)
    for quality, step in _ADDED.get(chord.quality, ()):
        if sounding.held(root + step) >= HELD_SHARE and _only(chord, sounding, root + step):
            return _as(chord, quality)
    return chord


def _printed(chord: Spelled, sounding: Sounding, symbol: SymbolChord) -> Spelled | None:
    quality = symbol.quality
    fits = plain(quality) == chord.quality or (quality in _OPEN and chord.quality in ("major", "minor"))
    if quality == chord.quality or not fits:
        return None
    told = set(MEMBERS[quality]) - set(MEMBERS[chord.quality])
    third = any(sounding.heard(chord.root.fifths + step) for step in (4, -3))
    if all(sounding.heard(chord.root.fifths + step) for step in told) and not (quality in _OPEN and third):
        return _as(chord, quality)
    return None


def _suspended(chord: Spelled, sounding: Sounding) -> Spelled:
    root = chord.root.fifths
    if chord.quality not in ("major", "minor") or any(sounding.heard(root + step) for step in (4, -3)):
        return chord
    if sounding.heard(root) and sounding.heard(root + 1):
        for quality, step in (("suspended-fourth", -1), ("suspended-second", 2)):
            if sounding.held(root + step) >= HELD_SHARE and _only(chord, sounding, root + step):
                return _as(chord, quality)  # type: ignore[arg-type]
    return chord


def _only(chord: Spelled, sounding: Sounding, tone: int) -> bool:
    """No other foreign tone is held."""
    members = {t.fifths for t in chord.tones} | {tone}
    places = np.flatnonzero(sounding.share > 0) - LOF_ZERO
    return not any(sounding.held(int(p)) > 0.1 for p in places if int(p) not in members)


def _as(chord: Spelled, quality: Quality) -> Spelled:
    tones = tones_of(chord.root, quality)
    at = [t.chroma for t in tones]
    inversion = at.index(chord.bass.chroma) if chord.bass.chroma in at[:4] else 0
    return Spelled(chord.root, quality, inversion, tones)


def tonic_sixths(chords: Sequence[Spelled], tonics: Sequence[PitchClass]) -> list[Spelled]:
    """Read a minor seventh over the tonic as the tonic with its sixth where a dominant leads to it or the song ends.

    The two have the same tones (C6 is Am7 in first inversion); only the context tells them apart.

    Args:
        chords: The song's chords in order.
        tonics: Tonic of each chord's key.
    """
    out = list(chords)
    for i, (chord, tonic) in enumerate(zip(chords, tonics, strict=True)):
        if chord.quality != "minor-seventh" or chord.inversion != 1 or chord.bass.chroma != tonic.chroma:
            continue
        before = chords[i - 1] if i else None
        led = before is not None and before.root.fifths == tonic.fifths + 1 and before.quality in (
            "major", "dominant-seventh", "dominant-ninth",
        )  # fmt: skip
        if led and (i + 1 == len(chords) or chords[i + 1].root.fifths != tonic.fifths + 2):
            root = chord.tones[1]
            out[i] = Spelled(root, "major-sixth", 0, tones_of(root, "major-sixth"))
    return out
