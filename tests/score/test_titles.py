"""What a song is called: its own name first, the name of its set after it."""

from __future__ import annotations

import pytest

from tutor.score.read import read_score

SCORE = """<?xml version="1.0"?><score-partwise version="4.0">{names}
<part-list><score-part id="P1"><part-name>Voice</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>
<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration><lyric><text>ah</text></lyric></note>
</measure></part></score-partwise>"""
WORK = "<work><work-title>Harbour Songs</work-title></work>"
SONG = "<movement-title>Low Water</movement-title>"


@pytest.mark.parametrize(
    ("names", "title"),
    [
        (WORK + SONG, "Low Water (Harbour Songs)"),
        (WORK, "Harbour Songs"),
        (SONG, "Low Water"),
        (WORK.replace("Harbour Songs", "Low Water") + SONG, "Low Water"),
        ("", ""),
    ],
)
def test_title(names: str, title: str) -> None:
    assert read_score(SCORE.format(names=names).encode(), "song.musicxml").title == title
