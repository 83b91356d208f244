"""Files that are no scores, or that mean harm: each ends in one clear line."""

from __future__ import annotations

import os
import struct
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.score import makers
from tutor.errors import ScoreError
from tutor.score.isolate import read_isolated
from tutor.score.read import read_file, read_score

_SONG = makers.small_song()


def _bomb_of_entities() -> bytes:
    entities = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 9))
    return (
        f'<?xml version="1.0"?><!DOCTYPE score-partwise [<!ENTITY e0 "ha">{entities}]>'
        "<score-partwise><part-list/>&e8;</score-partwise>"
    ).encode()


def _external_entity() -> bytes:
    return (
        b'<?xml version="1.0"?><!DOCTYPE score-partwise [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
        b"<score-partwise><part-list>&x;</part-list></score-partwise>"
    )


def _changed(old: bytes, new: bytes) -> bytes:
    assert old in _SONG
    return _SONG.replace(old, new, 1)


def _long_midi() -> bytes:
    """One note after more quarters than any song has."""
    track = b"\x00\x90\x3c\x40" + b"\xff\xff\xff\x7f\x80\x3c\x00" + b"\x00\xff\x2f\x00"
    return b"MThd" + struct.pack(">IHHH", 6, 0, 1, 1) + b"MTrk" + struct.pack(">I", len(track)) + track


def _bars(count: int) -> bytes:
    bars = [makers.bar(n, makers.attributes() if n == 1 else "", makers.note("C4", 4)) for n in range(1, count + 1)]
    return makers.score([("Voice", bars)]).encode()


def _parts(count: int) -> bytes:
    return makers.score([("Voice", [makers.bar(1, makers.attributes(), makers.note("C4", 4))])] * count).encode()


_CASES: list[tuple[str, Callable[[], bytes], str]] = [
    ("empty.musicxml", lambda: b"", "the file is empty"),
    ("blank.xml", lambda: b" \n\t", "the file is empty"),
    ("zeros.mxl", lambda: bytes(2000), "the file is empty"),
    ("cut.mxl", lambda: makers.packed({"score.xml": _SONG})[:-60], "damaged or cut short"),
    ("short.mxl", lambda: makers.packed({"score.xml": _SONG})[:10], "damaged or cut short"),
    ("nothing.mxl", lambda: makers.packed({"readme.txt": b"hello"}), "no MusicXML score"),
    ("bomb.mxl", lambda: makers.packed({"score.xml": bytes(50_000_000)}), "unpacks to far more"),
    ("bombs.mxl", lambda: makers.packed({f"{n}.xml": bytes(9_000_000) for n in range(9)}), "too large"),
    ("many.mxl", lambda: makers.packed({f"{n}.xml": b"x" for n in range(300)}), "too many for one score"),
    ("up.mxl", lambda: makers.packed({"../../score.xml": _SONG}), "leads outside"),
    ("root.mxl", lambda: makers.packed({"/score.xml": _SONG}), "leads outside"),
    ("drive.mxl", lambda: makers.packed({"C:\\score.xml": _SONG}), "leads outside"),
    ("twice.mxl", lambda: makers.packed({"score.xml": makers.packed({"score.xml": _SONG})}), "packs another"),
    ("page.xml", lambda: b"<html><body>Hello</body></html>", "not a MusicXML score (it holds 'html')"),
    ("cut.musicxml", lambda: _SONG[: len(_SONG) // 2], "damaged or cut short"),
    ("timewise.xml", lambda: b"<score-timewise><measure/></score-timewise>", "laid out by bars"),
    ("entities.xml", _bomb_of_entities, "declares entities"),
    ("external.xml", _external_entity, "declares entities"),
    ("nobars.xml", lambda: b"<score-partwise><part-list/></score-partwise>", "no bars"),
    ("rests.xml", lambda: makers.score([("Voice", [makers.bar(1, makers.note("r", 4))])]).encode(), "no notes"),
    ("encoding.xml", lambda: _changed(b"UTF-8", b"no-such"), "encoding"),
    ("divisions.xml", lambda: _changed(b"<divisions>4", b"<divisions>0"), "makes no sense"),
    ("divisions2.xml", lambda: _changed(b"<divisions>4", b"<divisions>-4"), "makes no sense"),
    ("divisions3.xml", lambda: _changed(b"<divisions>4", b"<divisions>" + b"9" * 30), "makes no sense"),
    ("duration.xml", lambda: _changed(b"<duration>4", b"<duration>999999999"), "makes no sense"),
    ("duration2.xml", lambda: _changed(b"<duration>4", b"<duration>nan"), "makes no sense"),
    ("octave.xml", lambda: _changed(b"<octave>5", b"<octave>99"), "beyond what can sound"),
    ("deep.xml", lambda: b"<score-partwise>" + b"<a>" * 5000, "nested too deeply"),
    ("bars.xml", lambda: _bars(10_000), "more than 800 bars"),
    ("parts.xml", lambda: _parts(1_000), "more than 64 parts"),
    ("silent.mid", lambda: makers.midi([]), "no notes in this MIDI"),
    ("cut.mid", lambda: makers.midi([(60, 1)])[:-6], "damaged or cut short"),
    ("header.mid", lambda: b"MThd\x00\x00", "damaged or cut short"),
    ("smpte.mid", lambda: b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\xe7\x28", "does not count in quarter"),
    ("long.mid", _long_midi, "far longer than a song"),
    ("tracks.mid", lambda: makers.midi([(60, 1)], tracks=80), "more than 64 tracks"),
    ("text.abc", lambda: b"Dear all, the rehearsal is at six.\n", "no score that can be read"),
    ("noise.krn", lambda: bytes(range(1, 256)) * 4, "no score that can be read"),
    ("paper.pdf", lambda: b"%PDF-1.7\n...", "this is a PDF"),
    ("sound.mp3", lambda: b"ID3\x04 and so on", "a sound recording"),
    ("empty.abc", lambda: b"X:1\nT:Nothing\nK:C\n", "no"),
    ("huge.abc", lambda: b"X:1\nK:C\n" + b"C D E F | " * 20_000, "more than 800 bars"),
]


@pytest.mark.parametrize(("name", "make", "says"), _CASES, ids=[c[0] for c in _CASES])
def test_one_clear_line(name: str, make: Callable[[], bytes], says: str) -> None:
    started = time.monotonic()
    with pytest.raises(ScoreError) as caught:
        read_score(make(), name)
    line = caught.value.line
    assert says in line
    assert line.startswith(name)
    assert "\n" not in line
    assert len(line) < 300
    assert time.monotonic() - started < 10


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(ScoreError, match="no such file"):
        read_file(tmp_path / "gone.mxl")
    with pytest.raises(ScoreError, match="a folder, not a score"):
        read_file(tmp_path)
    with pytest.raises(ScoreError, match="cannot be opened"):
        read_file(Path("nul\0name"))


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    path = tmp_path / "locked.mxl"
    path.write_bytes(_SONG)
    path.chmod(0)
    with pytest.raises(ScoreError, match="Check that you may read it"):
        read_file(path)


@pytest.mark.parametrize(
    ("name", "data", "fmt"),
    [
        ("song.mid", _SONG, "musicxml"),
        ("song.musicxml", makers.packed({"score.xml": _SONG}), "mxl"),
        ("song.xml", makers.midi([(60, 1)]), "midi"),
        ("song.krn", makers.ABC, "abc"),
        ("song.abc", makers.KERN, "kern"),
        ("song", _SONG, "musicxml"),
        ("bom.xml", b"\xef\xbb\xbf" + _SONG, "musicxml"),
        ("wide.xml", _SONG.decode().replace("UTF-8", "UTF-16").encode("utf-16"), "musicxml"),
        ("inner.mxl", makers.packed({"the score.musicxml": _SONG}, container=None), "mxl"),
    ],
)
def test_content_decides_not_the_name(name: str, data: bytes, fmt: str) -> None:
    assert read_score(data, name).format == fmt


def test_text_from_the_file_is_cleaned() -> None:
    song = _SONG.decode().replace("The Lantern", "The\u202eLan\u2066tern &#9; low").replace(">la<", ">l\u200fa<", 1)
    table = read_score(song.encode(), "odd\x1b[31m\u202e.xml")
    assert table.title == "TheLantern low"
    sung = [n.syllable for n in table.notes if n.syllable]
    assert set(sung) == {"la"}


def test_control_characters_in_xml_are_refused() -> None:
    with pytest.raises(ScoreError) as caught:
        read_score(_SONG.replace(b"The Lantern", b"The \x1b[2J Lantern"), "escape\x1b.xml")
    assert "\x1b" not in caught.value.line


def test_an_absurd_tempo_is_left_out() -> None:
    for tempo in (b"0", b"1e9", b"-3", b"99999999999999999999"):
        song = _changed(b'<measure number="2">', b'<measure number="2"><sound tempo="' + tempo + b'"/>')
        assert all(1 <= t.bpm <= 1000 for t in read_score(song, "tempo.xml").tempos)


def test_read_apart_gives_the_same_table(tmp_path: Path) -> None:
    path = tmp_path / "song.musicxml"
    path.write_bytes(_SONG)
    assert read_isolated(path) == read_file(path)
    other = read_isolated(path, voice_part="P2-Staff1")
    assert [p.role for p in other.parts] == ["other", "voice", "accompaniment"]


def test_read_apart_tells_the_error(tmp_path: Path) -> None:
    with pytest.raises(ScoreError, match="no such file"):
        read_isolated(tmp_path / "gone.mxl")


def test_reading_can_be_stopped(tmp_path: Path) -> None:
    path = tmp_path / "song.musicxml"
    path.write_bytes(makers.small_song(400))
    stop = threading.Event()
    stop.set()
    with pytest.raises(ScoreError, match="was stopped"):
        read_isolated(path, stop=stop)
    with pytest.raises(ScoreError, match=r"longer than 0\.1 seconds"):
        read_isolated(path, timeout_s=0.1)


def test_reading_can_be_stopped_on_its_way(tmp_path: Path) -> None:
    path = tmp_path / "song.musicxml"
    path.write_bytes(makers.small_song(700))
    stop = threading.Event()
    timer = threading.Timer(0.4, stop.set)
    timer.start()
    started = time.monotonic()
    with pytest.raises(ScoreError, match="was stopped"):
        read_isolated(path, stop=stop)
    timer.join()
    assert time.monotonic() - started < 5


@pytest.mark.skipif(os.name == "nt", reason="the system has no such limit")
def test_reading_cannot_take_all_memory(tmp_path: Path) -> None:
    path = tmp_path / "song.musicxml"
    path.write_bytes(makers.small_song(700))
    with pytest.raises(ScoreError, match=r"memory|cannot be read"):  # as the reader's libraries put it
        read_isolated(path, memory_bytes=70_000_000)
