"""What the engine answers: the values of a Reading, named as in the JSON contract.

Positions are offsets in quarter lengths of the score as written; `bar` is the printed number; `beat` counts from 1
in felt beats. Pitches and pitch classes are spelled names in ASCII ('Bb4', 'Eb'). `confidence` is a calibrated
probability: of the spans given 0.9, nine in ten are right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from tutor.analysis.voicefindings import Climax as Climax
from tutor.analysis.voicefindings import Dose as Dose
from tutor.analysis.voicefindings import HighNote as HighNote
from tutor.analysis.voicefindings import Leap as Leap
from tutor.analysis.voicefindings import Tessitura as Tessitura
from tutor.analysis.voicefindings import VoiceProfile as VoiceProfile
from tutor.music.quality import Quality as Quality

Mode = Literal["major", "minor"]
BorrowedKind = Literal["modal", "applied", "chromatic"]
Role = Literal["introduction", "interlude", "coda", ""]
ChangeKind = Literal["pitch", "rhythm", "harmony", "cut short", "extended", "octave"]


@dataclass(frozen=True, slots=True)
class PartInfo:
    """A part of the song."""

    id: str
    name: str
    role: str
    """'voice', 'accompaniment' or 'other'."""


@dataclass(frozen=True, slots=True)
class SongInfo:
    """What the file says of itself."""

    title: str
    composer: str
    format: str
    sha256: str
    bars: int
    length_ql: float
    parts: tuple[PartInfo, ...]


@dataclass(frozen=True, slots=True)
class OrderSpan:
    """A stretch of the written score in sounding order."""

    start: float
    end: float
    passing: int
    """Which time it sounds, from 1; 'pass' in the JSON."""


@dataclass(frozen=True, slots=True)
class KeySpan:
    """A stretch in one key."""

    start: float
    end: float
    tonic: str
    """Spelled pitch class: 'Eb'."""
    mode: Mode
    confidence: float
    corrected: bool = False
    """The user's own reading."""

    @property
    def name(self) -> str:
        """'Eb major'."""
        return f"{self.tonic} {self.mode}"


@dataclass(frozen=True, slots=True)
class ChordSpan:
    """A stretch of one harmony."""

    start: float
    end: float
    bar: str
    beat: float
    root: str
    quality: Quality
    bass: str
    inversion: int
    """Chord member in the bass: 0 root, 1 third, 2 fifth, 3 seventh."""
    figure: str
    """Roman numeral in RomanText form: 'V65/V', 'bVI'."""
    key: str
    """'F major', 'Bb minor'."""
    symbol: str
    """Lead-sheet spelling: 'Gm/Bb'."""
    confidence: float
    tones: tuple[str, ...] = ()
    """Spelled chord members that sound ('evidence.tones' in the JSON)."""
    nonchord: tuple[str, ...] = ()
    """Spelled notes that sound and are no members ('evidence.nonchord')."""
    corrected: bool = False
    """The user's own reading."""


@dataclass(frozen=True, slots=True)
class BorrowedTone:
    """A note foreign to the scale of its key."""

    start: float
    end: float
    bar: str
    beat: float
    part: str
    pitch: str
    degree: str
    """Against the major scale on the tonic: '#4', 'b7'."""
    kind: BorrowedKind
    """Lent by another mode, part of an applied chord, or melodic chromatic."""
    modes: tuple[str, ...]
    """Every mode on the same tonic that has the degree, brightest first; empty unless modal."""
    chord: str
    """Lead-sheet symbol of the harmony around it."""
    key: str
    confidence: float
    pivot: str = ""
    """A tone that this chord shares with the one before (with the one after, at the beginning): what a shift of mode
    turns on. Empty unless modal, or where nothing is shared."""
    in_key: float = 0.0
    """Probability that the kind is right where the key is the one named: for questions that name the key."""


@dataclass(frozen=True, slots=True)
class ModeSpan:
    """A stretch in a mode other than plain major or minor."""

    start: float
    end: float
    bars: tuple[str, str]
    """First and last printed bar number."""
    tonic: str
    mode: str
    """'lydian', 'mixolydian', 'dorian' or 'phrygian'."""
    degree: str
    """What marks the mode, against the major scale on the tonic: '#4'."""
    share: float
    """How much of the time in which this degree sounds at all it stands as the mode has it, 0 to 1."""

    @property
    def name(self) -> str:
        """'D dorian'."""
        return f"{self.tonic} {self.mode}"


@dataclass(frozen=True, slots=True)
class PhraseSpan:
    """A phrase of the sung line."""

    id: int
    start: float
    end: float
    bars: tuple[str, str]
    """First and last printed bar number."""
    lyric: str


@dataclass(frozen=True, slots=True)
class PhraseEnd:
    """How a phrase closes."""

    phrase: int
    pitch: str
    degree: str
    rest: bool
    """True where the last note is root, third or fifth of the chord below."""


@dataclass(frozen=True, slots=True)
class Section:
    """A section of the form."""

    label: str
    """'A'; lower case 'i', 'b', 'o' for introduction, interlude and coda without voice. A later 'i' is the same music
    as the introduction; `role` says what it is there."""
    variant: int
    """0 for the first statement and exact repeats; 1 for A', 2 for A''."""
    start: float
    end: float
    bars: tuple[str, str]
    confidence: float
    corrected: bool = False
    """The user's own reading."""
    role: Role = ""
    """What a section without voice is by its place; empty for a sung one."""

    @property
    def name(self) -> str:
        """'A', "A'", "A''"."""
        return self.label + "'" * self.variant

    @property
    def told(self) -> str:
        """'A', "A'", 'introduction', 'coda', 'coda (the introduction again)'."""
        again = self.label == "i" and self.role != "introduction"
        return f"{self.role} (the introduction again)" if again and self.role else self.role or self.name


@dataclass(frozen=True, slots=True)
class Form:
    """The layout of the song."""

    name: str
    """'AABA', 'strophic', 'verse and chorus', … or 'through-composed'."""
    sections: tuple[Section, ...]
    extension: str = ""
    """'BA' when the form is followed by a further B and A."""
    confidence: float = 0.0


@dataclass(frozen=True, slots=True)
class ChangedNote:
    """A note of one statement at a change, placed and spelled as it stands, or would stand, in the later one."""

    pitch: str
    at: float
    """Offset in the later statement."""
    bar: str
    beat: float
    quarters: float
    """How long it is held."""
    struck: bool = True
    """False where it began before the change and only goes on sounding there."""


@dataclass(frozen=True, slots=True)
class Change:
    """One difference between two statements."""

    at: float
    """Offset in the later statement."""
    bar: str
    beat: float
    was: str
    """The side of the first statement in words: 'G4', 'G4 on beat 3', 'rest', a chord symbol; '' for nothing."""
    now: str
    what: ChangeKind
    before: tuple[ChangedNote, ...] = ()
    """The notes of the first statement; none for a rest, and none of a changed harmony."""
    after: tuple[ChangedNote, ...] = ()
    """The notes of the later statement, likewise."""
    follows_words: bool = False
    """A note split or joined for another number of syllables, each note with its own; the tune is the same."""


@dataclass(frozen=True, slots=True)
class Return:
    """A later statement of an earlier passage."""

    of: tuple[float, float]
    again: tuple[float, float]
    transposed: int
    """Semitones; positive is up."""
    changes: tuple[Change, ...]
    shift: float | None = None
    """Quarters from each note of the first statement to the same note of the later one; None where the two begin
    alike."""

    @property
    def apart(self) -> float:
        """Quarters from each note of the first statement to the same note of the later one."""
        return self.again[0] - self.of[0] if self.shift is None else self.shift


@dataclass(frozen=True, slots=True)
class Resolution:
    """Who resolves a rub, and when."""

    by: Literal["voice", "accompaniment", "none"]
    at: float | None


@dataclass(frozen=True, slots=True)
class Rub:
    """A sung note that clashes with the chord below."""

    start: float
    end: float
    bar: str
    beat: float
    voice: str
    chord: str
    against: str
    interval: str
    """'m2', 'M7', 'm9', 'TT', …"""
    resolves: Resolution


@dataclass(frozen=True, slots=True)
class RestOverUnresolved:
    """A phrase that ends on degree 1, 3 or 5 of the key while the chord below is not at rest."""

    phrase: int
    start: float
    """From here on the sung note stands over this chord."""
    bar: str
    beat: float
    pitch: str
    degree: str
    chord: str
    """Lead-sheet symbol."""
    figure: str
    """Roman numeral."""


@dataclass(frozen=True, slots=True)
class RootRun:
    """A run of root-position chords."""

    start: float
    end: float
    length: int
    """Chords in the run."""


@dataclass(frozen=True, slots=True)
class SmoothBass:
    """A stepwise bass found for a passage."""

    start: float
    end: float
    bass: tuple[str, ...]
    """Spelled pitches, one for each chord of the passage."""


@dataclass(frozen=True, slots=True)
class Bassline:
    """How the bass moves."""

    root_position_share: float
    """Share of time in root position, 0 to 1."""
    runs: tuple[RootRun, ...]
    smooth: tuple[SmoothBass, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """Everything the engine found in one song."""

    song: SongInfo
    order: tuple[OrderSpan, ...]
    keys: tuple[KeySpan, ...]
    chords: tuple[ChordSpan, ...]
    borrowed: tuple[BorrowedTone, ...]
    phrases: tuple[PhraseSpan, ...]
    ends: tuple[PhraseEnd, ...]
    form: Form
    returns: tuple[Return, ...]
    rubs: tuple[Rub, ...]
    bassline: Bassline
    voice: VoiceProfile
    warnings: tuple[str, ...] = ()
    """What was assumed or could not be read, one line each."""
    corrected: bool = False
    """True when a correction of the user was applied."""
    schema: int = 1
    hanging: tuple[RestOverUnresolved, ...] = ()
    """Sung notes at rest over harmony that is not."""
    modes: tuple[ModeSpan, ...] = ()
    """Stretches that are not plainly major or minor."""

    def mode_of(self, tone: BorrowedTone) -> ModeSpan | None:
        """The stretch in a mode whose mark a lent tone is; None where the tone is a guest."""
        for span in self.modes:
            if tone.kind == "modal" and tone.degree == span.degree and span.start <= tone.start < span.end:
                return span
        return None


@dataclass(frozen=True, slots=True)
class Corrections:
    """What the user says the song really is; kept beside the song and applied on every reading."""

    keys: tuple[KeySpan, ...] = ()
    """Replace the engine's keys where they stand; `corrected` is True."""
    chords: tuple[ChordSpan, ...] = ()
    """Replace the engine's chords where they stand; `corrected` is True."""
    sections: tuple[Section, ...] = ()
    """Replace the engine's sections where they stand; `corrected` is True."""
    voice_part: str | None = None
    """Id of the part that is sung."""

    def __bool__(self) -> bool:
        return bool(self.keys or self.chords or self.sections or self.voice_part)
