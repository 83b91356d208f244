"""Corrections beside a song."""

from __future__ import annotations

import os
import random
import warnings
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from music21 import converter, corpus

from tests.score import makers
from tutor.analysis.findings import ChordSpan, Corrections, KeySpan, Section
from tutor.errors import SidecarError
from tutor.music.roman import parse_roman
from tutor.music.table import NoteTable
from tutor.score import sidecar
from tutor.score.places import Places
from tutor.score.read import read_file, read_score
from tutor.score.romantext import parse_romantext, read_beat, write_beat, write_key

_ANALYSIS = """Composer: Nobody
Title: The Lantern
Time Signature: 4/4

m1 C: I b3 V6
m2 b1 vi b2.5 V7/V b4 G: V
Note: the turn to the dominant
m3 I || b3 viio7/vi
m3var1 IV
m4 = m1
"""


@pytest.fixture
def song(tmp_path: Path) -> Path:
    path = tmp_path / "lantern.musicxml"
    path.write_bytes(makers.small_song(6))
    return path


@pytest.fixture
def table(song: Path) -> NoteTable:
    return read_file(song)


def _chords(text: str, table: NoteTable) -> tuple[ChordSpan, ...]:
    return sidecar.harmony_spans(parse_romantext(text, "a.rntxt"), table, "a.rntxt")[0]


def test_an_analysis_becomes_spans(table: NoteTable) -> None:
    chords, keys = sidecar.harmony_spans(parse_romantext(_ANALYSIS, "a.rntxt"), table, "a.rntxt")
    assert [(c.start, c.end, c.bar, c.beat, c.figure, c.key) for c in chords] == [
        (0.0, 2.0, "1", 1.0, "I", "C major"),
        (2.0, 4.0, "1", 3.0, "V6", "C major"),
        (4.0, 5.5, "2", 1.0, "vi", "C major"),
        (5.5, 7.0, "2", 2.5, "V7/V", "C major"),
        (7.0, 8.0, "2", 4.0, "V", "G major"),
        (8.0, 10.0, "3", 1.0, "I", "G major"),
        (10.0, 12.0, "3", 3.0, "viio7/vi", "G major"),
        (12.0, 14.0, "4", 1.0, "I", "C major"),
        (14.0, 24.0, "4", 3.0, "V6", "C major"),
    ]
    first = chords[1]
    assert (first.root, first.quality, first.bass, first.inversion, first.symbol) == ("G", "major", "B", 1, "G/B")
    assert first.tones == ("G", "B", "D")
    assert first.corrected
    assert first.confidence == 1.0
    assert [(k.start, k.end, k.name) for k in keys] == [
        (0.0, 7.0, "C major"),
        (7.0, 12.0, "G major"),
        (12.0, 24.0, "C major"),
    ]


def test_corrections_are_kept_and_come_back(song: Path, table: NoteTable) -> None:
    chords = _chords(_ANALYSIS, table)
    kept = Corrections(
        keys=(KeySpan(4.0, 12.0, "Bb", "minor", 1.0, corrected=True),),
        chords=(chords[1], chords[3], chords[4]),
        sections=(
            Section("A", 0, 0.0, 8.0, ("1", "2"), 1.0, corrected=True),
            Section("B", 2, 8.0, 24.0, ("3", "6"), 1.0, corrected=True),
        ),
        voice_part="P2-Staff1",
    )
    before = song.read_bytes()
    sidecar.save(song, table, kept)
    assert sidecar.load(song, table) == kept
    assert sidecar.voice_part(song) == "P2-Staff1"
    assert song.read_bytes() == before
    assert "m1 b3 C: V6\n" in sidecar.harmony_path(song).read_text()
    if os.name == "posix":
        assert sidecar.details_path(song).stat().st_mode & 0o077 == 0


def test_a_whole_analysis_comes_back_with_its_keys(song: Path, table: NoteTable) -> None:
    chords, keys = sidecar.harmony_spans(parse_romantext(_ANALYSIS, "a.rntxt"), table, "a.rntxt")
    sidecar.save(song, table, Corrections(keys=keys, chords=chords))
    assert not sidecar.details_path(song).exists()
    assert sidecar.load(song, table) == Corrections(keys=keys, chords=chords)


def test_bars_numbered_twice_or_with_letters_are_told_apart(tmp_path: Path) -> None:
    numbers = ("1", "X1", "2", "2", "3a", "-", "X1")
    bars = [
        makers.bar(n, makers.attributes() if n == "1" else "", *[makers.note("C5", lyric="o")] * 4) for n in numbers
    ]
    path = tmp_path / "odd.xml"
    path.write_text(makers.score([("Voice", bars)]))
    table = read_file(path)
    model = _chords("m1 C: V65/V b2 bVI", table)[0]
    chords = tuple(
        replace(model, start=at, end=at + 1.5, bar=table.bar_at(at).number, beat=table.beat_at(at))
        for at in (0.5, 5.0, 8.0, 12.0, 17.0, 20.0, 24.5)
    )
    keys = (KeySpan(12.0, 24.0, "F#", "minor", 1.0, corrected=True),)
    sidecar.save(path, table, Corrections(chords=chords, keys=keys))
    assert sidecar.load(path, table) == Corrections(chords=chords, keys=keys)


def test_nothing_to_keep_leaves_no_file(song: Path, table: NoteTable) -> None:
    assert not sidecar.load(song, table)
    sidecar.save(song, table, Corrections(voice_part="P1"))
    sidecar.save(song, table, Corrections())
    assert [p.name for p in song.parent.iterdir()] == ["lantern.musicxml"]


def test_chords_at_any_place_come_back(song: Path, table: NoteTable) -> None:
    rng = random.Random(7)
    pool = _chords(_ANALYSIS, table)
    for _ in range(40):
        places = sorted(rng.sample([n / 12 for n in range(1, 24 * 12)], 6))
        spans = []
        for start, end in zip(places[::2], places[1::2], strict=True):
            start, end = round(start, 6), round(end, 6)
            bar = table.bar_at(start).number
            spans.append(replace(rng.choice(pool), start=start, end=end, bar=bar, beat=table.beat_at(start)))
        sidecar.save(song, table, Corrections(chords=tuple(spans)))
        back = sidecar.load(song, table).chords
        assert [(c.figure, c.key) for c in back] == [(c.figure, c.key) for c in spans]
        for one, other in zip(back, spans, strict=True):
            assert one.start == pytest.approx(other.start, abs=1e-3)
            assert one.end == pytest.approx(other.end, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("m1 I", "line 1: no key is named"),
        ("m1 C: I\nm2 b1 XX", "line 2: 'XX' is no Roman numeral"),
        ("m1 C: I\nm9 V", "line 2: the song has no bar 9"),
        ("m1 C: I b6 V", "bar 1 has no beat 6"),
        ("m1 C: I\nm2-4 = m1", "another length"),
        ("m1 C: I\nm1 = m1", "repeats itself"),
        ("m1 C: I\nm1-99999 = m2-100000", "another length"),
        ("hello there", "is no line of an analysis"),
        ("mist", "is no line of an analysis"),
    ],
)
def test_what_cannot_be_read_is_told(text: str, says: str, table: NoteTable) -> None:
    with pytest.raises(SidecarError) as caught:
        _chords(text, table)
    assert says in caught.value.line
    assert caught.value.line.startswith("a.rntxt")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("form = 99", "later version"),
        ("form = ", "cannot be read"),
        ("key = 3", "not a list"),
        ('[[key]]\ntonic = "H"\nmode = "major"\nfrom = ["1", 1]\nto = "end"', "no tonic"),
        ('[[key]]\ntonic = "C"\nmode = "dorian"\nfrom = ["1", 1]\nto = "end"', "'major' or 'minor'"),
        ('[[key]]\ntonic = "C"\nmode = "major"\nfrom = ["1", 1]', "'to' is not a bar"),
        ('[[key]]\ntonic = "C"\nmode = "major"\nfrom = ["3", 1]\nto = ["2", 1]', "does not come after"),
        ('[[section]]\nlabel = "\\u001b[2J"\nfrom = ["1", 1]\nto = "end"', "called by a letter"),
        ('[[section]]\nlabel = "A"\nvariant = -1\nfrom = ["1", 1]\nto = "end"', "a number from 0"),
    ],
)
def test_damaged_details_are_told(text: str, says: str, song: Path, table: NoteTable) -> None:
    sidecar.details_path(song).write_text(text)
    with pytest.raises(SidecarError) as caught:
        sidecar.load(song, table)
    assert says in caught.value.line
    assert caught.value.line.startswith(str(sidecar.details_path(song)))
    assert caught.value.line.endswith(("Mend the file or move it away.", "or move the file away."))


def test_binary_sidecars_are_told(song: Path, table: NoteTable) -> None:
    sidecar.harmony_path(song).write_bytes(bytes(range(256)))
    with pytest.raises(SidecarError, match="not plain text"):
        sidecar.load(song, table)


@pytest.fixture
def kept(song: Path, table: NoteTable) -> Corrections:
    """Corrections of every kind, written beside the song."""
    sections = (Section("A", 0, 0.0, 8.0, ("1", "2"), 1.0, True), Section("B", 2, 8.0, 24.0, ("3", "6"), 1.0, True))
    keys = (KeySpan(4.0, 12.0, "Bb", "minor", 1.0, corrected=True),)
    chords = tuple(_chords(_ANALYSIS, table)[n] for n in (1, 3, 4))
    mine = Corrections(keys=keys, chords=chords, sections=sections, voice_part="P1")
    sidecar.save(song, table, mine)
    return mine


@pytest.mark.parametrize("path_of", [sidecar.harmony_path, sidecar.details_path])
def test_a_file_that_was_cut_anywhere_is_told(
    path_of: Callable[[Path], Path], song: Path, table: NoteTable, kept: Corrections
) -> None:
    path = path_of(song)
    whole = path.read_text()
    lines = whole.splitlines(keepends=True)
    cut = [whole[:n] for n in range(0, len(whole) - 1, 3)] + [whole[n:] for n in range(1, len(whole) + 1, 3)]
    cut += ["".join(lines[:n] + lines[n + 1 :]) for n, line in enumerate(lines) if line.strip()]
    cut += ["".join(lines[::2]), "".join(lines[1::2]), "\0" * len(whole), whole[:60] + "\0" * (len(whole) - 60), "\n"]
    for text in cut:
        path.write_text(text)
        with pytest.raises(SidecarError) as caught:
            sidecar.load(song, table)
        assert caught.value.where.startswith(str(path)), text
        assert "\n" not in caught.value.line
        assert path.read_text() == text
    path.write_text("".join(lines[: len(lines) // 2]))
    with pytest.raises(SidecarError, match=r"cut short: \d+ of \d+ lines are left\. Put a whole copy"):
        sidecar.load(song, table)
    path.write_text("".join(lines[:-1]))
    with pytest.raises(SidecarError, match="cut short: the last line is missing"):
        sidecar.load(song, table)
    path.write_text(whole.rstrip())
    assert sidecar.load(song, table) == kept


@pytest.mark.parametrize("sign", ["#", "Note:"])
def test_files_without_a_count_and_those_added_to_are_read(
    sign: str, song: Path, table: NoteTable, kept: Corrections
) -> None:
    path = sidecar.details_path(song) if sign == "#" else sidecar.harmony_path(song)
    lines = path.read_text().splitlines()
    assert [line.startswith(sign) for line in (lines[0], lines[-1])] == [True, True]
    path.write_text("\n".join(lines[1:-1]))
    assert sidecar.load(song, table) == kept, "as it was written before there was a count"
    more = '[[section]]\nlabel = "C"\nfrom = ["6", 1]\nto = "end"' if sign == "#" else "m6 b1 I"
    for text in ([*lines, more], [*lines[:-1], more, lines[-1]]):
        path.write_text("\r\n".join(text))
        assert len(sidecar.load(song, table).sections + sidecar.load(song, table).chords) == 6
    path.write_text(f"{sign} by hand, nothing yet\n")
    sidecar.load(song, table)


def test_an_imported_analysis_that_was_cut_short_is_told(
    song: Path, table: NoteTable, kept: Corrections, tmp_path: Path
) -> None:
    theirs = tmp_path / "theirs.txt"
    whole = sidecar.harmony_path(song).read_text()
    theirs.write_text(whole)
    assert sidecar.import_romantext(theirs, table).chords == kept.chords
    theirs.write_text(whole[: whole.index("m2")])
    with pytest.raises(SidecarError, match="cut short"):
        sidecar.import_romantext(theirs, table)


def test_import_of_an_analysis(song: Path, table: NoteTable, tmp_path: Path) -> None:
    path = tmp_path / "theirs.txt"
    path.write_text(_ANALYSIS)
    found = sidecar.import_romantext(path, table)
    assert len(found.chords) == 9
    path.write_text("Title: nothing here\n")
    with pytest.raises(SidecarError, match="no chords"):
        sidecar.import_romantext(path, table)
    with pytest.raises(SidecarError, match="no such file"):
        sidecar.import_romantext(tmp_path / "gone.txt", table)


def test_mutated_analyses_are_read_or_told(table: NoteTable) -> None:
    rng = random.Random(3)
    for _ in range(400):
        text = list(_ANALYSIS)
        for _ in range(rng.randrange(1, 6)):
            text[rng.randrange(len(text))] = rng.choice("mb:/=-19IVio7#.%\n\x1b ")
        try:
            chords = _chords("".join(text), table)
        except SidecarError as error:
            line = error.line
        else:
            line = ""
            assert all(c.end > c.start for c in chords)
        assert "\n" not in line
        assert "\x1b" not in line


def test_mutated_details_are_read_or_told(song: Path, table: NoteTable) -> None:
    sections = (Section("A", 1, 0.0, 8.0, ("1", "2"), 1.0, corrected=True),)
    keys = (KeySpan(4.0, 12.0, "Bb", "minor", 1.0, corrected=True),)
    sidecar.save(song, table, Corrections(keys=keys, sections=sections, voice_part="P1"))
    path = sidecar.details_path(song)
    whole = path.read_text()
    rng = random.Random(5)
    outcomes = set()
    for _ in range(400):
        text = list(whole)
        for _ in range(rng.randrange(1, 4)):
            text[rng.randrange(len(text))] = rng.choice('[]="\n#1-\x00.,A ')
        path.write_text("".join(text))
        try:
            outcomes.add(bool(sidecar.load(song, table)))
        except SidecarError as error:
            line = error.line
        else:
            line = ""
        assert "\n" not in line
        assert "\x00" not in line
    assert True in outcomes


def test_of_a_chord_read_in_two_keys_the_new_key_stays(table: NoteTable) -> None:
    chords = _chords("m1 C: I b3 vi G: ii b4 V", table)
    assert [(c.start, c.figure, c.key) for c in chords] == [
        (0.0, "I", "C major"),
        (2.0, "ii", "G major"),
        (3.0, "V", "G major"),
    ]


@pytest.mark.parametrize("parts", [1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48])
def test_beats_are_written_to_read_back(parts: int) -> None:
    for number in range(parts):
        beat = 2 + number / parts
        assert read_beat(write_beat(beat)[1:]) == pytest.approx(beat, abs=1e-4)


def test_beats_as_analysts_round_them() -> None:
    assert read_beat("1.33") == pytest.approx(4 / 3)
    assert read_beat("1.66") == pytest.approx(5 / 3)
    assert read_beat("1.67") == pytest.approx(5 / 3)
    assert read_beat("2.17") == pytest.approx(2 + 1 / 6)
    assert read_beat("1.66.5") == pytest.approx(1 + 5 / 6)
    assert read_beat("1.12") == 1.125


def _compound() -> NoteTable:
    lead = makers.attributes(beats=6).replace("<beat-type>4", "<beat-type>8")
    bars = [
        makers.bar("0", lead, makers.note("G4", 0.5), implicit=True),
        makers.bar("1", *[makers.note("C5", 0.5)] * 6),
        makers.bar("2", makers.note("C5", 3)),
    ]
    return read_score(makers.score([("Voice", bars)]).encode(), "six.xml")


def test_up_beats_and_compound_metres() -> None:
    table = _compound()
    places = Places(table, "x")
    assert places.offset("0", 2 + 2 / 3) == 0.0
    assert places.offset("1", 2) == 2.0
    assert places.offset("1", 1 + 1 / 3) == 1.0
    bar, beat = places.place(0.0)
    assert (bar, round(beat, 4)) == ("0", 2.6667)
    assert places.place(2.0) == ("1", 2.0)
    chords = _chords("m0 b2.66 G: V\nm1 I b2 IV\nm2 b1 I", table)
    assert [c.start for c in chords] == [0.0, 0.5, 2.0, 3.5]
    small = _chords("m0 b6 G: V\nm1 b1 I b4 IV b6 V\nm2 b1 I", table)
    assert [c.start for c in small] == [0.0, 0.5, 2.0, 3.0, 3.5]


def test_human_analyses_are_placed_as_music21_places_them() -> None:
    """Bar, beat, key and tones of every chord in some analyses that music21 carries."""
    checked = 0
    for path in [p for p in corpus.getComposer("bach") if str(p).endswith(".rntxt")][:8]:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            score = converter.parse(path, forceSource=True, format="romanText")
        theirs = {
            (str(n.measureNumber), round(float(n.beat), 1)): (n.key.tonicPitchNameWithCase, sorted(set(n.pitchClasses)))
            for n in score.recurse().getElementsByClass("RomanNumeral")
        }
        events = parse_romantext(path.read_text(), path.name).events
        places = Counter((e.bar, e.beat) for e in events)
        for event in events:
            pivot = places[(event.bar, event.beat)] > 1  # one chord in two keys
            if pivot or event.bar == "0" or "[" in event.figure:  # music21 counts an up-beat from its start
                continue
            key = write_key(event.tonic, event.mode)[:-1]
            chromas = sorted({t.chroma for t in parse_roman(event.figure, event.tonic, event.mode).tones})
            name, tones = theirs[(event.bar, round(event.beat, 1))]
            assert (key, chromas) == (name[0] + name[1:].replace("-", "b"), tones), (path.name, event)
            checked += 1
    assert checked > 300
