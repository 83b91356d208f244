"""Cutting real bars out of a song."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.practice.songs import lanterns
from tutor.music.table import MeasureRow
from tutor.practice import material
from tutor.practice.material import cut

SONG = lanterns()


def test_a_bar_with_its_lines_words_and_number() -> None:
    phrase = cut(SONG.table, 8.0, 12.0)
    assert [(t.pitch.name, t.onset_quarters, t.duration_quarters) for t in phrase.only("voice").tones] == [
        ("F4", 0.0, 1.0), ("E4", 1.0, 1.0), ("D4", 2.0, 2.0),
    ]  # fmt: skip
    assert [t.pitch.name for t in phrase.only("lower").tones] == ["G2"]
    assert [t.pitch.name for t in phrase.only("upper").tones] == ["E3", "G3", "C4"]
    assert all(t.syllable for t in phrase.only("voice").tones)
    assert not any(t.syllable for t in phrase.only("upper", "lower").tones)
    assert (phrase.first_bar, phrase.bpm, phrase.numerator, phrase.pickup_quarters) == ("3", 84.0, 4, 0.0)


def test_notes_over_an_edge_are_clipped_and_lose_their_word() -> None:
    phrase = cut(SONG.table, 11.0, 14.0)
    voice = phrase.only("voice").tones
    assert (voice[0].pitch.name, voice[0].onset_quarters, voice[0].duration_quarters) == ("D4", 0.0, 1.0)
    assert voice[0].syllable == ""
    assert voice[-1].end_quarters == 3.0
    assert phrase.pickup_quarters == 1.0


def test_words_of_several_syllables_keep_their_hyphens() -> None:
    words = {"Ni": "begin", "net": "middle", "ta": "end", "goes": "single", "on-": "begin"}
    sung = [n for n in SONG.table.notes if n.part == SONG.table.voice_part]
    notes = tuple(replace(n, syllable=w, syllabic=s) for n, (w, s) in zip(sung, words.items(), strict=False))
    phrase = cut(replace(SONG.table, notes=notes), 0.0, 8.0)
    assert [t.syllable for t in phrase.tones] == ["Ni-", "net-", "ta", "goes", "on-"]


def test_a_pickup_bar_is_incomplete() -> None:
    bars = (
        MeasureRow("0", 0.0, 1.0, 4, 4, 0),
        *(replace(m, start_quarters=m.start_quarters + 1) for m in SONG.table.measures),
    )
    notes = tuple(replace(n, onset_quarters=n.onset_quarters + 1, measure=n.measure + 1) for n in SONG.table.notes)
    table = replace(SONG.table, measures=bars, notes=notes)
    assert cut(table, 0.0, 5.0).pickup_quarters == 1.0
    assert cut(table, 0.0, 5.0).first_bar == "0"
    assert cut(table, 1.0, 5.0).pickup_quarters == 0.0


def test_one_accompanying_staff_is_divided_at_middle_c() -> None:
    notes = tuple(replace(n, part=min(n.part, 1)) for n in SONG.table.notes)
    phrase = cut(replace(SONG.table, parts=SONG.table.parts[:2], notes=notes), 0.0, 4.0)
    assert all(t.midi < 60 for t in phrase.only("lower").tones)
    assert all(t.midi >= 60 for t in phrase.only("upper").tones)


def test_graces_are_left_out() -> None:
    grace = replace(SONG.table.notes[0], duration_quarters=0.0, grace=True)
    table = replace(SONG.table, notes=(grace, *SONG.table.notes))
    assert len(cut(table, 0.0, 4.0).tones) == len(cut(SONG.table, 0.0, 4.0).tones)


@pytest.mark.parametrize(
    ("start", "end", "words"), [(0.0, 4.0, "bar 1"), (0.0, 16.0, "bars 1–4"), (10.0, 13.0, "bars 3–4")]
)
def test_bars_are_named(start: float, end: float, words: str) -> None:
    assert material.bar_words(SONG.table, start, end) == words


def test_whole_bars() -> None:
    assert material.whole_bars(SONG.table, 9.0, 12.0) == (8.0, 12.0)
    assert material.whole_bars(SONG.table, 9.0, 13.0) == (8.0, 16.0)


def test_every_cut_sounds_what_the_song_sounds() -> None:
    whole = cut(SONG.table, 0.0, 64.0)
    assert len(whole.tones) == len(SONG.table.notes)
    parts = [cut(SONG.table, i * 4.0, i * 4.0 + 4) for i in range(16)]
    assert sum(t.duration_quarters for p in parts for t in p.tones) == sum(t.duration_quarters for t in whole.tones)
