"""Phrases of the sung line and how they close."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.analysis.invented import chord, key, table
from tutor.analysis.columns import sung_line
from tutor.analysis.findings import PhraseSpan
from tutor.analysis.phrases import find_phrases, lyric, phrase_ends
from tutor.music.table import NoteTable


def phrases(song: NoteTable) -> tuple[PhraseSpan, ...]:
    return find_phrases(song, sung_line(song))


def test_rests_part_phrases() -> None:
    song = table("C4:1 D4:1 E4:1 F4:1 G4:1 A4:1 G4:1 F4:1 E4:1 D4:1 C4:1 B3:1 D4:2 r:2 " * 2)
    found = phrases(song)
    assert [(p.start, p.end) for p in found] == [(0.0, 14.0), (16.0, 30.0)]
    assert [p.bars for p in found] == [("1", "4"), ("5", "8")]
    assert [p.id for p in found] == [0, 1]


def test_punctuation_and_a_new_line_part_phrases_without_a_rest() -> None:
    words = "The lamps are out a-long the quay, And no one calls my name a-gain."
    syllables = words.replace("a-long", "a- long").replace("a-gain.", "a- gain.").split()
    voice = " ".join(f"{p}4:1={s}" for p, s in zip("CDEFEDCD" * 3, syllables, strict=False))
    found = phrases(table(voice))
    assert [p.lyric for p in found] == ["The lamps are out along the quay,", "And no one calls my name again."]


def test_a_word_is_never_cut() -> None:
    song = table("C4:1=ev- D4:4=er- r:1 E4:1=last- F4:4=ing r:1 G4:1=day C4:4=light")
    assert all("everlasting" in p.lyric or "ever" not in p.lyric for p in phrases(song))
    assert phrases(song)[0].lyric.startswith("everlasting")


def test_a_breath_mark_parts_phrases() -> None:
    song = table("C4:1 D4:1 E4:1 F4:1 G4:1 F4:1 E4:1 D4:1 " * 2)
    assert len(phrases(song)) == 1
    marked = tuple(replace(n, breath=n.onset_quarters == 7.0) for n in song.notes)
    assert [p.start for p in phrases(replace(song, notes=marked))] == [0.0, 8.0]


def test_a_line_without_words_or_rests_falls_into_groups_of_two_bars() -> None:
    tune = "C4:1.5 D4:0.5 E4:1 F4:1 G4:1 F4:1 E4:1 D4:1 C4:1.5 D4:0.5 E4:1 F4:1 A4:1 G4:1 F4:1 E4:1 "
    assert [p.start for p in phrases(table(tune * 2))] == [0.0, 8.0, 16.0, 24.0]
    words = " ".join(f"{note}=la" for note in (tune * 2).split())
    assert len(phrases(table(words))) < 4


def test_a_long_note_parts_phrases() -> None:
    song = table("C4:1 D4:1 E4:1 F4:1 G4:1 F4:1 E4:1 D4:1 C4:4 " * 2)
    assert [p.start for p in phrases(song)] == [0.0, 12.0]


def test_lyric_joins_syllables() -> None:
    line = sung_line(table("C4:1=hea- D4:1=ven- E4:1=ly F4:1 G4:1=night"))
    assert lyric(line.rows) == "heavenly night"


def test_ends_at_rest_and_hanging() -> None:
    song = table("D4:4 C4:4 E4:4 D4:4")
    spans = [PhraseSpan(0, 0.0, 8.0, ("1", "2"), ""), PhraseSpan(1, 8.0, 16.0, ("3", "4"), "")]
    chords = [chord(0, 8, "C"), chord(8, 16, "F")]
    found = phrase_ends(sung_line(song), spans, chords, [key(0, 16)])
    assert [(e.phrase, e.pitch, e.degree, e.rest) for e in found] == [(0, "C4", "1", True), (1, "D4", "2", False)]


@settings(max_examples=50, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from("CDEFGAB"), st.sampled_from([0.5, 1, 2, 4]), st.booleans()), min_size=1, max_size=60
    )
)
def test_phrases_hold_every_note_once_and_in_order(line: list[tuple[str, float, bool]]) -> None:
    voice = " ".join(f"{p}4:{d}" + (" r:1" if rest else "") for p, d, rest in line)
    song = table(voice)
    sung = sung_line(song)
    found = find_phrases(song, sung)
    inside = [sung.inside(p.start, p.end) for p in found]
    assert [i for r in inside for i in r] == list(range(len(sung)))
    assert all(a.end <= b.start for a, b in pairwise(found))
