"""Songs as they ship, in their composer's reading, asked about; the notes must bear every answer out."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from drills._returns import _windows as windows
from tests.drills.by_song import SONGS, basses, sung
from tests.drills.checks import faults
from tutor.analysis.findings import Change, ChangedNote, Return
from tutor.analysis.reading import read
from tutor.lessons import bundled_songs
from tutor.practice.catalogue import drills
from tutor.practice.drill import Answer, Drill, Material, NoMaterial, Song
from tutor.score.read import read_score
from tutor.studio.composers import composers_reading

FILES = ("salt-on-the-sill", "one-line-short", "leave-the-sluice-open")
EVERY = [pytest.param(d, s, id=f"{d.name}: {s}") for d in drills() for s in sorted(d.from_songs)]  # type: ignore[attr-defined]
SEEDS = 40


@pytest.fixture(scope="module")
def material() -> Material:
    songs = []
    for bundled in (b for b in bundled_songs() if b.name in FILES):
        table = read_score(bundled.file.read_bytes(), bundled.file.name)
        reading = read(table, composers_reading(bundled, table))
        songs.append(Song(table.sha256, table.title, table, reading))
    return Material(songs=tuple(songs))


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_every_song_skill_finds_something(drill: Drill, skill: str, material: Material) -> None:
    name = f"{drill.name}: {skill}"
    wrong: list[str] = []
    for seed in range(SEEDS):
        try:
            item = drill.item(skill, material, random.Random(seed), level=(seed % 11) / 10)
        except NoMaterial:
            wrong.append(f"{seed}: nothing found")
            continue
        question, right = drill.question(item), drill.right(item)
        mark = drill.mark(item, right)
        assert mark.correct
        assert drill.mark(item, Answer()).credit == 0
        assert any(s.id == item.song_id and s.title in question.source for s in material.songs)
        if name in SONGS and SONGS[name](question, item, mark) != right.choice:
            wrong.append(f"{seed}: {question.prompt} {mark.right}")
        if name in ("intervals: song", "form: song-relation", "form: song-return", "form: song-again"):
            wrong += faults(drill, item)
    assert wrong == []


def test_the_wanted_basses_are_the_lowest_notes(material: Material) -> None:
    drill = next(d for d in drills() if d.name == "bass-line")
    for seed in range(SEEDS):
        item = drill.item("song", material, random.Random(seed), level=0.5)
        assert basses(drill.question(item), [(m, o) for m, o, _ in item.payload["wanted"]])


@pytest.mark.parametrize(("name", "skill"), [("melody-by-ear", "song"), ("sing-at-sight", "song")])
def test_the_wanted_melody_is_the_sung_line(name: str, skill: str, material: Material) -> None:
    drill = next(d for d in drills() if d.name == name)
    for seed in range(SEEDS):
        item = drill.item(skill, material, random.Random(seed), level=0.5)
        question = drill.question(item)
        line = sung((question.seen or question.heard)[-1].phrase)
        given = [m for m, _, _ in item.payload["wanted"]]
        assert line == given


def test_outside_the_changed_bar_both_times_are_sung_alike() -> None:
    """A section may open with an introduction that its return lacks: the two are then laid note on note."""
    bundled = next(b for b in bundled_songs() if b.name == "ebb-counting")
    table = read_score(bundled.file.read_bytes(), bundled.file.name)
    found = windows(Song(table.sha256, table.title, table, read(table)))

    def sung_in(start: float, end: float, but: str, shift: float) -> list[tuple[float, int]]:
        return [
            (round(n.onset_quarters - start, 4), n.midi)
            for n in table.notes
            if n.part == table.voice_part and start <= n.onset_quarters < end
            and table.bar_at(n.onset_quarters + shift).number != but
        ]  # fmt: skip

    assert found
    for window in found:
        changed, shift = window.changes[0].bar, window.again[0] - window.of[0]
        assert sung_in(*window.of, changed, shift) == sung_in(*window.again, changed, 0.0)


def test_no_window_reaches_beyond_what_both_times_have() -> None:
    table = read_score(next(b for b in bundled_songs() if b.name == "the-ledger").file.read_bytes(), "a.musicxml")
    reading = read(table)
    low, high = (ChangedNote(p, 20.0, "6", 1.0, 1.0) for p in ("C4", "D4"))
    change = Change(20.0, "6", 1.0, "C4", "D4", "pitch", (low,), (high,))
    early = replace(change, what="extended", before=(), after=(replace(high, pitch="G4"),))
    late = replace(early, at=40.0, bar="11", after=(replace(high, at=40.0, bar="11"),))
    back = Return((0.0, 16.0), (16.0, 48.0), 0, (change, late))
    found = windows(Song("s", "t", table, replace(reading, returns=(back,))))
    assert found
    assert all(w.again[1] <= 32.0 and w.of[1] <= 16.0 and w.changes == (change,) for w in found)
    opening = replace(back, changes=(replace(early, at=16.0, bar="5", after=(replace(high, at=16.0, bar="5"),)),))
    assert windows(Song("s", "t", table, replace(reading, returns=(opening,)))) == []
