"""The whole reading: gathered, stable, corrected, and as a document."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise

import pytest

from tests.analysis.invented import chord, key, table
from tutor.analysis.contract import from_json, to_json
from tutor.analysis.findings import Corrections, Reading, Section
from tutor.analysis.prose import change_count, reading_text
from tutor.analysis.reading import overlay, read
from tutor.errors import ScoreError
from tutor.music.table import NoteTable, PartRow

VERSE = "E4:1=Lan- F4:1=terns G4:1=on G4:1=the A4:2=wa- G4:2=ter, F4:1=one E4:1=by D4:1=one F4:1=they E4:3=go. r:1"
BRIDGE = (
    "A4:1=Who A4:1=will B4:1=row C5:1=us, B4:2=who G4:2=will A4:1=steer? G4:1=No- F#4:1=bo- A4:1=dy G4:3=knows. r:1"
)
UNDER = "C3+E3+G3:4 F3+A3+C4:2 C3+E3+G3:2 D3+F3+A3:2 G2+B2+D3:2 C3+E3+G3:4"
UNDER_BRIDGE = "A2+C3+E3:2 D3+F#3+A3:2 G2+B2+D3:4 A2+C3+E3:2 D3+F#3+C4:2 G2+B2+D3:4"


def song() -> NoteTable:
    voice = " ".join([VERSE, VERSE.replace("E4:3=go.", "C4:3=home."), BRIDGE, VERSE])
    return table(voice, " ".join([UNDER, UNDER, UNDER_BRIDGE, UNDER]), bpm=96)


@pytest.fixture(scope="module")
def reading() -> Reading:
    return read(song())


def test_a_song_is_read_whole(reading: Reading) -> None:
    assert reading.song.bars == 16
    assert [(p.role, p.name) for p in reading.song.parts] == [("voice", "Voice"), ("accompaniment", "Piano")]
    assert reading.keys[0].name == "C major"
    assert reading.chords[0].symbol == "C"
    assert reading.voice.high == "C5"
    assert reading.phrases[0].lyric.startswith("Lanterns on the water,")
    assert reading.warnings == ()
    assert not reading.corrected


def test_what_changed_on_return_is_told(reading: Reading) -> None:
    told = {r.again: [(c.at, c.what, c.was, c.now) for c in r.changes] for r in reading.returns}
    assert [change for changes in told.values() for change in changes] == [(28.0, "pitch", "E4", "C4")]
    assert max(end for _, end in told) > 56.0


def test_the_same_table_gives_the_same_bytes(reading: Reading) -> None:
    one = json.dumps(to_json(reading), ensure_ascii=False)
    assert one == json.dumps(to_json(read(song())), ensure_ascii=False)


def test_the_document_gives_the_reading_back(reading: Reading) -> None:
    assert from_json(json.loads(json.dumps(to_json(reading)))) == reading


@pytest.fixture(scope="module")
def fitted() -> Reading:
    """The song with another number of syllables in its second verse, and a changed rhythm in its last."""
    second = VERSE.replace("A4:2=wa-", "A4:1=hur- A4:1=ry-")
    last = second.replace("F4:1=one E4:1=by", "F4:1.5=one E4:0.5=by")
    return read(table(" ".join([VERSE, second, BRIDGE, last]), " ".join([UNDER, UNDER, UNDER_BRIDGE, UNDER]), bpm=96))


def test_a_note_split_for_the_words_is_told_apart(fitted: Reading) -> None:
    told = {r.again[0]: [(c.at, c.what, c.follows_words) for c in r.changes] for r in fitted.returns}
    assert told[16.0] == [(20.0, "rhythm", True)]
    assert told[48.0] == [(52.0, "rhythm", True), (56.0, "rhythm", False), (57.5, "rhythm", False)]


def test_the_document_says_what_follows_the_words_and_gives_it_back(fitted: Reading) -> None:
    raw = json.loads(json.dumps(to_json(fitted)))
    assert [c["follows_words"] for c in raw["returns"][0]["changes"]] == [True]
    assert from_json(raw) == fitted
    for back in raw["returns"]:
        for change in back["changes"]:
            del change["follows_words"]
    assert not any(c.follows_words for r in from_json(raw).returns for c in r.changes), "as it was before"


def test_in_prose_the_true_changes_stand_first(fitted: Reading) -> None:
    text = reading_text(fitted)
    assert max(map(len, text.splitlines())) <= 80
    block = text[text.index("WHAT COMES BACK") : text.index("RUBS")].splitlines()[1:-1]
    assert block == [
        "  bar 5 brings back bar 1: the same tune, 1 note split to fit the words",
        "    bar 6, beat 1: A4 for 2 quarters is split into 1 + 1 to fit the words",
        "  bar 13 brings back bar 1: 2 changes, and 1 note split to fit the words",
        "    bar 15, beat 1: rhythm, was F4 for 1 quarter, now F4 for 1.5 quarters",
        "    bar 15, beat 2.5: rhythm, was E4 on beat 2, now E4 on beat 2.5",
        "    bar 14, beat 1: A4 for 2 quarters is split into 1 + 1 to fit the words",
    ]


def test_notes_joined_are_counted_by_what_they_were(fitted: Reading) -> None:
    split = fitted.returns[0].changes[0]
    joined = replace(split, before=split.after, after=split.before, was=split.now, now=split.was)
    back = fitted.returns[0]
    assert change_count(replace(back, changes=())) == "no change"
    assert change_count(replace(back, changes=(joined,))) == "the same tune, 2 notes joined to fit the words"
    both = (split, joined, replace(split, follows_words=False))
    assert (
        change_count(replace(back, changes=both)) == "1 change, and notes split or joined in 2 places to fit the words"
    )
    text = reading_text(replace(fitted, returns=(replace(back, changes=(joined,)),)))
    assert "A4 1 + 1 quarters are joined into 2 to fit the words" in text


def test_the_document_has_the_names_of_the_contract(reading: Reading) -> None:
    raw = to_json(reading)
    assert raw["schema"] == 1
    assert set(raw["song"]) == {"title", "composer", "source", "bars", "length_ql", "parts"}
    assert raw["song"]["source"] == {"format": "musicxml", "sha256": "0" * 64}
    assert set(raw["order"][0]) == {"start", "end", "pass"}
    assert {"start", "end", "tonic", "mode", "confidence"} <= set(raw["keys"][0])
    assert {"bar", "beat", "root", "quality", "bass", "inversion", "figure", "key", "symbol"} <= set(raw["chords"][0])
    assert set(raw["chords"][0]["evidence"]) == {"tones", "nonchord"}
    assert {"phrases", "ends"} <= set(raw["melody"])
    assert {"start", "end", "bars", "lyric", "id"} <= set(raw["melody"]["phrases"][0])
    assert {"phrase", "pitch", "degree", "rest"} <= set(raw["melody"]["ends"][0])
    assert {"name", "sections", "extension"} <= set(raw["form"])
    assert {"label", "variant", "start", "end", "bars", "confidence"} <= set(raw["form"]["sections"][0])
    assert {"root_position_share", "runs", "smooth"} == set(raw["bassline"])
    assert set(raw["voice"]["tessitura"]) == {"low", "centre", "high"}
    assert set(raw["voice"]["dose"]) == {"time_s", "cycles"}
    assert {"start", "bar", "pitch", "held_ql", "approach", "why"} == set(raw["voice"]["climax"])
    assert {"start", "bar", "pitch", "held_ql", "syllable", "vowel"} == set(raw["voice"]["high_notes"][0])


def test_a_document_of_another_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="not a reading"):
        from_json({"schema": 1})


def test_the_users_chord_key_and_section_stand_and_are_marked(reading: Reading) -> None:
    mine = Corrections(
        keys=(replace(key(0.0, 32.0, "G"), confidence=1.0),),
        chords=(chord(4.0, 6.0, "D", "minor", figure="v", key="G major"),),
        sections=(Section("Q", 0, 32.0, 48.0, ("9", "12"), 1.0),),
    )
    found = read(song(), mine)
    assert found.corrected
    assert [(k.start, k.end, k.name) for k in found.keys if k.corrected] == [(0.0, 32.0, "G major")]
    assert [(c.start, c.end, c.figure) for c in found.chords if c.corrected] == [(4.0, 6.0, "v")]
    assert [(s.label, s.start, s.end) for s in found.form.sections if s.corrected] == [("Q", 32.0, 48.0)]
    assert all(a.end <= b.start + 1e-6 for a, b in pairwise(found.keys))
    assert all(a.end <= b.start + 1e-6 for a, b in pairwise(found.chords))
    assert from_json(to_json(found)) == found


def test_a_corrected_key_renumbers_the_chords_in_it(reading: Reading) -> None:
    mine = Corrections(keys=(replace(key(0.0, 16.0, "F"), confidence=1.0),))
    found = read(song(), mine)
    assert next((c.figure, c.key) for c in found.chords if c.symbol == "C") == ("V", "F major")
    assert [c.symbol for c in found.chords] == [c.symbol for c in reading.chords]


def test_an_overlay_cuts_what_it_covers() -> None:
    spans = overlay([key(0.0, 16.0)], [key(4.0, 8.0, "G")])
    assert [(k.start, k.end, k.tonic, k.corrected) for k in spans] == [
        (0.0, 4.0, "C", False),
        (4.0, 8.0, "G", True),
        (8.0, 16.0, "C", False),
    ]


def test_another_part_can_be_named_as_the_sung_line() -> None:
    swapped = replace(song(), parts=(PartRow("P1", "Voice", "accompaniment"), PartRow("P2", "Piano", "voice")))
    assert read(swapped, Corrections(voice_part="P1")).voice.high == "C5"
    with pytest.raises(ScoreError, match="no part is called P9"):
        read(song(), Corrections(voice_part="P9"))


def test_a_score_with_nothing_sung_is_refused_in_one_line() -> None:
    with pytest.raises(ScoreError, match="no singable line") as caught:
        read(table("C4:4", role="other"))
    assert "\n" not in caught.value.line


def test_a_missing_tempo_is_said() -> None:
    assert read(table(VERSE, UNDER)).warnings == ("The score has no tempo: 96 quarter notes a minute are assumed",)


@pytest.mark.parametrize("voice", ["C4:4", "C4:4 r:60 D4:4", "r:400 C4:1", "C4:0.25 " * 3])
def test_odd_songs_are_read_without_complaint(voice: str) -> None:
    found = read(table(voice))
    assert from_json(to_json(found)) == found


def test_a_voice_alone_is_read() -> None:
    found = read(table(VERSE + " " + VERSE))
    assert found.rubs == ()
    assert found.voice.low == "D4"
