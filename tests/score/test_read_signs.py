"""Scores into tables: repeats, jumps, tempo, dynamics and printed chords."""

from __future__ import annotations

import random
import time

import pytest

from tests.score.makers import attributes, bar, note
from tests.score.reading import REPEAT_END, REPEAT_START, direction, read
from tutor.music.chordsymbol import parse_symbol
from tutor.score.metronome import tempo_in_words


def test_repeats_and_endings() -> None:
    table = read(
        bar(1, attributes(), note("C4", 4)),
        bar(2, note("D4", 4), left=REPEAT_START),
        bar(
            3,
            note("E4", 4),
            left='<ending number="1" type="start"/>',
            right=f'{REPEAT_END.split("<repeat")[0]}<ending number="1" type="stop"/><repeat direction="backward"/>',
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
    table = read(bar(1, attributes(), note("C4", 4), right='<repeat direction="backward" times="3"/>'))
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
    table = read(bar(1, attributes(), note("C4", 4), direction(inside, sound)), bar(2, note("C4", 4)))
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
    table = read(
        bar(
            1,
            "<direction><direction-type><segno/></direction-type></direction>",
            attributes(),
            note("C4", 4),
            right=again,
        ),
        bar(2, note("C4", 4), direction(f"<words>{words}</words>")),
    )
    assert table.measures[1].marks == marks
    back = [4.0, 4.0] if "with-repeats" in marks else [4.0] if marks else []
    assert sum(s.end_quarters - s.start_quarters for s in table.order) == 12.0 + sum(back) + (4.0 if marks else 0.0)


@pytest.mark.parametrize("words", ["dolce", "fine and dandy", "codas are nice", "decadent", "D.", "a segno of spring"])
def test_words_that_are_no_jumps(words: str) -> None:
    table = read(bar(1, attributes(), note("C4", 4), direction(f"<words>{words}</words>")))
    assert table.measures[0].marks == ()
    assert [(t.kind, t.text) for t in table.texts] == [("words", words)]


def test_tempo_dynamics_chords_and_rehearsal_marks() -> None:
    harmony = (
        "<harmony><root><root-step>B</root-step><root-alter>-1</root-alter></root><kind>minor-seventh</kind>"
        "<bass><bass-step>D</bass-step><bass-alter>-1</bass-alter></bass></harmony>"
    )
    table = read(
        bar(
            1,
            attributes(),
            direction("<words>Slowly</words>", '<sound tempo="54"/>'),
            direction("<rehearsal>B</rehearsal>"),
            direction("<dynamics><mf/></dynamics>"),
            harmony,
            note("C4", 4),
        ),
        bar(
            2,
            direction("<metronome><beat-unit>half</beat-unit><per-minute>40</per-minute></metronome>"),
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
    table = read(bar(1, attributes(), direction(mark), note("C4", 4)))
    assert [t.bpm for t in table.tempos] == ([] if bpm is None else [2 * bpm])


@pytest.mark.parametrize(
    ("words", "bpm"),
    [
        ("\u2669 = 72", 72.0), ("M.M. \u2669.=60", 90.0), ("quarter = 96", 96.0), ("Andante (\u2669 = 66)", 66.0),
        ("\u2669 = ca. 80", 80.0), ("\u266a = 126", 63.0), ("72 bpm", 72.0), ("\u2669=60-66", 63.0),
        ("M. M. = 54", 54.0),
        ("dotted quarter note = 40", 60.0), ("\U0001d15f = 52", 52.0), ("\U0001d15e = 44", 88.0),
        ("\ueca5\uecb7 = 48", 72.0), ("\ue1d3 = 36", 72.0), ("punktierte Halbe = 30", 90.0),
        ("noire point\u00e9e = 50", 75.0), ("q = 104", 104.0), ("Allegro \u2669 \u2248 120", 120.0), ("BPM: 88", 88.0),
        ("\u2669 = \u2669.", None), ("= 96", None), ("72", None), ("verse 2", None), ("\u2669 = 100%", None),
        ("\u2669 = 4", None), ("\u2669 = 9999", None), ("Op. 72", None), ("line = 80", None), ("\u2669 = 12345", None),
    ],
)  # fmt: skip
def test_metronome_marks_in_words(words: str, bpm: float | None) -> None:
    assert tempo_in_words(words, 1.0) == bpm


def test_beats_without_a_note_are_those_of_the_metre() -> None:
    assert [tempo_in_words("M.M. 60", beat) for beat in (1.0, 1.5, 2.0)] == [60.0, 90.0, 120.0]
    compound = attributes().replace("<beats>4</beats><beat-type>4", "<beats>6</beats><beat-type>8")
    table = read(bar(1, compound, direction("<words>Gently, 50 bpm</words>"), note("C4", 3)))
    assert [(t.onset_quarters, t.bpm, t.text) for t in table.tempos] == [(0.0, 75.0, "Gently, 50 bpm")]


def test_a_tempo_in_words_is_read_where_nothing_else_names_one() -> None:
    split = "<words>Andante (</words><words>\ueca5</words><words> = 66)</words>"
    table = read(
        bar(1, attributes(), direction(split), note("C4", 4)),
        bar(2, direction("<words>\u2669 = 80</words>", '<sound tempo="84"/>'), note("C4", 4)),
        bar(3, direction("<words>\u2669 = 80</words>"), direction(
            "<metronome><beat-unit>half</beat-unit><per-minute>50</per-minute></metronome>"), note("C4", 4)),
        bar(4, direction("<words>dolce</words>"), note("C4", 2), direction("<words>\u266a = 100</words>"), note("C4")),
    )  # fmt: skip
    assert [(t.onset_quarters, t.bpm) for t in table.tempos] == [(0.0, 66.0), (4.0, 84.0), (8.0, 100.0), (14.0, 50.0)]


def test_hostile_words_name_no_wild_tempo_and_cost_no_time() -> None:
    rng = random.Random(11)
    pieces = ["\u2669", "\U0001d15f", "\uecb7", "=", ".", " ", "72", "9" * 9, "bpm", "M.M.", "quarter", "dotted ",
              "ca.", "-", "\x00", "\u202e", "\u0301", "~", "e", "q", "%", ",", "a", "note", "\n"]  # fmt: skip
    started = time.process_time()
    for _ in range(3000):
        words = "".join(rng.choices(pieces, k=rng.randrange(1, 40)))
        found = tempo_in_words(words, rng.choice((0.5, 1.0, 1.5)))
        assert found is None or 10.0 <= found <= 600.0
    for text in ("dotted " * 30_000, "=" * 200_000, "1" * 200_000, "M.M. " * 50_000, "\u2669 " * 100_000):
        assert tempo_in_words(text, 1.0) is None
    assert time.process_time() - started < 2.0


def test_a_printed_tempo_goes_before_one_for_playback() -> None:
    printed = "<metronome><beat-unit>quarter</beat-unit><per-minute>92</per-minute></metronome>"
    table = read(
        bar(
            1,
            attributes(),
            direction("<words>Not fast</words>", '<sound tempo="120"/>'),
            direction(printed),
            note("C4", 4),
        )
    )
    assert [(t.onset_quarters, t.bpm) for t in table.tempos] == [(0.0, 92.0)]


def test_a_half_that_lasts_as_long_as_a_dotted_half_makes_the_quarters_faster() -> None:
    equal = "<metronome><beat-unit>half</beat-unit><beat-unit>half</beat-unit><beat-unit-dot/></metronome>"
    table = read(
        bar(1, attributes(), direction("<words>Moving</words>", '<sound tempo="116"/>'), note("C4", 4)),
        bar(2, direction(equal, '<sound tempo="174"/>'), note("C4", 4)),
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
    table = read(bar(1, attributes(), harmony, note("C4", 4)))
    chord = parse_symbol(table.texts[0].text)
    assert (chord.root.name, chord.quality) == ("Eb", quality)


_FORTH, _BACK = '<repeat direction="forward"/>', '<repeat direction="backward"{}/>'


@pytest.mark.parametrize(
    ("verses", "times", "passes"),
    [((), "", 2), (("zwei", "drei"), "", 3), (("zwei", "drei", "vier"), "", 4), (("zwei", "drei"), ' times="2"', 2)],
)
def test_a_strophe_is_repeated_for_each_of_its_verses(verses: tuple[str, ...], times: str, passes: int) -> None:
    table = read(
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
    table = read(
        bar(1, attributes(), note("C4", 4, lyric="eins", verses=("zwei", "drei"))),
        bar(2, note("D4", 2, lyric="so", verses=("so",)), note("E4", 2, lyric="ja"), right=_BACK.format("")),
    )
    assert len(table.order) == 2


def test_a_segno_at_the_end_of_a_bar_stands_before_the_next() -> None:
    segno = direction("<segno/>", '<sound segno="segno"/>')
    table = read(
        bar(1, attributes(), note("C4", 4), segno),
        bar(2, note("D4", 4)),
        bar(3, note("E4", 4), direction("<words>D.S.</words>")),
    )
    assert [m.marks for m in table.measures] == [(), ("segno",), ("dal-segno",)]
    assert table.warnings == ()


def test_a_segno_inside_a_bar_is_told() -> None:
    table = read(
        bar(1, attributes(), note("C4", 2), direction("<segno/>"), note("D4", 2)),
        bar(2, note("D4", 4), direction("<words>D.S.</words>")),
    )
    assert table.measures[0].marks == ("segno",)
    assert "bar 1: a segno inside the bar is read at its beginning" in table.warnings
