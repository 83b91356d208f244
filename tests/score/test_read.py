"""Scores into tables: notes, words, bars and parts."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import pytest
from music21 import corpus

from tests.score import makers
from tests.score.makers import attributes, bar, note, score
from tests.score.reading import read, rows
from tutor.music.table import NoteTable
from tutor.score.places import Places
from tutor.score.read import read_file, read_score, table_from_music21


def test_spelling_rests_and_lengths() -> None:
    table = read(bar(1, attributes(fifths=-3), note("Eb4", 1.5), note("r", 0.5), note("F#4"), note("Cb5")))
    assert rows(table) == [(0.0, 1.5, "Eb4"), (2.0, 1.0, "F#4"), (3.0, 1.0, "Cb5")]
    assert table.measures[0].fifths == -3
    assert table.title == "The Lantern"
    assert table.format == "musicxml"
    assert len(table.sha256) == 64
    assert NoteTable.loads(table.dumps()) == table


def test_ties_become_one_note() -> None:
    table = read(
        bar(1, attributes(), note("C4", 3), note("D4", 1, tie="start", lyric="o", marks="<fermata/>")),
        bar(2, note("D4", 4, tie="stop start")),
        bar(3, note("D4", 1, tie="stop"), note("E4", 3)),
    )
    assert rows(table) == [(0.0, 3.0, "C4"), (3.0, 6.0, "D4"), (9.0, 3.0, "E4")]
    assert table.notes[1].syllable == "o"
    assert table.notes[1].fermata
    assert [n.measure for n in table.notes] == [0, 0, 2]


def test_a_tie_within_a_chord_holds_one_tone() -> None:
    table = read(
        bar(1, attributes(), note("C4", 2, tie="start"), note("E4", 2, chord=True), note("C4", 2, tie="stop")),
        bar(2, note("D4", 4)),
    )
    assert rows(table) == [(0.0, 4.0, "C4"), (0.0, 2.0, "E4"), (4.0, 4.0, "D4")]


def test_a_broken_chord_tied_into_its_last_chord() -> None:
    table = read(
        bar(
            1, attributes(), note("C4", 1, tie="start"), note("E4", 1, tie="start"), note("r", 1),
            note("C4", 1, tie="stop"), note("E4", 1, tie="stop", chord=True),
        )
    )  # fmt: skip
    assert rows(table) == [(0.0, 4.0, "C4"), (1.0, 3.0, "E4")]


def test_unisons_of_two_voices_are_one_note() -> None:
    table = read(
        bar(1, attributes(), note("C4", 4), "<backup><duration>16</duration></backup>", note("C4", 1, voice=2))
    )
    assert rows(table) == [(0.0, 4.0, "C4")]


def test_grace_notes_take_no_time() -> None:
    table = read(bar(1, attributes(), note("D4", grace=True), note("C4", 4)))
    assert [(n.pitch.name, n.duration_quarters, n.grace) for n in table.notes] == [
        ("C4", 4.0, False),
        ("D4", 0.0, True),
    ]


def test_words_syllables_and_verses() -> None:
    table = read(
        bar(
            1,
            attributes(),
            note("C4", lyric="lan", syllabic="begin", verses=["ri"]),
            note("D4", lyric="tern", syllabic="end", verses=["ver", "tree"]),
            note("E4", lyric="glow"),
            note("F4", verses=["", "sky"]),
        )
    )
    assert [(n.syllable, n.syllabic, n.verses) for n in table.notes] == [
        ("lan", "begin", ("ri",)),
        ("tern", "end", ("ver", "tree")),
        ("glow", "single", ()),
        ("", "", ("", "sky")),
    ]


def test_two_syllables_on_one_note() -> None:
    elided = (
        "<note><pitch><step>C</step><octave>4</octave></pitch><duration>16</duration><voice>1</voice>"
        "<lyric><syllabic>end</syllabic><text>ta</text><elision> </elision>"
        "<syllabic>begin</syllabic><text>a</text></lyric></note>"
    )
    table = read(bar(1, attributes(), elided))
    assert (table.notes[0].syllable, table.notes[0].syllabic) == ("ta a", "middle")


def test_slurs_breaths_and_fermatas() -> None:
    table = read(
        bar(
            1,
            attributes(),
            note("C4", marks='<slur type="start" number="1"/>'),
            note("D4", marks='<slur type="stop" number="1"/>'),
            note("E4", marks="<articulations><breath-mark/></articulations>"),
            note("F4", marks="<fermata/><articulations><caesura/></articulations>"),
        )
    )
    assert [(n.slur_start, n.slur_end, n.breath, n.fermata) for n in table.notes] == [
        (True, False, False, False),
        (False, True, False, False),
        (False, False, True, False),
        (False, False, True, True),
    ]


def test_up_beat_metre_and_key_changes() -> None:
    change = (
        "<attributes><key><fifths>2</fifths></key><time><beats>6</beats><beat-type>8</beat-type></time></attributes>"
    )
    table = read(
        bar(0, attributes(), note("G4"), implicit=True),
        bar(1, note("C5", 4)),
        bar("2a", change, note("D5", 3), right="<bar-style>light-light</bar-style>"),
        bar(3, note("D5", 3), right="<bar-style>light-heavy</bar-style>"),
    )
    assert [(b.number, b.start_quarters, b.duration_quarters) for b in table.measures] == [
        ("0", 0.0, 1.0),
        ("1", 1.0, 4.0),
        ("2a", 5.0, 3.0),
        ("3", 8.0, 3.0),
    ]
    assert [(b.numerator, b.denominator, b.fifths) for b in table.measures] == [
        (4, 4, 0),
        (4, 4, 0),
        (6, 8, 2),
        (6, 8, 2),
    ]
    assert [b.barline for b in table.measures] == ["", "", "double", "final"]
    assert table.beat_at(0.0) == 4.0


def test_bar_numbers_as_the_file_writes_them() -> None:
    bars = [bar(n, attributes() if n == "1" else "", note("C4", 4)) for n in ("1", "X1", "2", "2a", "-", "7")]
    assert [b.number for b in read(*bars).measures][:4] == ["1", "1", "2", "2a"]
    assert read(*bars).measures[5].number == "7"


def test_the_rest_of_a_split_bar_belongs_to_the_bar_before_it() -> None:
    first = bar("X1", attributes(), note("G4"), implicit=True)
    split = [
        bar(1, note("C5", 3), right='<repeat direction="backward"/>'),
        bar("X2", note("D5"), implicit=True),
        bar(2, note("E5", 4)),
        bar("X3", note("F5", 4), implicit=True),
    ]
    table = read(first, *split)
    assert [b.number for b in table.measures] == ["0", "1", "1", "2", "2"]
    assert [table.beat_at(b.start_quarters) for b in table.measures] == [4.0, 1.0, 4.0, 1.0, 1.0]
    assert (table.bar_at(4.0).number, table.beat_at(4.5)) == ("1", 4.5)
    ending = '<ending number="{0}" type="start"/>'.format
    closed = '<ending number="{0}" type="stop"/><repeat direction="backward"/>'.format
    voltas = read(
        bar(1, attributes(), note("C5", 4)),
        bar(2, note("D5", 2), left=ending(1), right=closed(1)),
        bar("X1", note("E5", 2), left=ending(2), right=closed(2).partition("<repeat")[0], implicit=True),
    )
    assert [(b.number, voltas.beat_at(b.start_quarters)) for b in voltas.measures[1:]] == [("2", 1.0), ("2", 1.0)]
    half = voltas.measures[0].end_quarters
    assert voltas.lacking(1) == voltas.lacking(2) == 0.0
    assert voltas.bar_at(half).number == "2"
    early = read(bar(1, attributes(), note("C5", 3)), bar("X1", note("D5"), implicit=True), bar(2, note("E5", 4)))
    assert [early.beat_at(b.start_quarters) for b in early.measures] == [1.0, 4.0, 1.0]
    other = [bar("1", attributes(), note("C4", 4)), bar("X1", note("C4", 3), implicit=True), bar("2", note("C4", 4))]
    voice = [bar("1", attributes(), note("C5", 4)), bar("X1", note("C5", 2), implicit=True), bar("2", note("C5", 4))]
    uneven = read_score(score([("Voice", voice), ("Piano", other)]).encode(), "x.musicxml")
    assert [w for w in uneven.warnings if "differ in length" in w] == [
        "bar 1: the parts differ in length; they are lined up bar by bar"
    ]


def endings(*numbers: str) -> NoteTable:
    """A whole bar, half a bar, its rest under a bracket for each time, and a bar more; ``numbers``: of the rests."""
    last = len(numbers)

    def under(n: int, number: str) -> str:
        end = f'<ending number="{n}" type="stop"/>' + ('<repeat direction="backward"/>' if n < last else "")
        left = f'<ending number="{n}" type="start"/>'
        return bar(number, note("D5"), note("E5"), left=left, right=end, implicit=number.startswith("X"))

    rests = [under(n, number) for n, number in enumerate(numbers, 1)]
    return read(bar(1, attributes(), note("C5", 4)), bar(2, note("C5", 2)), *rests, bar(3, note("F5", 4)))


@pytest.mark.parametrize("numbers", [("X1", "X2"), ("2", "2"), ("X1", "X2", "X3")])
def test_each_ending_that_completes_the_same_bar_counts_on_in_it(numbers: tuple[str, ...]) -> None:
    table = endings(*numbers)
    rests = [b for b in table.measures if b.endings]
    assert [b.number for b in rests] == ["2"] * len(numbers)
    assert [[table.beat_at(b.start_quarters + x) for x in (0.0, 1.0)] for b in rests] == [[3.0, 4.0]] * len(numbers)
    assert (table.measures[-1].number, table.beat_at(table.measures[-1].start_quarters)) == ("3", 1.0)
    places = Places(table, "a.musicxml")
    for at in (b.start_quarters + x for b in rests for x in (0.0, 1.0)):
        assert places.offset(*places.place(at)) == at, "a correction finds the ending it was made in"


def test_endings_of_another_length_or_after_a_whole_bar_count_from_one() -> None:
    whole = endings("3", "4")
    assert [whole.beat_at(b.start_quarters) for b in whole.measures if b.endings] == [1.0, 1.0]
    ending, stop = '<ending number="{}" type="start"/>'.format, '<ending number="{}" type="stop"/>'.format
    uneven = read(
        bar(1, attributes(), note("C5", 2)),
        bar("X1", note("D5", 2), left=ending(1), right=f'{stop(1)}<repeat direction="backward"/>', implicit=True),
        bar(2, note("E5", 4), left=ending(2), right=stop(2)),
    )
    assert [uneven.beat_at(b.start_quarters) for b in uneven.measures] == [1.0, 3.0, 1.0]


def test_notes_that_have_no_row_are_told() -> None:
    drum = (
        "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
        "<duration>16</duration><voice>1</voice></note>"
    )
    drums = score([("Voice", [bar(1, attributes(), note("C4", 4))]), ("Drums", [bar(1, attributes(), drum)])])
    assert read_score(drums.encode(), "a.xml").warnings == ("notes without pitch are left out: Drums",)
    quarter = note("C#4", 4).replace("<alter>1</alter>", "<alter>0.5</alter>")
    table = read(bar(1, attributes(), quarter))
    assert table.notes[0].pitch.name == "C4"
    assert "a note between the semitones" in table.warnings[0]


def test_a_bar_that_is_short_in_one_part_is_told() -> None:
    parts = [("Voice", [bar(1, attributes(), note("C4", 3)), bar(2, note("D4", 4))])]
    parts.append(("Piano", [bar(1, attributes(), note("C3", 4)), bar(2, note("C3", 4))]))
    table = read_score(score(parts).encode(), "a.xml")
    assert [b.start_quarters for b in table.measures] == [0.0, 4.0]
    assert "bar 1: the parts differ in length" in table.warnings[0]


def test_staves_of_the_piano_are_parts() -> None:
    table = read_score(makers.small_song(), "song.musicxml")
    assert [(p.id, p.name, p.role) for p in table.parts] == [
        ("P1", "Voice", "voice"),
        ("P2-Staff1", "Piano", "accompaniment"),
        ("P2-Staff2", "Piano", "accompaniment"),
    ]
    assert [n.pitch.name for n in table.notes if n.part == 2] == ["C3"] * 4


def test_a_rest_through_an_up_beat_does_not_shift_a_part() -> None:
    whole_rest = '<note><rest measure="yes"/><duration>4</duration><voice>1</voice></note>'
    table = read_score(
        score(
            [
                ("Voice", [bar(0, attributes(), whole_rest, implicit=True), bar(1, note("C5", 4, lyric="o"))]),
                ("Piano", [bar(0, attributes(), note("G3"), implicit=True), bar(1, note("C3", 4))]),
            ]
        ).encode(),
        "song.xml",
    )
    assert rows(table) == [(0.0, 1.0, "G3"), (1.0, 4.0, "C3"), (1.0, 4.0, "C5")]
    assert table.warnings == ()


def test_transposing_instruments_sound() -> None:
    lowered = attributes().replace(
        "</attributes>", "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose></attributes>"
    )
    table = read(bar(1, lowered, note("D5", 4)), name="Clarinet")
    assert rows(table) == [(0.0, 4.0, "C5")]
    at_pitch = read(bar(1, attributes(), note("D5", 4)), name="Clarinet in Bb")
    assert rows(at_pitch) == [(0.0, 4.0, "D5")]


@pytest.mark.parametrize(
    "name", ["bach/bwv66.6", "bach/bwv269", "schubert/lindenbaum", "schumann_robert/dichterliebe_no2"]
)
def test_corpus_scores_agree_note_for_note(name: str) -> None:
    """Every onset, spelled pitch and part against music21's own walk through the score."""
    parsed = corpus.parse(name)
    table = table_from_music21(parsed)
    theirs: set[tuple[float, str, int]] = set()
    loose: set[tuple[float, str, int]] = set()  # ends of ties that have no beginning
    for index, part in enumerate(parsed.parts):
        for element in part.recurse().notes:
            at = round(float(element.getOffsetInHierarchy(part)), 6)
            members: list[Any] = list(element.notes) if element.isChord else [element]
            for member in members:
                starts = member.tie is None or member.tie.type == "start"
                (theirs if starts else loose).add((at, member.pitch.nameWithOctave.replace("-", "b"), index))
    ours = {(n.onset_quarters, n.pitch.name, n.part) for n in table.notes}
    assert theirs <= ours
    assert ours - theirs <= loose
    assert len(ours - theirs) < 3
    assert list(table.notes) == sorted(table.notes, key=lambda n: (n.onset_quarters, n.midi, n.part))
    bars = list(parsed.parts[0].getElementsByClass("Measure"))
    assert [b.start_quarters for b in table.measures] == [round(float(b.offset), 6) for b in bars]


def test_reading_leaves_nothing_in_the_temporary_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    path = tmp_path / "song.musicxml"
    path.write_bytes(makers.small_song())
    read_file(path)
    assert [p.name for p in tmp_path.iterdir()] == ["song.musicxml"]


def test_importing_the_reader_is_cheap() -> None:
    code = "import sys, tutor.score.read, tutor.score.isolate, tutor.score.sidecar; print('music21' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


_DATA = os.environ.get("LARKSTAIR_DATA", "")


@pytest.mark.skipif(not _DATA, reason="LARKSTAIR_DATA names no folder of development songs")
def test_development_songs_are_read() -> None:
    paths = sorted(Path(_DATA, "songs").glob("*/score.mxl"))[::10]
    assert paths
    for path in paths:
        table = read_file(path)
        assert table.voice_part is not None, path
        assert table.order, path
