"""Notes in time: the one value that is played, drawn and asked about.

A Phrase is what the synthesizer renders, what the staff draws and what a question shows. It carries spelled
pitches, a metre and a key signature, so the same value can be heard and read.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Literal

from tutor.music.pitch import Pitch

Line = Literal["voice", "upper", "lower", "click"]


@dataclass(frozen=True, slots=True)
class Tone:
    """One note of a phrase."""

    onset_quarters: float
    """Start, in quarters from the beginning of the phrase."""
    duration_quarters: float
    """Length in quarters."""
    pitch: Pitch
    """Spelled pitch (for 'click': C6 accented, C5 plain)."""
    line: Line = "voice"
    """Who has it: the sung line, the pianist's right hand, left hand, or the metronome."""
    velocity: float = 0.7
    """Loudness, 0 to 1."""
    syllable: str = ""
    """Text under the note."""
    mark: str = ""
    """Empty, or why the note is pointed out: 'bass', 'borrowed', 'rub', 'changed', 'target', 'right', 'wrong'."""

    @property
    def midi(self) -> int:
        """MIDI note number."""
        return self.pitch.midi

    @property
    def end_quarters(self) -> float:
        """Where the note stops."""
        return self.onset_quarters + self.duration_quarters


@dataclass(frozen=True, slots=True)
class Phrase:
    """Notes in time, ready to be heard or drawn."""

    tones: tuple[Tone, ...]
    bpm: float = 96.0
    """Quarter notes a minute."""
    numerator: int = 4
    """Upper figure of the time signature."""
    denominator: int = 4
    """Lower figure of the time signature."""
    fifths: int = 0
    """Key signature: sharps positive, flats negative."""
    figures: tuple[tuple[float, str], ...] = ()
    """Text under the staff: (onset in quarters, 'V65')."""
    first_bar: str = ""
    """Printed number of the first bar, if the phrase was cut from a song."""
    pickup_quarters: float = 0.0
    """Length of the incomplete bar the phrase opens with."""

    @property
    def length_quarters(self) -> float:
        """Where the last note stops."""
        return max((t.end_quarters for t in self.tones), default=0.0)

    @property
    def length_s(self) -> float:
        """Length in seconds at the phrase's tempo."""
        return self.length_quarters * 60.0 / self.bpm

    def only(self, *lines: Line) -> Phrase:
        """The same phrase with some lines alone."""
        return replace(self, tones=tuple(t for t in self.tones if t.line in lines))

    def moved(self, fifths: int, diatonic: int) -> Phrase:
        """Transposed by a spelled interval (see `Pitch.moved`); the signature moves with it."""
        tones = tuple(t if t.line == "click" else replace(t, pitch=t.pitch.moved(fifths, diatonic)) for t in self.tones)
        return replace(self, tones=tones, fifths=self.fifths + fifths)

    def marked(self, mark: str, midis: Iterable[int], at: float | None = None) -> Phrase:
        """Point out the notes with these MIDI numbers (those sounding at ``at`` quarters, if given)."""
        wanted = set(midis)
        tones = tuple(
            replace(t, mark=mark) if t.midi in wanted and (at is None or t.onset_quarters <= at < t.end_quarters) else t
            for t in self.tones
        )
        return replace(self, tones=tones)

    def after(self, other: Phrase, *, gap_quarters: float = 0.0) -> Phrase:
        """``other`` followed by this phrase, at ``other``'s tempo and signature."""
        shift = other.length_quarters + gap_quarters
        moved = tuple(replace(t, onset_quarters=t.onset_quarters + shift) for t in self.tones)
        figures = tuple((at + shift, text) for at, text in self.figures)
        return replace(other, tones=other.tones + moved, figures=other.figures + figures)

    def to_json(self) -> dict[str, Any]:
        """A plain value for storing; `from_json` gives the phrase back equal."""
        return {
            "tones": [
                [t.onset_quarters, t.duration_quarters, t.pitch.name, t.line, t.velocity, t.syllable, t.mark]
                for t in self.tones
            ],
            "bpm": self.bpm,
            "metre": [self.numerator, self.denominator],
            "fifths": self.fifths,
            "figures": [list(f) for f in self.figures],
            "first_bar": self.first_bar,
            "pickup": self.pickup_quarters,
        }

    @classmethod
    def from_json(cls, raw: dict[str, Any]) -> Phrase:
        """Rebuild a phrase from `to_json`."""
        return cls(
            tones=tuple(Tone(o, d, Pitch.parse(p), line, v, s, m) for o, d, p, line, v, s, m in raw["tones"]),
            bpm=raw["bpm"],
            numerator=raw["metre"][0],
            denominator=raw["metre"][1],
            fifths=raw["fifths"],
            figures=tuple((float(at), str(text)) for at, text in raw["figures"]),
            first_bar=raw["first_bar"],
            pickup_quarters=raw["pickup"],
        )

    @classmethod
    def parse(cls, text: str, *, bpm: float = 96.0, line: Line = "voice", fifths: int = 0) -> Phrase:
        """Read the lesson shorthand: 'C4:1 A4:2 r:1 C4+E4+G4:2' (pitch:quarters, r for a rest, + for a chord).

        Raises:
            ValueError: a word is not of that form; the message names the word.
        """
        tones: list[Tone] = []
        at = 0.0
        for word in text.split():
            name, colon, length = word.partition(":")
            try:
                quarters = float(length)
                if not colon or not 0 < quarters <= 64:
                    raise ValueError
                if name != "r":
                    tones.extend(Tone(at, quarters, Pitch.parse(n), line) for n in name.split("+"))
            except ValueError:
                raise ValueError(f"not pitch:quarters: {word!r}") from None
            at += quarters
        return cls(tuple(tones), bpm=bpm, fifths=fifths)
