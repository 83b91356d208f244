"""Scores into tables."""

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
from tutor.music.chordsymbol import parse_symbol
from tutor.music.table import NoteTable
from tutor.score.read import read_file, read_score, table_from_music21

_REPEAT_END = '<bar-style>light-heavy</bar-style><repeat direction="backward"/>'
_REPEAT_START = '<bar-style>heavy-light</bar-style><repeat direction="forward"/>'


def _read(*bars: str, name: str = "Voice") -> NoteTable:
    return read_score(score([(name, bars)]).encode(), "song.musicxml")


def _direction(inside: str, sound: str = "") -> str:
    return f"<direction><direction-type>{inside}</direction-type>{sound}</direction>"


def _rows(table: NoteTable) -> list[tuple[float, float, str]]:
    return [(n.onset_quarters, n.duration_quarters, n.pitch.name) for n in table.notes]


def test_spelling_rests_and_lengths() -> None:
    table = _read(bar(1, attributes(fifths=-3), note("Eb4", 1.5), note("r", 0.5), note("F#4"), note("Cb5")))
    assert _rows(table) == [(0.0, 1.5, "Eb4"), (2.0, 1.0, "F#4"), (3.0, 1.0, "Cb5")]
    assert table.measures[0].fifths == -3
    assert table.title == "The Lantern"
    assert table.format == "musicxml"
    assert len(table.sha256) == 64
    assert NoteTable.loads(table.dumps()) == table


def test_ties_become_one_note() -> None:
    table = _read(
        bar(1, attributes(), note("C4", 3), note("D4", 1, tie="start", lyric="o", marks="<fermata/>")),
        bar(2, note("D4", 4, tie="stop start")),
        bar(3, note("D4", 1, tie="stop"), note("E4", 3)),
    )
    assert _rows(table) == [(0.0, 3.0, "C4"), (3.0, 6.0, "D4"), (9.0, 3.0, "E4")]
    assert table.notes[1].syllable == "o"
    assert table.notes[1].fermata
    assert [n.measure for n in table.notes] == [0, 0, 2]


def test_a_tie_within_a_chord_holds_one_tone() -> None:
    table = _read(
        bar(1, attributes(), note("C4", 2, tie="start"), note("E4", 2, chord=True), note("C4", 2, tie="stop")),
        bar(2, note("D4", 4)),
    )
    assert _rows(table) == [(0.0, 4.0, "C4"), (0.0, 2.0, "E4"), (4.0, 4.0, "D4")]


def test_a_broken_chord_tied_into_its_last_chord() -> None:
    table = _read(
        bar(
            1, attributes(), note("C4", 1, tie="start"), note("E4", 1, tie="start"), note("r", 1),
            note("C4", 1, tie="stop"), note("E4", 1, tie="stop", chord=True),
        )
    )  # fmt: skip
    assert _rows(table) == [(0.0, 4.0, "C4"), (1.0, 3.0, "E4")]


def test_unisons_of_two_voices_are_one_note() -> None:
    table = _read(
        bar(1, attributes(), note("C4", 4), "<backup><duration>16</duration></backup>", note("C4", 1, voice=2))
    )
    assert _rows(table) == [(0.0, 4.0, "C4")]


def test_grace_notes_take_no_time() -> None:
    table = _read(bar(1, attributes(), note("D4", grace=True), note("C4", 4)))
    assert [(n.pitch.name, n.duration_quarters, n.grace) for n in table.notes] == [
        ("C4", 4.0, False),
        ("D4", 0.0, True),
    ]


def test_words_syllables_and_verses() -> None:
    table = _read(
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
    table = _read(bar(1, attributes(), elided))
    assert (table.notes[0].syllable, table.notes[0].syllabic) == ("ta a", "middle")


def test_slurs_breaths_and_fermatas() -> None:
    table = _read(
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
    table = _read(
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
    assert [b.number for b in _read(*bars).measures][:4] == ["1", "1", "2", "2a"]
    assert _read(*bars).measures[5].number == "7"


def test_the_rest_of_a_split_bar_belongs_to_the_bar_before_it() -> None:
    first = bar("X1", attributes(), note("G4"), implicit=True)
    split = [
        bar(1, note("C5", 3), right='<repeat direction="backward"/>'),
        bar("X2", note("D5"), implicit=True),
        bar(2, note("E5", 4)),
        bar("X3", note("F5", 4), implicit=True),
    ]
    table = _read(first, *split)
    assert [b.number for b in table.measures] == ["0", "1", "1", "2", "2"]
    assert [table.beat_at(b.start_quarters) for b in table.measures] == [4.0, 1.0, 4.0, 1.0, 1.0]
    assert (table.bar_at(4.0).number, table.beat_at(4.5)) == ("1", 4.5)
    early = _read(bar(1, attributes(), note("C5", 3)), bar("X1", note("D5"), implicit=True), bar(2, note("E5", 4)))
    assert [early.beat_at(b.start_quarters) for b in early.measures] == [1.0, 4.0, 1.0]
    other = [bar("1", attributes(), note("C4", 4)), bar("X1", note("C4", 3), implicit=True), bar("2", note("C4", 4))]
    voice = [bar("1", attributes(), note("C5", 4)), bar("X1", note("C5", 2), implicit=True), bar("2", note("C5", 4))]
    uneven = read_score(score([("Voice", voice), ("Piano", other)]).encode(), "x.musicxml")
    assert [w for w in uneven.warnings if "differ in length" in w] == [
        "bar 1: the parts differ in length; they are lined up bar by bar"
    ]


def test_notes_that_have_no_row_are_told() -> None:
    drum = (
        "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
        "<duration>16</duration><voice>1</voice></note>"
    )
    drums = score([("Voice", [bar(1, attributes(), note("C4", 4))]), ("Drums", [bar(1, attributes(), drum)])])
    assert read_score(drums.encode(), "a.xml").warnings == ("notes without pitch are left out: Drums",)
    quarter = note("C#4", 4).replace("<alter>1</alter>", "<alter>0.5</alter>")
    table = _read(bar(1, attributes(), quarter))
    assert table.notes[0].pitch.name == "C4"
    assert "a note between the semitones" in table.warnings[0]


def test_a_bar_that_is_short_in_one_part_is_told() -> None:
    parts = [("Voice", [bar(1, attributes(), note("C4", 3)), bar(2, note("D4", 4))])]
    parts.append(("Piano", [bar(1, attributes(), note("C3", 4)), bar(2, note("C3", 4))]))
    table = read_score(score(parts).encode(), "a.xml")
    assert [b.start_quarters for b in table.measures] == [0.0, 4.0]
    assert "bar 1: the parts differ in length" in table.warnings[0]


def test_repeats_and_endings() -> None:
    table = _read(
        bar(1, attributes(), note("C4", 4)),
        bar(2, note("D4", 4), left=_REPEAT_START),
        bar(
            3,
            note("E4", 4),
            left='<ending number="1" type="start"/>',
            right=f'{_REPEAT_END.split("<repeat")[0]}<ending number="1" type="stop"/><repeat direction="backward"/>',
        ),
        bar(
            4, note("F4", 4), left='<ending number="2" type="start"/>', right='<ending number="2" type="discontinue"/>'
        ),
        bar(5, note("G4", 4)),
    )
    assert [(b.repeat_start, b.repeat_end, b.endings) for b in table.measures] == [
        (False, 0, ()),
        (True, 0, ()),
        (False, 2, (1,)),
        (False, 0, (2,)),
        (False, 0, ()),
    ]
    assert [(s.start_quarters, s.end_quarters, s.passing) for s in table.order] == [
        (0.0, 12.0, 1),
        (4.0, 8.0, 2),
        (12.0, 20.0, 1),
    ]


def test_how_often_a_repeat_sounds() -> None:
    table = _read(bar(1, attributes(), note("C4", 4), right='<repeat direction="backward" times="3"/>'))
    assert table.measures[0].repeat_end == 3
    assert [s.passing for s in table.order] == [1, 2, 3]


@pytest.mark.parametrize(
    ("inside", "sound", "mark"),
    [
        ("<words>D.C. al Fine</words>", "", "da-capo-al-fine"),
        ("<words>D.C. al Fine</words>", '<sound dacapo="yes"/>', "da-capo-al-fine"),
        ("<words>D. S. al Coda</words>", "", "dal-segno-al-coda"),
        ("<words>Da Capo</words>", "", "da-capo"),
        ("<words>D.S.</words>", "", "dal-segno"),
        ("<words>Dal Segno al Fine</words>", "", "dal-segno-al-fine"),
        ("<words>d.c. senza repetizione al Fine</words>", "", "da-capo-al-fine"),
        ("<words>Fine</words>", "", "fine"),
        ("<words>To Coda</words>", "", "to-coda"),
        ("<words>To Coda \U0001d10c</words>", "", "to-coda"),
        ("<words>Coda</words>", "", "coda"),
        ("<coda/>", "", "coda"),
        ("<coda/>", '<sound tocoda="coda"/>', "to-coda"),
        ("<words>D.C.</words><words> al Fine</words>", "", "da-capo-al-fine"),
        ("<words>D.S.</words></direction-type><direction-type><words>al Coda</words>", "", "dal-segno-al-coda"),
        ("<words>To</words></direction-type><direction-type><coda/>", "", "to-coda"),
        ("<words>back to the top</words>", '<sound dacapo="yes"/>', "da-capo"),
        ("<words>sing out</words>", '<sound fine="yes"/>', "fine"),
    ],
)
def test_jumps(inside: str, sound: str, mark: str) -> None:
    table = _read(bar(1, attributes(), note("C4", 4), _direction(inside, sound)), bar(2, note("C4", 4)))
    assert table.measures[0].marks == (mark,)


@pytest.mark.parametrize(
    ("words", "marks"),
    [
        ("D.C. con ripetizione", ("da-capo", "with-repeats")),
        ("D.C. al Fine con repetizione", ("da-capo-al-fine", "with-repeats")),
        ("D.C. al Fine</words><words>con le ripetizioni", ("da-capo-al-fine", "with-repeats")),
        ("D.S. al Coda (with repeats)", ("dal-segno-al-coda", "with-repeats")),
        ("Da Capo mit Wiederholung", ("da-capo", "with-repeats")),
        ("D.S. con rip.", ("dal-segno", "with-repeats")),
        ("D.C. senza ripetizione", ("da-capo",)),
        ("D.C. al Fine</words><words>senza repliche", ("da-capo-al-fine",)),
        ("D.S. without repeats", ("dal-segno",)),
        ("D.C. con repose", ("da-capo",)),
        ("con ripetizione", ()),
    ],
)
def test_repeats_after_a_jump_are_taken_where_it_says_so(words: str, marks: tuple[str, ...]) -> None:
    again = '<repeat direction="backward"/>'
    table = _read(
        bar(
            1,
            "<direction><direction-type><segno/></direction-type></direction>",
            attributes(),
            note("C4", 4),
            right=again,
        ),
        bar(2, note("C4", 4), _direction(f"<words>{words}</words>")),
    )
    assert table.measures[1].marks == marks
    back = [4.0, 4.0] if "with-repeats" in marks else [4.0] if marks else []
    assert sum(s.end_quarters - s.start_quarters for s in table.order) == 12.0 + sum(back) + (4.0 if marks else 0.0)


@pytest.mark.parametrize("words", ["dolce", "fine and dandy", "codas are nice", "decadent", "D.", "a segno of spring"])
def test_words_that_are_no_jumps(words: str) -> None:
    table = _read(bar(1, attributes(), note("C4", 4), _direction(f"<words>{words}</words>")))
    assert table.measures[0].marks == ()
    assert [(t.kind, t.text) for t in table.texts] == [("words", words)]


def test_tempo_dynamics_chords_and_rehearsal_marks() -> None:
    harmony = (
        "<harmony><root><root-step>B</root-step><root-alter>-1</root-alter></root><kind>minor-seventh</kind>"
        "<bass><bass-step>D</bass-step><bass-alter>-1</bass-alter></bass></harmony>"
    )
    table = _read(
        bar(
            1,
            attributes(),
            _direction("<words>Slowly</words>", '<sound tempo="54"/>'),
            _direction("<rehearsal>B</rehearsal>"),
            _direction("<dynamics><mf/></dynamics>"),
            harmony,
            note("C4", 4),
        ),
        bar(
            2,
            _direction("<metronome><beat-unit>half</beat-unit><per-minute>40</per-minute></metronome>"),
            note("C4", 4),
        ),
    )
    assert [(t.onset_quarters, t.bpm, t.text) for t in table.tempos] == [(0.0, 54.0, "Slowly"), (4.0, 80.0, "")]
    assert {(t.kind, t.text) for t in table.texts} == {
        ("words", "Slowly"),
        ("rehearsal", "B"),
        ("dynamic", "mf"),
        ("chord", "Bbm7/Db"),
    }
    assert len(table.notes) == 2


@pytest.mark.parametrize(
    ("printed", "bpm"),
    [
        ("60", 60.0), ("c. 60", 60.0), ("ca. 60", 60.0), ("60-70", 65.0), ("ca 66&#8211;72", 69.0), ("(72)", 72.0),
        ("60 to 66", 63.0), ("= 52,5", 52.5), ("c.48.", 48.0), ("freely", None),
    ],
)  # fmt: skip
def test_metronome_marks_that_are_more_than_a_number(printed: str, bpm: float | None) -> None:
    mark = f"<metronome><beat-unit>half</beat-unit><per-minute>{printed}</per-minute></metronome>"
    table = _read(bar(1, attributes(), _direction(mark), note("C4", 4)))
    assert [t.bpm for t in table.tempos] == ([] if bpm is None else [2 * bpm])


def test_a_printed_tempo_goes_before_one_for_playback() -> None:
    printed = "<metronome><beat-unit>quarter</beat-unit><per-minute>92</per-minute></metronome>"
    table = _read(
        bar(
            1,
            attributes(),
            _direction("<words>Not fast</words>", '<sound tempo="120"/>'),
            _direction(printed),
            note("C4", 4),
        )
    )
    assert [(t.onset_quarters, t.bpm) for t in table.tempos] == [(0.0, 92.0)]


def test_a_half_that_lasts_as_long_as_a_dotted_half_makes_the_quarters_faster() -> None:
    equal = "<metronome><beat-unit>half</beat-unit><beat-unit>half</beat-unit><beat-unit-dot/></metronome>"
    table = _read(
        bar(1, attributes(), _direction("<words>Moving</words>", '<sound tempo="116"/>'), note("C4", 4)),
        bar(2, _direction(equal, '<sound tempo="174"/>'), note("C4", 4)),
    )
    assert [(t.onset_quarters, t.bpm) for t in table.tempos] == [(0.0, 116.0), (4.0, 174.0)]


@pytest.mark.parametrize(
    ("kind", "quality"),
    [
        ("major", "major"),
        ("minor", "minor"),
        ("augmented", "augmented"),
        ("diminished", "diminished"),
        ("dominant", "dominant-seventh"),
        ("major-seventh", "major-seventh"),
        ("minor-seventh", "minor-seventh"),
        ("diminished-seventh", "diminished-seventh"),
        ("augmented-seventh", "augmented-seventh"),
        ("half-diminished", "half-diminished-seventh"),
        ("major-minor", "minor-major-seventh"),
        ("major-sixth", "major-sixth"),
        ("minor-sixth", "minor-sixth"),
        ("dominant-ninth", "dominant-ninth"),
        ("major-ninth", "major-ninth"),
        ("minor-ninth", "minor-ninth"),
        ("suspended-second", "suspended-second"),
        ("suspended-fourth", "suspended-fourth"),
        ("power", "power"),
    ],
)
def test_printed_chords_can_be_read_on(kind: str, quality: str) -> None:
    """The kinds of MusicXML 4.0 that have a name in the findings."""
    harmony = f"<harmony><root><root-step>E</root-step><root-alter>-1</root-alter></root><kind>{kind}</kind></harmony>"
    table = _read(bar(1, attributes(), harmony, note("C4", 4)))
    chord = parse_symbol(table.texts[0].text)
    assert (chord.root.name, chord.quality) == ("Eb", quality)


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
    assert _rows(table) == [(0.0, 1.0, "G3"), (1.0, 4.0, "C3"), (1.0, 4.0, "C5")]
    assert table.warnings == ()


def test_transposing_instruments_sound() -> None:
    lowered = attributes().replace(
        "</attributes>", "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose></attributes>"
    )
    table = _read(bar(1, lowered, note("D5", 4)), name="Clarinet")
    assert _rows(table) == [(0.0, 4.0, "C5")]
    at_pitch = _read(bar(1, attributes(), note("D5", 4)), name="Clarinet in Bb")
    assert _rows(at_pitch) == [(0.0, 4.0, "D5")]


def test_abc() -> None:
    table = read_score(makers.ABC, "song.abc")
    assert table.format == "abc"
    assert (table.title, table.composer) == ("The Lantern", "Nobody")
    assert [n.pitch.name for n in table.notes][:4] == ["G4", "A4", "B4", "A4"]
    assert table.measures[0].fifths == 1
    assert (table.measures[0].numerator, table.measures[0].denominator) == (3, 4)
    assert any(t.kind == "chord" and t.text == "D7" for t in table.texts)
    assert len(table.order) > 1


def test_music_without_bar_lines_gets_bars() -> None:
    table = read_score(b"X:1\nM:3/4\nL:1/4\nK:F\nC D E F G A\n", "a.abc")
    assert [b.start_quarters for b in table.measures] == [0.0, 3.0]
    assert [n.measure for n in table.notes] == [0, 0, 0, 1, 1, 1]
    chant = read_score(b"**kern\n*M4/4\n2c\n2d\n1e\n*-\n", "a.krn")
    assert [n.onset_quarters for n in chant.notes] == [0.0, 2.0, 4.0]


def _sung(table: NoteTable) -> list[str]:
    return [n.syllable + {"begin": "-", "middle": "-"}.get(n.syllabic, "") for n in table.notes]


@pytest.mark.parametrize(
    ("tune", "numbers"),
    [
        ("C2 D | E2 F | G2 A | G3 |]", ["1", "2", "3", "4"]),
        ("C | E2 F | G2 A | G2 F | E2 |]", ["0", "1", "2", "3", "4"]),
    ],
)
def test_bars_of_abc_are_counted_from_one_unless_there_is_an_up_beat(tune: str, numbers: list[str]) -> None:
    table = read_score(f"X:1\nM:3/4\nL:1/4\nK:F\n{tune}\n".encode(), "a.abc")
    assert [m.number for m in table.measures] == numbers


def test_words_of_abc() -> None:
    assert _sung(read_score(makers.ABC, "a.abc")) == ["One", "small", "light", "a-", "lone", "to-", "day"]
    tune = (
        b"X:1\nM:4/4\nL:1/4\nK:C\nC D E F|G A {B}B c|\nw: lan-tern in_ the *~glow|\nw: so~long we|wait for\n"
        b"c2-c2|[CE]2 z d|\nw: o_ o\\-ho me\n"
    )
    notes = [n for n in read_score(tune, "a.abc").notes if not n.grace]
    assert [n.syllable for n in notes] == ["lan", "tern", "in", "", "the", "", "glow", "", "o", "", "o-ho", "me"]
    assert [n.verses for n in notes][:6] == [("so long",), ("we",), (), (), ("wait",), ("for",)]


def test_words_that_cannot_be_placed_are_told() -> None:
    tune = b"X:1\nM:4/4\nL:1/4\nK:C\nV:1\nC D E F|\nw: a b c d\nV:2\nC, D, E, F,|\n"
    table = read_score(tune, "a.abc")
    assert "the words under the notes could not be placed" in table.warnings


def test_words_of_kern_and_midi() -> None:
    assert _sung(read_score(makers.KERN, "a.krn")) == ["One", "small", "light", "burns"]
    table = read_score(makers.midi([(60, 1), (62, 1), (64, 1)], words=["\\\\lan-", "tern", "/glows"]), "a.mid")
    assert _sung(table)[::2] == ["lan-", "glows"]


def test_of_many_abc_tunes_the_first_is_read() -> None:
    table = read_score(makers.ABC + b"\nX:2\nT:Another\nM:4/4\nK:C\nC D E F|\n" * 30, "book.abc")
    assert table.title == "The Lantern"
    assert "the file holds 31 pieces: the first is read" in table.warnings


def test_kern() -> None:
    table = read_score(makers.KERN, "song.krn")
    assert table.format == "kern"
    assert _rows(table) == [(0.0, 1.0, "F4"), (1.0, 1.0, "G4"), (2.0, 2.0, "A4"), (4.0, 4.0, "F4")]
    assert table.measures[0].fifths == -1


def test_midi_is_spelled_in_its_key() -> None:
    minor = [(57, 1), (59, 1), (60, 1), (62, 1), (64, 1), (65, 1), (68, 1), (69, 4), (64, 1), (68, 1), (69, 4)]
    table = read_score(makers.midi(minor, name="Voice"), "song.mid")
    assert {n.pitch.name for n in table.notes} == {"A3", "B3", "C4", "D4", "E4", "F4", "G#4", "A4"}
    assert (table.format, table.parts[0].role) == ("midi", "voice")
    flats = [(65, 1), (67, 1), (69, 1), (70, 1), (72, 1), (74, 1), (76, 1), (77, 2)]
    assert "Bb4" in {n.pitch.name for n in read_score(makers.midi(flats), "song.mid").notes}
    given = read_score(makers.midi([(61, 4)], key="E"), "song.mid")
    assert (given.notes[0].pitch.name, given.measures[0].fifths) == ("C#4", 4)


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


_FORTH, _BACK = '<repeat direction="forward"/>', '<repeat direction="backward"{}/>'


@pytest.mark.parametrize(
    ("verses", "times", "passes"),
    [((), "", 2), (("zwei", "drei"), "", 3), (("zwei", "drei", "vier"), "", 4), (("zwei", "drei"), ' times="2"', 2)],
)
def test_a_strophe_is_repeated_for_each_of_its_verses(verses: tuple[str, ...], times: str, passes: int) -> None:
    table = _read(
        bar(1, attributes(), note("C4", 4, lyric="so")),
        bar(2, note("D4", 4, lyric="eins", verses=verses), left=_FORTH, right=_BACK.format(times)),
        bar(3, note("C4", 4, lyric="Schluss")),
    )
    assert [(o.start_quarters, o.end_quarters, o.passing) for o in table.order][-1] == (8.0, 12.0, 1)
    assert sum(o.start_quarters <= 4.0 < o.end_quarters for o in table.order) == passes
    assert [w for w in table.warnings if "each verse" in w] == (
        [f"bars 2 to 2 are taken {passes} times, once for each verse"] if passes > 2 else []
    )


def test_a_verse_under_a_few_notes_alone_repeats_nothing_more() -> None:
    table = _read(
        bar(1, attributes(), note("C4", 4, lyric="eins", verses=("zwei", "drei"))),
        bar(2, note("D4", 2, lyric="so", verses=("so",)), note("E4", 2, lyric="ja"), right=_BACK.format("")),
    )
    assert len(table.order) == 2


def test_a_segno_at_the_end_of_a_bar_stands_before_the_next() -> None:
    segno = _direction("<segno/>", '<sound segno="segno"/>')
    table = _read(
        bar(1, attributes(), note("C4", 4), segno),
        bar(2, note("D4", 4)),
        bar(3, note("E4", 4), _direction("<words>D.S.</words>")),
    )
    assert [m.marks for m in table.measures] == [(), ("segno",), ("dal-segno",)]
    assert table.warnings == ()


def test_a_segno_inside_a_bar_is_told() -> None:
    table = _read(
        bar(1, attributes(), note("C4", 2), _direction("<segno/>"), note("D4", 2)),
        bar(2, note("D4", 4), _direction("<words>D.S.</words>")),
    )
    assert table.measures[0].marks == ("segno",)
    assert "bar 1: a segno inside the bar is read at its beginning" in table.warnings
