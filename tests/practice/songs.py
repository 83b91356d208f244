"""An invented song, written note by note, with a reading written beside it by hand.

"Paper Lanterns" has four phrases of four bars in C major, A A' B A: the second changes one note, the bridge leaves the
tonic, bar 10 borrows F minor, bar 3 rubs F against E.
"""

from __future__ import annotations

from tutor.analysis.findings import (
    Bassline,
    BorrowedTone,
    Change,
    ChangedNote,
    ChordSpan,
    Climax,
    Dose,
    Form,
    HighNote,
    KeySpan,
    Leap,
    OrderSpan,
    PartInfo,
    PhraseEnd,
    PhraseSpan,
    Reading,
    Resolution,
    Return,
    Rub,
    Section,
    SongInfo,
    Tessitura,
    VoiceProfile,
)  # fmt: skip
from tutor.music.pitch import Pitch
from tutor.music.table import MeasureRow, NoteRow, NoteTable, PartRow, TempoRow
from tutor.practice.drill import Song

_A = "E4:2 G4:2 | A4:1 G4:1 F4:2 | F4:1 E4:1 D4:2 | C4:4"
_A2 = "E4:2 G4:2 | A4:1 B4:1 F4:2 | F4:1 E4:1 D4:2 | C4:4"
_B = "A4:1 A4:1 C5:2 | Ab4:2 C5:2 | B4:1 D5:1 G4:2 | D4:4"
MELODY = (_A, _A2, _B, _A)

# (bar, root, quality, bass pitch, upper pitches, figure)
_ACCOMPANIMENT = (
    ("C", "major", "C3", "E3 G3 C4", "I", 0), ("F", "major", "A2", "F3 A3 C4", "IV6", 1),
    ("C", "major", "G2", "E3 G3 C4", "I64", 2), ("C", "major", "C3", "E3 G3 C4", "I", 0),
    ("C", "major", "C3", "E3 G3 C4", "I", 0), ("F", "major", "A2", "F3 A3 C4", "IV6", 1),
    ("G", "dominant-seventh", "F2", "G3 B3 D4 F3", "V42", 3), ("C", "major", "E3", "G3 C4 E4", "I6", 1),
    ("F", "major", "F2", "A3 C4 F4", "IV", 0), ("F", "minor", "F2", "Ab3 C4 F4", "iv", 0),
    ("G", "major", "G2", "B3 D4 G4", "V", 0), ("G", "major", "B2", "B3 D4 G4", "V6", 1),
    ("C", "major", "C3", "E3 G3 C4", "I", 0), ("F", "major", "F2", "F3 A3 C4", "IV", 0),
    ("G", "dominant-seventh", "G2", "B3 D4 F4", "V7", 0), ("C", "major", "C3", "E3 G3 C4", "I", 0),
)  # fmt: skip
_SYMBOL = {"major": "", "minor": "m", "dominant-seventh": "7"}
_TONES = {"major": (0, 4, 1), "minor": (0, -3, 1), "dominant-seventh": (0, 4, 1, -2)}
_WORDS = ["pa", "per", "lan", "terns", "on", "the", "wa", "ter", "drift"]


def _row(pitch: str, onset: float, length: float, part: int, bar: int, syllable: str = "") -> NoteRow:
    p = Pitch.parse(pitch)
    return NoteRow(onset, length, p.step, p.alter, p.octave, part, bar, syllable=syllable,
                   syllabic="single" if syllable else "")  # fmt: skip


def _notes() -> list[NoteRow]:
    rows: list[NoteRow] = []
    at, word = 0.0, 0
    for phrase in MELODY:
        for bar_text in phrase.split(" | "):
            for token in bar_text.split():
                name, length = token.split(":")
                rows.append(_row(name, at, float(length), 0, int(at // 4), _WORDS[word % len(_WORDS)]))
                at, word = at + float(length), word + 1
    for bar, (_, _, bass, upper, _, _) in enumerate(_ACCOMPANIMENT):
        rows += [_row(p, bar * 4.0, 4.0, 1, bar) for p in upper.split()]
        rows.append(_row(bass, bar * 4.0, 4.0, 2, bar))
    return sorted(rows, key=lambda n: (n.onset_quarters, n.midi, n.part))


def table() -> NoteTable:
    """The score."""
    parts = (PartRow("P1", "Voice", "voice"), PartRow("P2", "Piano", "accompaniment"),
             PartRow("P3", "Piano", "accompaniment"))  # fmt: skip
    bars = tuple(MeasureRow(str(i + 1), i * 4.0, 4.0, 4, 4, 0) for i in range(16))
    return NoteTable("Paper Lanterns", "invented", "musicxml", "a" * 64, parts, bars, tuple(_notes()),
                     tempos=(TempoRow(0.0, 84.0),))  # fmt: skip


def _chord(bar: int) -> ChordSpan:
    from tutor.music.pitch import PitchClass

    root, quality, bass, _, figure, inversion = _ACCOMPANIMENT[bar]
    low = Pitch.parse(bass).pitch_class.name
    home = PitchClass.parse(root)
    tones = tuple(PitchClass(home.fifths + f).name for f in _TONES[quality])
    slash = f"/{low}" if inversion else ""
    return ChordSpan(bar * 4.0, bar * 4.0 + 4, str(bar + 1), 1.0, root, quality, low, inversion, figure,  # type: ignore[arg-type]
                     "C major", f"{root}{_SYMBOL[quality]}{slash}", 0.97, tones)  # fmt: skip


def reading() -> Reading:
    """What the engine would find, all of it sure."""
    parts = tuple(PartInfo(p.id, p.name, p.role) for p in table().parts)
    sections = tuple(
        Section(label, variant, i * 16.0, i * 16.0 + 16, (str(i * 4 + 1), str(i * 4 + 4)), 0.95)
        for i, (label, variant) in enumerate((("A", 0), ("A", 1), ("B", 0), ("A", 0)))
    )
    phrases = tuple(PhraseSpan(i, i * 16.0, i * 16.0 + 16, (str(i * 4 + 1), str(i * 4 + 4)), "") for i in range(4))
    ends = tuple(
        PhraseEnd(i, p, d, True) for i, (p, d) in enumerate((("C4", "1"), ("C4", "1"), ("D4", "2"), ("C4", "1")))
    )
    borrowed = tuple(
        BorrowedTone(36.0, 38.0, "10", 1.0, part, pitch, "b6", "modal", ("aeolian", "phrygian", "locrian"), "Fm",
                     "C major", 0.96, in_key=0.97)
        for part, pitch in (("P1", "Ab4"), ("P2", "Ab3"))
    )  # fmt: skip
    was, now = (ChangedNote(p, 21.0, "6", 2.0, 1.0) for p in ("G4", "B4"))
    changes = (Change(21.0, "6", 2.0, "G4", "B4", "pitch", (was,), (now,)),)
    rubs = (Rub(8.0, 9.0, "3", 1.0, "F4", "C/G", "E", "m2", Resolution("voice", 9.0)),)
    voice = VoiceProfile(
        "C4", "D5", 14, Tessitura("D4", "G4", "C5"), {"C4": 12.0}, {"C4": 8.0}, False, Dose(40.0, 15000.0), 11.0,
        Climax(41.0, "11", "D5", 1.0, "leap of a minor third up from B4", ("the highest note",)),
        (HighNote(41.0, "11", "D5", 1.0, "drift", "i"),),
        (Leap(34.0, "9", "A4", "C5", 3), Leap(41.0, "11", "B4", "D5", 3)), 1.2,
    )  # fmt: skip
    return Reading(
        SongInfo("Paper Lanterns", "invented", "musicxml", "a" * 64, 16, 64.0, parts), (OrderSpan(0.0, 64.0, 1),),
        (KeySpan(0.0, 64.0, "C", "major", 0.98),), tuple(_chord(i) for i in range(16)), borrowed, phrases, ends,
        Form("AABA", sections, "", 0.95),
        (Return((0.0, 16.0), (16.0, 32.0), 0, changes), Return((0.0, 16.0), (48.0, 64.0), 0, ())), rubs,
        Bassline(0.5, (), ()), voice,
    )  # fmt: skip


def lanterns() -> Song:
    """The song, ready to be asked about."""
    return Song("a" * 64, "Paper Lanterns", table(), reading())
