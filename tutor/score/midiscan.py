"""A first pass over a MIDI file: is it whole, has it notes, how long it is.

Layout after the Standard MIDI File specification 1.0 (MIDI Manufacturers Association, 1988), recalled.
"""

from __future__ import annotations

from tutor.errors import ScoreError
from tutor.score import limits

_AGAIN = "Export the MIDI file again"


def scan(data: bytes, name: str) -> None:
    """Look through a MIDI file before it is read.

    Raises:
        ScoreError: it is damaged, has no notes, or is too large.
    """
    if len(data) < 14:
        raise ScoreError("the file is damaged or cut short", where=name, remedy=_AGAIN)
    header = int.from_bytes(data[4:8])
    tracks, division = int.from_bytes(data[10:12]), int.from_bytes(data[12:14])
    if division == 0 or division & 0x8000:
        raise ScoreError("the MIDI file does not count in quarter notes", where=name, remedy=_AGAIN)
    if tracks > limits.MAX_PARTS:
        raise ScoreError(
            f"the file has more than {limits.MAX_PARTS} tracks", where=name, remedy="Export only this song"
        )
    notes, at, found = 0, 8 + header, 0
    while at + 8 <= len(data) and found < tracks:
        size = int.from_bytes(data[at + 4 : at + 8])
        body = data[at + 8 : at + 8 + size]
        if len(body) < size:
            raise ScoreError("the file is damaged or cut short", where=name, remedy=_AGAIN)
        if data[at : at + 4] == b"MTrk":
            found += 1
            ticks, here = _track(body, name)
            notes += here
            if ticks > division * limits.MAX_LENGTH_QUARTERS:
                raise ScoreError("the file is far longer than a song", where=name, remedy=_AGAIN)
        at += 8 + size
    if notes > limits.MAX_NOTES:
        raise ScoreError(
            f"the score has more than {limits.MAX_NOTES:,} notes", where=name, remedy="Export only this song"
        )
    if not notes:
        raise ScoreError("there are no notes in this MIDI file", where=name, remedy="Open a score with notes")


def _track(body: bytes, name: str) -> tuple[int, int]:
    """Length in ticks and number of notes of one track."""
    at = ticks = notes = status = 0
    try:
        while at < len(body):
            delta, at = _varying(body, at)
            ticks += delta
            if body[at] & 0x80:
                status = body[at]
                at += 1
            if status == 0xFF:
                size, at = _varying(body, at + 1)
                at += size
            elif status in (0xF0, 0xF7):
                size, at = _varying(body, at)
                at += size
            elif status < 0x80 or status > 0xEF:
                raise IndexError
            else:
                if status & 0xF0 == 0x90 and body[at + 1] > 0:
                    notes += 1
                at += 1 if status & 0xF0 in (0xC0, 0xD0) else 2
            if at > len(body):
                raise IndexError
    except IndexError:
        raise ScoreError("the file is damaged or cut short", where=name, remedy=_AGAIN) from None
    return ticks, notes


def _varying(body: bytes, at: int) -> tuple[int, int]:
    """A number of up to four bytes, and where it ends."""
    value = 0
    for place in range(at, at + 4):
        value = value << 7 | body[place] & 0x7F
        if not body[place] & 0x80:
            return value, place + 1
    raise IndexError
