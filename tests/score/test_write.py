"""Scores and findings written out."""

from __future__ import annotations

from dataclasses import replace

import pytest
from music21 import corpus
from music21.musicxml.m21ToXml import GeneralObjectExporter

from tests.score import makers
from tests.score.makers import attributes, bar, note, score
from tutor.errors import ScoreError
from tutor.music.interval import Interval
from tutor.music.table import NoteTable
from tutor.score.read import read_score
from tutor.score.romantext import parse_romantext
from tutor.score.sidecar import harmony_spans
from tutor.score.write import annotated_musicxml, interval_for, transposed_musicxml


def _moved(table: NoteTable, interval: Interval) -> NoteTable:
    notes = []
    for row in table.notes:
        pitch = row.pitch.moved(interval.fifths, interval.diatonic)
        notes.append(replace(row, step=pitch.step, alter=pitch.alter, octave=pitch.octave))
    measures = tuple(replace(b, fifths=b.fifths + interval.fifths) for b in table.measures)
    return replace(table, notes=tuple(notes), measures=measures)


def _alike(one: NoteTable, other: NoteTable) -> None:
    """The same but for the digest and the kind of file."""
    assert one.notes == other.notes
    assert one.measures == other.measures
    assert (one.parts, one.order, one.tempos, one.title) == (other.parts, other.order, other.tempos, other.title)


@pytest.mark.parametrize("name", ["m2", "M2", "m3", "P4", "A4"])
def test_a_song_in_another_key_is_the_same_song(name: str) -> None:
    song = makers.small_song()
    interval = Interval.parse(name)
    there = transposed_musicxml(song, "song.xml", interval)
    _alike(read_score(there, "song.xml"), _moved(read_score(song, "song.xml"), interval))
    back = transposed_musicxml(there, "song.xml", Interval(-interval.fifths, -interval.diatonic))
    _alike(read_score(back, "song.xml"), read_score(song, "song.xml"))


def test_packed_and_corpus_scores_move_too() -> None:
    whole = GeneralObjectExporter(corpus.parse("bach/bwv66.6")).parse()
    interval = Interval.parse("m3")
    moved = transposed_musicxml(makers.packed({"score.xml": whole}), "chorale.mxl", interval)
    _alike(read_score(moved, "x.xml"), _moved(read_score(whole, "x.xml"), interval))


@pytest.mark.parametrize(("data", "name"), [(makers.midi([(60, 1), (64, 1), (67, 2)]), "a.mid"), (makers.ABC, "a.abc")])
def test_other_formats_become_musicxml(data: bytes, name: str) -> None:
    up = read_score(transposed_musicxml(data, name, Interval.parse("M2")), "b.xml")
    assert [n.midi for n in up.notes] == [n.midi + 2 for n in read_score(data, name).notes]


def test_chord_symbols_move_with_the_notes() -> None:
    harmony = "<harmony><root><root-step>B</root-step></root><kind>major</kind></harmony>"
    song = score([("Voice", [bar(1, attributes(), harmony, note("B4", 4))])]).encode()
    moved = read_score(transposed_musicxml(song, "s.xml", Interval.parse("m2")), "s.xml")
    assert [t.text for t in moved.texts if t.kind == "chord"] == ["C"]


def test_a_signature_of_eight_sharps_is_refused() -> None:
    song = score([("Voice", [bar(1, attributes(fifths=5), note("B4", 4))])]).encode()
    with pytest.raises(ScoreError, match="that key would need 12 sharps"):
        transposed_musicxml(song, "s.xml", Interval.parse("A1"))


def test_bad_files_are_refused_here_as_well() -> None:
    with pytest.raises(ScoreError, match="not a MusicXML score"):
        transposed_musicxml(b"<html/>", "s.xml", Interval.parse("M2"))


@pytest.mark.parametrize("fifths", range(-7, 8))
def test_the_interval_gives_a_short_signature(fifths: int) -> None:
    for semitones in range(-18, 19):
        interval = interval_for(semitones, fifths)
        assert interval.semitones == semitones
        assert abs(fifths + interval.fifths) <= 6


def test_figures_under_the_score() -> None:
    song = makers.small_song()
    table = read_score(song, "song.xml")
    text = "m1 C: I b3 V6\nm2 G: IV b2.5 V7"
    chords, _ = harmony_spans(parse_romantext(text, "a"), table, "a")
    written = annotated_musicxml(song, "song.xml", table, chords)
    again = read_score(written, "song.xml")
    assert again.notes == table.notes
    assert [(t.onset_quarters, t.text, t.part) for t in again.texts] == [
        (0.0, "C major: I (C)", 2),
        (2.0, "V6 (G/B)", 2),
        (4.0, "G major: IV (C)", 2),
        (5.5, "V7 (D7)", 2),
    ]
