"""What was typed as a correction, and what it corrects."""

from __future__ import annotations

from tutor.analysis.findings import Corrections
from tutor.practice.drill import Song


def corrected(mine: Corrections, song: Song, text: str, bar: str, beat: float = 1.0) -> Corrections:
    """Add a correction to those kept.

    Args:
        mine: what is corrected so far.
        song: the song.
        text: 'V65/V' for a chord here, '2=ii6' from a beat on, '9-16=F minor' for a key, '17-24=B' for a section.
        bar: printed number of the bar under the cursor.
        beat: beat of that bar at which the music under the cursor begins: not 1 in the rest of a split bar.

    Raises:
        SidecarError: it is none of these, or does not fit the song.
    """
    from tutor.studio import correcting

    place, equals, what = (part.strip() for part in text.partition("="))
    if not equals:
        return correcting.with_chord(mine, song, f"{bar}.{beat:g}={text.strip()}")
    if what.endswith((" major", " minor")):
        return correcting.with_key(mine, song, text)
    if "-" in place:
        return correcting.with_section(mine, song, text)
    return correcting.with_chord(mine, song, f"{bar}.{place}={what}" if place.isdigit() and int(place) < 9 else text)
