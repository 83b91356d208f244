"""A score in which nobody sings is told in one line that leads somewhere: name the sung part, and it opens."""

from __future__ import annotations

from pathlib import Path

import pytest

from tutor.__main__ import main

NOTES = "".join(
    f"<note>{'<chord/>' if n else ''}<pitch><step>{s}</step><octave>{o}</octave></pitch><duration>4</duration></note>"
    for n, (s, o) in enumerate((("C", 2), ("G", 2), ("E", 3), ("C", 4)))
)
SCORE = f"""<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1">
<part-name>Piano</part-name>
</score-part></part-list><part id="P1">
<measure number="1"><attributes><divisions>1</divisions></attributes>{NOTES}</measure>
<measure number="2">{NOTES}</measure></part></score-partwise>"""


def test_the_way_out_works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("LARKSTAIR_HOME", str(tmp_path / "home"))
    song = tmp_path / "piano.musicxml"
    song.write_text(SCORE)
    assert main(["read", str(song)]) == 2
    told = capsys.readouterr().err
    assert told.startswith("larkstair: piano.musicxml: no singable line")
    assert told.count("\n") == 1
    main(["songs"])
    assert "piano" not in capsys.readouterr().out
    assert main(["correct", str(song), "--voice", "Harp"]) == 2
    assert "Parts: Piano" in capsys.readouterr().err
    assert main(["correct", str(song), "--voice", "Piano"]) == 0
    assert main(["read", str(song)]) == 0
