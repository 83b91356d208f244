"""Stretches in a mode: invented ones, the bundled songs', and tunes whose collection names their mode."""

from __future__ import annotations

import re
from importlib.resources import as_file, files

import pytest

from tests.analysis.invented import table
from tests.bench.likeness import corpus
from tutor.analysis.borrowed import find_borrowed
from tutor.analysis.findings import BorrowedTone, KeySpan, ModeSpan
from tutor.analysis.modes import find_modes
from tutor.analysis.reading import read
from tutor.lessons import bundled_songs
from tutor.music.pitch import PitchClass
from tutor.music.scale import MODES, Key
from tutor.music.table import NoteTable
from tutor.score.read import read_file, read_score
from tutor.studio.composers import composers_reading

_SIGNED = re.compile(r"(?m)^K: *([A-G][#b]?)(dor|mix|lyd|phr)[a-z]* *$", re.IGNORECASE)
_FULL = {"dor": "dorian", "mix": "mixolydian", "lyd": "lydian", "phr": "phrygian"}


def _line(mode: str, tonic: str = "D") -> str:
    """Two bars up the scale of a mode."""
    key = Key(PitchClass.parse(tonic), "major")
    return " ".join(f"{key.pitch(degree, 4).name}:1" for degree in (*MODES[mode], "1")) + " "


def _foreign(notes: NoteTable, key: KeySpan) -> list[BorrowedTone]:
    """Every tone that is not in the scale of the key, as if a mode lent it."""
    home = Key(PitchClass.parse(key.tonic), key.mode)
    return [
        BorrowedTone(
            n.onset_quarters, n.end_quarters, "1", 1.0, notes.parts[n.part].id, n.pitch.name,
            home.degree_of(n.pitch.pitch_class), "modal", (), "", key.name, 1.0,
        )
        for n in notes.notes
        if home.degree_of(n.pitch.pitch_class) not in (*home.degrees, "7")
    ]  # fmt: skip


def _modes(notes: NoteTable, tonic: str, minor: bool) -> tuple[ModeSpan, ...]:
    key = KeySpan(0.0, notes.length_quarters, tonic, "minor" if minor else "major", 1.0)
    return find_modes(notes, [key], _foreign(notes, key))


@pytest.mark.parametrize("mode", ["lydian", "ionian", "mixolydian", "dorian", "aeolian", "phrygian"])
def test_a_scale_is_named_by_its_mode(mode: str) -> None:
    found = _modes(table(_line(mode) * 3), "D", "b3" in MODES[mode])
    plain = mode in ("ionian", "aeolian")
    assert [(m.name, m.bars, m.share) for m in found] == ([] if plain else [(f"D {mode}", ("1", "6"), 1.0)])


def test_the_raised_tones_of_melodic_minor_are_no_dorian() -> None:
    up = " ".join(f"{Key.parse('D major').pitch(d, 4).name}:1" for d in ("1", "2", "b3", "4", "5", "6", "7", "1"))
    assert _modes(table(f"{up} " * 4), "D", True) == ()


def test_a_mode_begins_and_ends_where_its_tone_does() -> None:
    found = _modes(table(_line("ionian") * 5 + _line("lydian") * 5 + _line("ionian") * 5), "D", False)
    assert [(m.name, m.bars) for m in found] == [("D lydian", ("11", "19"))]


def test_one_lent_tone_makes_no_mode() -> None:
    assert _modes(table(_line("ionian") * 2 + _line("mixolydian") + _line("ionian") * 2), "D", False) == ()


def test_tones_of_applied_chords_make_no_mode() -> None:
    """II leading to V in every other bar: the raised fourth is its leading tone."""
    chords = "C3+E4+G4:4 D3+F#4+A4+C5:4 G3+D4+G4+B4:4 C3+E4+G4:4 "
    notes = table("E5:4 F#5:4 G5:4 E5:4 " * 3, chords * 3)
    reading = read(notes)
    assert "applied" in {b.kind for b in reading.borrowed}
    assert reading.modes == find_modes(notes, reading.keys, find_borrowed(notes, reading.keys, reading.chords)) == ()


MEANT = {
    "fifty-minutes-later": [("F lydian", ("19", "24"))],
    "ebb-counting": [("D dorian", ("1", "29"))],
    "measure-twice": [("G mixolydian", ("1", "25"))],
    "salt-on-the-sill": [("C lydian", ("1", "10"))],
}
"""Where the songs were written in a mode; the lesson on modes says the same."""


@pytest.mark.parametrize("name", [s.name for s in bundled_songs()])
def test_the_songs_stand_in_the_modes_they_were_written_in(name: str) -> None:
    song = next(s for s in bundled_songs() if s.name == name)
    with as_file(files("lessons") / "songs" / f"{name}.musicxml") as path:
        notes = read_file(path)
    meant = composers_reading(song, notes)
    found = find_modes(notes, meant.keys, find_borrowed(notes, meant.keys, meant.chords))
    assert [(m.name, m.bars) for m in found] == MEANT.get(name, [])


def _signed(limit: int) -> list[tuple[NoteTable, str, str]]:
    """Tunes of a collection of 1903 whose key line names a church mode: table, tonic, mode."""
    out = []
    for file in sorted((corpus() / "oneills1850").glob("*.abc")):
        for tune in re.split(r"(?m)^(?=X:)", file.read_text(encoding="utf-8", errors="replace")):
            sign = _SIGNED.search(tune)
            if sign and tune.startswith("X:"):
                out.append((read_score(tune.encode(), "tune.abc"), sign[1], _FULL[sign[2].lower()]))
            if len(out) == limit:
                return out
    return out


def test_tunes_stand_in_the_mode_that_their_collection_names() -> None:
    """O'Neill's Music of Ireland in ABC, as music21's corpus carries it; the tonic is given."""
    tunes = _signed(24)
    right = 0
    for notes, tonic, mode in tunes:
        found = _modes(notes, tonic, mode in ("dorian", "phrygian"))
        most = max(found, key=lambda m: m.end - m.start, default=None)
        right += most is not None and most.mode == mode and most.end - most.start > notes.length_quarters / 2
    assert len(tunes) == 24
    assert right >= 19
