"""Sounding order: repeats, voltas and jumps."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest
from music21 import bar, meter, note, repeat, spanner, stream
from music21.repeat import Expander

from tutor.music.table import MeasureRow
from tutor.score.order import MAX_GROWTH, unfold

_MARKS = (
    "segno", "coda", "to-coda", "fine", "da-capo", "da-capo-al-fine", "da-capo-al-coda", "dal-segno",
    "dal-segno-al-fine", "dal-segno-al-coda", "with-repeats",
)  # fmt: skip


def _bars(text: str) -> list[MeasureRow]:
    """Bars from words: 'A |:B C:| 1.D:| 2.E F[fine] G[da-capo]'; a number and a dot is a volta, 1,2. two."""
    rows = []
    for number, word in enumerate(text.split()):
        marks: tuple[str, ...] = ()
        if "[" in word:
            word, _, inside = word[:-1].partition("[")
            marks = tuple(inside.split(","))
        start, word = word.startswith("|:"), word.removeprefix("|:")
        times = 0
        if ":|" in word:
            word, _, count = word.partition(":|")
            times = int(count or 2)
        endings: tuple[int, ...] = ()
        if "." in word:
            digits, _, word = word.rpartition(".")
            endings = tuple(int(n) for n in digits.replace(".", "").split(","))
        rows.append(
            MeasureRow(
                word, 4.0 * number, 4.0, 4, 4, 0, repeat_start=start, repeat_end=times, endings=endings, marks=marks
            )
        )
    return rows


def _played(bars: Sequence[MeasureRow]) -> str:
    spans, _ = unfold(bars)
    names: list[str] = []
    for span in spans:
        inside = [b for b in bars if span.start_quarters <= b.start_quarters < span.end_quarters]
        assert inside[0].start_quarters == span.start_quarters
        assert inside[-1].end_quarters == span.end_quarters
        names.extend(b.number for b in inside)
    return "".join(names)


@pytest.mark.parametrize(
    ("written", "sounds"),
    [
        ("A B C", "ABC"),
        ("A B:| C", "ABABC"),
        ("A |:B C:| D", "ABCBCD"),
        ("A |:B:|3 C", "ABBBC"),
        ("|:A B:| |:C D:|", "ABABCDCD"),
        ("|:A B:| C D:|", "ABABCDCD"),
        ("|:A 1.B:| 2.C D", "ABACD"),
        ("A 1.B:| 2.C D", "ABACD"),
        ("|:A 1.B 1.C:| 2.D 2.E F", "ABCADEF"),
        ("|:A 1,2.B:| 3.C D", "ABABACD"),
        ("|:A 1.B:| 2.C:| 3.D E", "ABACADE"),
        ("|:A 1.B:| 2.C:| D", "ABACD"),
        ("|:A 1.B 2.C D", "ABACD"),
        ("|:A 1.B:| 2.C D:|", "ABACDD"),
        ("|:A 1.B:| 2.C |:D 1.E:| 2.F", "ABACDEDF"),
        ("|:A |:B:| C:|", "ABBCABBC"),
        ("|:A 1.B:| 2.C |:D:|", "ABACDD"),
        ("A B[fine] C[da-capo-al-fine]", "ABCAB"),
        ("A B[fine] C[da-capo]", "ABCAB"),
        ("A B C[da-capo]", "ABCABC"),
        ("A[segno] B C[dal-segno] D", "ABCABCD"),
        ("A B[segno] C[fine] D[dal-segno-al-fine]", "ABCDBC"),
        ("A B[to-coda] C[da-capo-al-coda] D[coda] E", "ABCABDE"),
        ("A B[segno] C[to-coda] D[dal-segno-al-coda] E[coda]", "ABCDBCE"),
        ("A B[coda] C[da-capo-al-coda] D[coda] E", "ABCABDE"),
        ("|:A B:| C[fine] D[da-capo-al-fine]", "ABABCDABC"),
        ("|:A 1.B:| 2.C[fine] D[da-capo-al-fine]", "ABACDAC"),
        ("|:A B[to-coda] C:| D[da-capo-al-coda] E[coda] |:F:|", "ABCABCDABEFF"),
        ("A[segno] B[segno] C[dal-segno]", "ABCBC"),
        ("A B[fine] C", "ABC"),
        ("A B[dal-segno]", "AB"),
        ("A[segno] B[fine] C[dal-segno-al-fine] D", "ABCAB"),
        ("|:A B:| C[fine] D[da-capo-al-fine,with-repeats]", "ABABCDABABC"),
        ("A B:| C[da-capo,with-repeats]", "ABABCABABC"),
        ("|:A 1.B:| 2.C[fine] D[da-capo-al-fine,with-repeats]", "ABACDABAC"),
        ("|:A B:|[fine] C[da-capo-al-fine,with-repeats]", "ABABCABAB"),
        ("|:A[fine] B:| C[da-capo-al-fine,with-repeats]", "ABABCABA"),
        ("|:A B:|[to-coda] C[da-capo-al-coda,with-repeats] D[coda] |:E:|", "ABABCABABDEE"),
        ("|:A B:| |:C D[segno] E:| F[dal-segno,with-repeats] G", "ABABCDECDEFDECDEFG"),
        ("A |:B[segno] C:|3 D[dal-segno,with-repeats]", "ABCBCBCDBCBCBCD"),
        ("|:A B:| C[segno] |:D:| E[dal-segno,with-repeats]", "ABABCDDECDDE"),
    ],
)
def test_what_a_musician_plays(written: str, sounds: str) -> None:
    assert _played(_bars(written)) == sounds


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("A B[dal-segno]", "bar B: 'dal Segno' without a sign"),
        ("A B[da-capo-al-fine]", "bar B: 'al Fine' without a Fine"),
        ("A B[da-capo-al-coda]", "bar B: 'al Coda' without a Coda"),
    ],
)
def test_missing_signs_are_told(written: str, says: str) -> None:
    assert says in unfold(_bars(written))[1][0]


def test_passes_are_counted() -> None:
    spans, _ = unfold(_bars("|:A B 1.C:| 2.D E"))
    assert [(s.start_quarters, s.end_quarters, s.passing) for s in spans] == [
        (0.0, 12.0, 1),
        (0.0, 8.0, 2),
        (12.0, 20.0, 1),
    ]


def test_no_bars() -> None:
    assert unfold([]) == ((), [])


def test_anything_comes_to_an_end() -> None:
    rng = random.Random(11)
    for _ in range(3000):
        count = rng.randrange(1, 14)
        bars = [
            MeasureRow(
                str(n), 4.0 * n, 4.0, 4, 4, 0,
                repeat_start=rng.random() < 0.25,
                repeat_end=rng.choice((0, 0, 0, 2, 3, 16)),
                endings=rng.choice(((), (), (), (1,), (2,), (1, 2), (3,), (5,))),
                marks=tuple(rng.sample(_MARKS, rng.choice((0, 0, 0, 1, 2)))),
            )
            for n in range(count)
        ]  # fmt: skip
        spans, _ = unfold(bars)
        played = sum(s.end_quarters - s.start_quarters for s in spans) / 4
        assert played <= MAX_GROWTH * count + 1
        assert spans or all(b.endings for b in bars)
        assert all(s.end_quarters > s.start_quarters and s.passing >= 1 for s in spans)


def test_deep_nesting_is_given_up_with_a_word() -> None:
    bars = _bars(" ".join(f"|:{c}" for c in "ABCDEFGH") + " " + " ".join(f"{c}:|9" for c in "IJKLMNOP"))
    spans, warnings = unfold(bars)
    assert len(spans) == 1
    assert "never come to an end" in warnings[0]


_SIGNS = {
    "segno": repeat.Segno,
    "fine": repeat.Fine,
    "da-capo-al-fine": repeat.DaCapoAlFine,
    "dal-segno-al-fine": repeat.DalSegnoAlFine,
    "da-capo": repeat.DaCapo,
}


def _as_stream(bars: Sequence[MeasureRow]) -> stream.Part:
    part = stream.Part()
    open_bracket: list[stream.Measure] = []
    for index, row in enumerate(bars):
        measure = stream.Measure(number=index + 1)
        if index == 0:
            measure.append(meter.TimeSignature("4/4"))
        lyric = note.Note("C4", quarterLength=4.0)
        lyric.lyric = row.number
        measure.append(lyric)
        if row.repeat_start:
            measure.leftBarline = bar.Repeat(direction="start")
        if row.repeat_end:
            measure.rightBarline = bar.Repeat(direction="end", times=row.repeat_end)
        for mark in row.marks:
            measure.append(_SIGNS[mark]())
        part.append(measure)
        if row.endings:
            open_bracket.append(measure)
            after = bars[index + 1].endings if index + 1 < len(bars) else ()
            if after != row.endings:
                part.insert(0, spanner.RepeatBracket(open_bracket, number=",".join(map(str, row.endings))))
                open_bracket = []
    return part


@pytest.mark.parametrize(
    "written",
    [
        "A B:| C",
        "A |:B C:| D",
        "A |:B:|3 C",
        "|:A B:| |:C D:|",
        "|:A 1.B:| 2.C D",
        "|:A 1.B 1.C:| 2.D 2.E F",
        "|:A 1,2.B:| 3.C D",
        "|:A 1.B:| 2.C |:D 1.E:| 2.F",
        "|:A |:B:| C:|",
        "A B[fine] C[da-capo-al-fine]",
        "A B[segno] C[fine] D[dal-segno-al-fine]",
        "A B C[da-capo]",
    ],
)
def test_the_same_as_music21(written: str) -> None:
    bars = _bars(written)
    expanded = Expander(_as_stream(bars)).process()
    assert _played(bars) == "".join(n.lyric for n in expanded.recurse().notes)
