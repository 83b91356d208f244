"""The craft of the bundled songs: full bars, words on their beats, singable lines, a bass that goes its own way."""

from __future__ import annotations

import itertools
from functools import cache
from importlib.resources import as_file
from xml.etree import ElementTree as ET

import pytest

from tutor.lessons import BundledSong, bundled_songs
from tutor.music.table import MeasureRow, NoteRow, NoteTable
from tutor.music.voice import VOICES, VoiceType
from tutor.score.read import read_file

SONGS = {s.name: s for s in bundled_songs()}
NAMES = tuple(SONGS)
UNSTRESSED = {"the", "a", "an", "and", "of", "to", "that", "as", "or", "with", "from"}
"""Words that stand on a first beat only by mistake. 'in' is left out: "it's in the book" leans on it."""


@cache
def table(name: str) -> NoteTable:
    with as_file(SONGS[name].file) as path:
        return read_file(path)


def sung(name: str) -> list[NoteRow]:
    return [n for n in table(name).notes if n.part == table(name).voice_part]


def xml(name: str) -> ET.Element:
    return ET.fromstring(SONGS[name].file.read_text(encoding="utf-8"))


def test_eight_songs_for_four_voices() -> None:
    assert len(SONGS) >= 8
    assert {s.voice for s in SONGS.values()} >= {"soprano", "mezzo-soprano", "tenor", "baritone"}
    assert len({s.title for s in SONGS.values()}) == len(SONGS)


@pytest.mark.parametrize("name", NAMES)
def test_is_read_without_a_warning(name: str) -> None:
    song: BundledSong = SONGS[name]
    assert table(name).warnings == ()
    assert table(name).title == song.title
    assert table(name).composer == "Larkstair"
    assert [p.role for p in table(name).parts] == ["voice", "accompaniment", "accompaniment"]
    assert 24 <= len(table(name).measures) <= 96
    assert table(name).tempos
    assert "MIT" in (xml(name).findtext("identification/rights") or "")


@pytest.mark.parametrize("name", NAMES)
def test_has_dynamics_phrase_slurs_breaths_and_whole_words(name: str) -> None:
    line = sung(name)
    assert sum(t.kind == "dynamic" for t in table(name).texts) >= 4
    assert sum(n.slur_start for n in line) == sum(n.slur_end for n in line) >= 6
    assert sum(n.breath for n in line) >= 6
    unsung = [n for n in line if not n.syllable and not n.slur_end]
    assert not unsung, f"bar {table(name).measures[unsung[0].measure].number}: a note without a syllable"
    open_word = False
    for note in line:
        if note.syllable and table(name).measures[note.measure].endings in ((), (1,)):
            assert (note.syllabic in ("middle", "end")) == open_word, f"{note.syllable} in {name}"
            open_word = note.syllabic in ("begin", "middle")


@pytest.mark.parametrize("name", NAMES)
def test_bars_are_full(name: str) -> None:
    root = xml(name)
    divisions = int(root.findtext("part/measure/attributes/divisions") or 0)
    for part in root.iter("part"):
        for bar, row in zip(part.iter("measure"), table(name).measures, strict=True):
            filled: dict[str, int] = {}
            for note in bar.iter("note"):
                if note.find("chord") is None:
                    voice = note.findtext("voice") or ""
                    filled[voice] = filled.get(voice, 0) + int(note.findtext("duration") or 0)
            assert set(filled.values()) == {round(row.duration_quarters * divisions)}, f"bar {row.number}"


@pytest.mark.parametrize("name", NAMES)
def test_lies_within_the_voice(name: str) -> None:
    voice: VoiceType = SONGS[name].voice  # type: ignore[assignment]
    row = VOICES[voice]
    assert row.low <= min(n.midi for n in sung(name))
    assert max(n.midi for n in sung(name)) <= row.high


@pytest.mark.parametrize("name", NAMES)
def test_leaps_can_be_sung(name: str) -> None:
    line = sung(name)
    for before, after in itertools.pairwise(line):
        bar = table(name).measures[after.measure].number
        size = abs(after.midi - before.midi)
        assert size <= 12, f"bar {bar}: {before.pitch} to {after.pitch}"
        if after.onset_quarters - before.end_quarters < 0.01 and not before.breath:
            fifths = abs(after.pitch.pitch_class.fifths - before.pitch.pitch_class.fifths)
            assert fifths <= 6, f"bar {bar}: augmented, {before.pitch} to {after.pitch}"
            assert size not in (10, 11), f"bar {bar}: a seventh, {before.pitch} to {after.pitch}"


def strong(bar: MeasureRow) -> list[float]:
    beats = round(bar.bar_quarters / bar.beat_quarters)
    places = [0] if beats == 3 else [0, beats // 2]
    return [bar.start_quarters + p * bar.beat_quarters for p in places]


@pytest.mark.parametrize("name", NAMES)
def test_tune_and_bass_do_not_march_together(name: str) -> None:
    piano = [n for n in table(name).notes if n.part != table(name).voice_part]
    before: tuple[int, int] | None = None
    for bar in table(name).measures:
        for at in strong(bar):
            over = [n.midi for n in sung(name) if n.onset_quarters <= at < n.end_quarters]
            under = [n.midi for n in piano if n.onset_quarters <= at < n.end_quarters]
            now = (over[0], min(under)) if over and under else None
            if now and before and now[0] != before[0] and (now[1] - before[1]) % 12:
                parallel = (now[0] - now[1]) % 12 == (before[0] - before[1]) % 12
                assert not (parallel and (now[0] - now[1]) % 12 in (0, 7)), f"bar {bar.number}: parallels with the bass"
            before = now


@pytest.mark.parametrize("name", NAMES)
def test_small_words_do_not_stand_on_the_first_beat(name: str) -> None:
    for note in sung(name):
        bar = table(name).measures[note.measure]
        if note.onset_quarters == bar.start_quarters:
            word = note.syllable.strip('.,;:!?—"').lower()
            assert not (note.syllabic == "single" and word in UNSTRESSED), f"bar {bar.number}: {note.syllable}"


WIDEST_HAND = 16
"""Semitones a pianist takes in one grip: a tenth (common practice; most hands reach a ninth)."""


@pytest.mark.parametrize("name", NAMES)
def test_each_hand_can_be_played(name: str) -> None:
    for part in (1, 2):
        rows = [n for n in table(name).notes if n.part == part]
        for at in sorted({n.onset_quarters for n in rows}):
            struck = [n.midi for n in rows if n.onset_quarters == at]
            bar = table(name).bar_at(at).number
            assert max(struck) - min(struck) <= WIDEST_HAND, f"bar {bar}: {struck}"
            assert len(struck) == len(set(struck)), f"bar {bar}: a note struck twice"
            assert len(struck) <= 5


@pytest.mark.parametrize("name", NAMES)
def test_hands_do_not_collide(name: str) -> None:
    right, left = ([n for n in table(name).notes if n.part == part] for part in (1, 2))
    for low in left:
        for high in right:
            if high.onset_quarters == low.onset_quarters:
                bar = table(name).measures[low.measure].number
                assert low.midi < high.midi, f"bar {bar}: {low.pitch} under {high.pitch}"
