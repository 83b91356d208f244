"""Corrections from short words."""

from __future__ import annotations

import pytest

from tests.analysis.invented import chord, key, sounding, table
from tutor.analysis.findings import Corrections
from tutor.analysis.reading import read
from tutor.errors import SidecarError
from tutor.practice.drill import Song
from tutor.studio.correcting import with_chord, with_key


@pytest.fixture(scope="module")
def song() -> Song:
    spans = [chord(0, 2, "C"), chord(2, 4, "G"), chord(4, 6, "C"), chord(6, 8, "G"), chord(8, 12, "C")]
    one = table("E4:1 G4:1 D4:1 B4:1 E4:1 G4:1 D4:1 B4:1 C5:4", sounding(spans), metre=(2, 4))
    return Song("s", "A Song", one, read(one, Corrections(keys=(key(0, 12),))))


def test_a_beat_that_the_bar_lacks_is_told_and_not_put_into_the_next(song: Song) -> None:
    assert with_chord(Corrections(), song, "2.2=V").chords[0].start == 3.0
    with pytest.raises(SidecarError, match="bar 2 has no beat 3"):
        with_chord(Corrections(), song, "2.3=V")


def test_a_numeral_is_read_in_the_key_that_the_user_named(song: Song) -> None:
    mine = with_key(Corrections(), song, "2-3=A minor")
    assert [c.symbol for c in with_chord(mine, song, "2=V").chords] == ["E"]
    assert [c.symbol for c in with_chord(mine, song, "2=V in F major").chords] == ["C"]
    assert [c.symbol for c in with_chord(mine, song, "4=V").chords] == ["G"]
