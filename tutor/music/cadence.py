"""Cadences: what they are called here and elsewhere, and which one two chords make.

After Open Music Theory v1 ("Cadence types") and the British names in aural syllabuses. 'Imperfect' means a half
cadence in Britain and a weak authentic one in the USA: both names are always shown.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Cadence:
    """A kind of cadence."""

    label: str
    """Stable name."""
    words: str
    """Shown."""
    what: str
    """What makes it, in one sentence."""


CADENCES = {
    c.label: c
    for c in (
        Cadence(
            "authentic",
            "authentic (British: perfect): V–I",
            "The dominant moves to the tonic: the phrase is closed.",
        ),
        Cadence("half", "half (British: imperfect): rests on V", "The phrase stops on the dominant and stays open."),
        Cadence(
            "plagal", "plagal: IV–I", "The subdominant moves to the tonic: no leading tone, so the close is softer."
        ),
        Cadence(
            "deceptive",
            "deceptive (British: interrupted): V–vi",
            "The dominant leads to the sixth degree's chord where the tonic was expected.",
        ),
        Cadence(
            "perfect-authentic",
            "perfect authentic: V–I in root position, melody on 1",
            "Dominant and tonic both stand in root position and the melody ends on degree 1: the firmest close.",
        ),
        Cadence(
            "imperfect-authentic",
            "imperfect authentic (not the British “imperfect”): V–I, melody on 3 or 5",
            "Dominant and tonic both stand in root position, but the melody ends on 3 or 5: closed, less firmly.",
        ),
    )
}


def cadence_of(before: str, last: str) -> str | None:
    """The cadence that two root-position figures make, by the names of `CADENCES`; None for no cadence.

    Args:
        before: figure of the last chord but one ('V7').
        last: figure of the last chord ('I').
    """
    dominant = before in ("V", "V7")
    if last in ("I", "i"):
        return "authentic" if dominant else "plagal" if before in ("IV", "iv") else None
    if last == "V" and before not in ("V", "V7", "V65", "V43", "V42"):
        return "half"
    if dominant and last in ("vi", "VI", "bVI"):
        return "deceptive"
    return None
