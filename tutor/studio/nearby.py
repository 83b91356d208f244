"""A song narrowed to a place: what a drill asks about is then asked about there."""

from __future__ import annotations

from dataclasses import replace

from tutor.practice.drill import Song

_EPS = 1e-6


def narrowed(song: Song, start: float, end: float) -> Song:
    """The song with the findings of a stretch alone; notes, chords, keys and form stay, since findings stand on them.

    Args:
        song: the song.
        start: quarters, inclusive.
        end: quarters, exclusive.
    """
    reading = song.reading

    def inside(at: float) -> bool:
        return start - _EPS <= at < end - _EPS

    return replace(
        song,
        reading=replace(
            reading,
            borrowed=tuple(b for b in reading.borrowed if inside(b.start)),
            rubs=tuple(r for r in reading.rubs if inside(r.start)),
            returns=tuple(r for r in reading.returns if r.again[0] < end - _EPS and r.again[1] > start + _EPS),
        ),
    )
