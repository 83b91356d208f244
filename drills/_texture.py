"""Voicings laid out in time: block chords, broken chords, a waltz, an arpeggio."""

from __future__ import annotations

from collections.abc import Sequence

from tutor.music.phrase import Line, Phrase, Tone
from tutor.music.pitch import Pitch
from tutor.music.scale import Key

TEXTURES = ("block", "broken", "afterbeat")
"""Together; one note after another; bass first, the others after it."""


def block(voicings: Sequence[Sequence[Pitch]], key: Key, lengths: Sequence[float], bpm: float) -> Phrase:
    """Chords struck together. The two highest voices lie in the upper staff, the others in the lower."""
    return laid(voicings, key, lengths, bpm, "block")


def laid(
    voicings: Sequence[Sequence[Pitch]], key: Key, lengths: Sequence[float], bpm: float, texture: str, beats: int = 4
) -> Phrase:
    """Chords in a texture.

    Args:
        voicings: pitches of each chord from the bass up.
        key: for the signature.
        lengths: quarters of each chord.
        bpm: quarters a minute.
        texture: one of `TEXTURES`.
        beats: quarters in a bar.
    """
    tones: list[Tone] = []
    at = 0.0
    for pitches, length in zip(voicings, lengths, strict=True):
        tones += _chord(list(pitches), at, float(length), texture)
        at += length
    return Phrase(tuple(tones), bpm=bpm, numerator=beats, fifths=key.fifths)


def single(pitches: Sequence[Pitch], fifths: int, bpm: float, texture: str, *, falling: bool = False) -> Phrase:
    """One chord, two quarters long when struck, a note to each half quarter when broken."""
    ordered = sorted(pitches, key=lambda p: p.midi)
    if texture == "broken":
        run = ordered[::-1] if falling else ordered
        last = len(run) - 1
        tones = [
            Tone(i * 0.5, 0.5 if i < last else 1.5, p, _staff(ordered.index(p), len(ordered)))
            for i, p in enumerate(run)
        ]
        return Phrase(tuple(tones), bpm=bpm, fifths=fifths)
    tones = _chord(ordered, 0.0, 2.0, texture)
    return Phrase(tuple(tones), bpm=bpm, fifths=fifths)


def _chord(pitches: list[Pitch], at: float, length: float, texture: str) -> list[Tone]:
    size = len(pitches)
    if texture == "broken":
        step = length / max(size, 4)
        tones = [Tone(at, length, pitches[0], _staff(0, size))]
        tones += [
            Tone(round(at + i * step, 6), round(length - i * step, 6), p, _staff(i, size), 0.6)
            for i, p in enumerate(pitches)
            if i
        ]
        return tones
    if texture == "afterbeat" and length >= 1:
        half = length / 2
        tones = [Tone(at, length, pitches[0], _staff(0, size))]
        return tones + [Tone(at + half, half, p, _staff(i, size), 0.6) for i, p in enumerate(pitches) if i]
    return [Tone(at, length, p, _staff(i, size), 0.65) for i, p in enumerate(pitches)]


def _staff(place: int, size: int) -> Line:
    return "lower" if place < (size - 2 if size > 3 else 1) else "upper"
