"""What a song screen shows of each bar, and how quickly it moves through a long song."""

from __future__ import annotations

import json
import time
from dataclasses import replace

import pytest

from tests.tui import frozen
from tests.tui.conftest import Running, settle, text_of
from tutor.analysis import contract
from tutor.analysis.findings import Change, ChangedNote, Return
from tutor.music.phrase import Phrase
from tutor.music.table import NoteTable
from tutor.practice.drill import Song
from tutor.studio import Studio
from tutor.tui import songview
from tutor.tui.screens.song import SongScreen
from tutor.tui.transpose import transposed


@pytest.fixture(scope="module")
def song() -> Song:
    reading = contract.from_json(json.loads(json.dumps(frozen.READING)))
    return Song(frozen.CARD.id, frozen.CARD.title, NoteTable.loads(frozen.TABLE), reading)


def long_song(song: Song, times: int) -> Song:
    """The same song over and over."""
    table, length = song.table, song.table.length_quarters
    count = len(table.measures)
    measures = tuple(
        replace(m, start_quarters=m.start_quarters + n * length, number=str(1 + i + n * count))
        for n in range(times)
        for i, m in enumerate(table.measures)
    )
    notes = tuple(
        replace(x, onset_quarters=x.onset_quarters + n * length, measure=x.measure + n * count)
        for n in range(times)
        for x in table.notes
    )
    return replace(song, table=replace(table, measures=measures, notes=notes))


def test_every_finding_belongs_to_its_bar(song: Song) -> None:
    bars = songview.bars_of(song)
    assert len(bars) == song.reading.song.bars
    assert sum(len(b.borrowed) for b in bars) == len(song.reading.borrowed)
    assert sum(len(b.rubs) for b in bars) == len(song.reading.rubs)
    assert sum(b.climax for b in bars) == 1
    for bar in bars:
        assert all(b.bar == bar.number for b in bar.borrowed)
        assert bar.chords, "a chord begins or goes on in every bar"


def test_findings_are_told_in_words_without_bare_codes(song: Song) -> None:
    bars = songview.bars_of(song)
    told = [line for b in bars for line in songview.details(song, b)]
    assert any(line.startswith("Borrowed, beat") for line in told)
    assert any(line.startswith("Rub, beat") for line in told)
    assert any(line.startswith("Returns: this is bar") for line in told)
    assert any(line.startswith("Climax:") for line in told)
    assert not [line for line in told if "m2" in line or "None" in line]


def test_a_return_that_sets_off_on_an_upbeat_is_told_in_that_bar(song: Song) -> None:
    first, bars = songview.bars_of(song)[4], songview.bars_of(song)
    back = Return((first.start + 1, bars[6].end), (bars[10].start + 1, bars[12].end), 0, ())
    view = songview.bars_of(replace(song, reading=replace(song.reading, returns=(back,))))
    assert view[9].back is None
    told = songview.details(song, view[10])
    assert f"Returns: from beat 2 on this is bar {first.number} again. Nothing is changed." in told
    assert f"Returns: this is bar {bars[5].number} again. Nothing is changed." in songview.details(song, view[11])


def test_the_page_marks_what_was_found(song: Song) -> None:
    bar = next(b for b in songview.bars_of(song) if b.borrowed)
    phrase = songview.page(song, bar.start, bar.end)
    assert "borrowed" in {t.mark for t in phrase.tones}
    assert phrase.figures
    assert phrase.first_bar == bar.number


def test_words_of_several_syllables_are_joined(song: Song) -> None:
    bars = songview.bars_of(song)
    assert any(" " in b.words for b in bars)
    assert not any("- " in b.words for b in bars)
    broken = [n for n in song.table.notes if n.syllabic == "begin"]
    assert broken
    for note in broken:
        bar = song.table.bar_at(note.onset_quarters)
        shown = songview.page(song, bar.start_quarters, bar.end_quarters)
        assert f"{note.syllable}-" in [t.syllable for t in shown.tones], "once, on the staff"


@pytest.mark.parametrize("semitones", range(-12, 13))
def test_transposing_moves_every_note_by_the_same_and_keeps_the_signature_small(semitones: int) -> None:
    phrase = Phrase.parse("F4:1 A4:1 C#5:1 Bb3:1", fifths=-1)
    moved = transposed(phrase, semitones)
    assert [t.midi for t in moved.tones] == [t.midi + semitones for t in phrase.tones]
    assert abs(moved.fifths) <= 7


async def test_the_map_tells_a_note_fitted_to_the_words_from_a_change(
    running: Running, studio: Studio, song: Song
) -> None:
    split = Change(0.0, "1", 1.0, "", "", "rhythm", follows_words=True)
    last = song.table.measures[-1].end_quarters
    changes = replace(split, at=8.0), replace(split, at=8.0, follows_words=False), replace(split, at=last - 1.0)
    whole = replace(song.reading, returns=(Return((0.0, last), (0.0, last), 0, changes),))
    async with running(studio) as (app, pilot):
        app.push_screen(SongScreen(replace(song, reading=whole)))
        await settle(pilot)
        (row,) = [line for line in text_of(app).splitlines() if line.lstrip().startswith("returns")]
        assert [c for c in row if c in "≠≈"] == ["≠", "≈"]


async def test_moving_across_a_long_song_is_quick(running: Running, studio: Studio, song: Song) -> None:
    """The house measure is 50 ms from key to paint; processor time is counted, other programs are not."""
    async with running(studio) as (app, pilot):
        screen = SongScreen(long_song(song, 6))
        assert len(screen.bars) > 200
        app.push_screen(screen)
        await settle(pilot)
        spent = []
        for i in range(60):
            started = time.process_time()
            if i == 30:
                screen.action_staff()
            else:
                screen.action_bar(5 if i % 2 else -2)
            app.screen._compositor.render_strips()
            spent.append(time.process_time() - started)
        spent.sort()
        assert spent[56] < 0.05, [round(s * 1000) for s in spent]


def test_the_whole_song_is_told_in_a_few_lines(song: Song) -> None:
    told = songview.overview(song)
    assert told[0].startswith("Sections: ")
    assert any(line.startswith("Keys: ") for line in told)
    assert any(line.startswith("Rubs in bars") for line in told)
    assert "Bars 19–24 stand in F lydian." in told
    assert len(told) == 4 + len(song.reading.modes) + len(song.reading.returns)


def test_a_note_split_for_the_words_is_no_change_of_the_tune(song: Song) -> None:
    back = next(r for r in song.reading.returns if not r.transposed)
    bar = song.table.bar_at(back.again[0] + 4.0)
    at, number = bar.start_quarters, bar.number
    one, two = (ChangedNote("A4", at + x, number, 1.0 + x, 1.0) for x in (0.0, 1.0))
    split = Change(at, number, 1.0, "A4 for 2 quarters", "A4 1 + 1 quarters", "rhythm",
                   (replace(one, quarters=2.0),), (one, two), follows_words=True)  # fmt: skip
    true = Change(at, number, 1.0, "A4", "B4", "pitch", (one,), (replace(one, pitch="B4"),))

    def seen(*changes: Change) -> tuple[Song, songview.BarView]:
        told = replace(song, reading=replace(song.reading, returns=(replace(back, changes=changes),), rubs=(),
                                             borrowed=()))  # fmt: skip
        return told, next(b for b in songview.bars_of(told) if b.start == at)

    told, view = seen(split)
    lines = songview.details(told, view)
    words = "A4 for a half note before, A4 for two quarter notes now."
    assert lines[-2].endswith("again. The same tune, 1 note split to fit the words.")
    assert lines[-1] == f"Split to fit the words, beat 1: {words}"
    assert songview.overview(told)[-1].endswith(": the same tune, 1 note split to fit the words.")
    assert songview.worth_asking(view)[0] != "what-changed"
    told, view = seen(split, true)
    assert [line.split(",")[0] for line in songview.details(told, view)[-2:]] == ["Changed", "Split to fit the words"]
    assert songview.overview(told)[-1].endswith(", with 1 change, and 1 note split to fit the words.")
    assert songview.worth_asking(view)[0] == "what-changed"


@pytest.mark.parametrize(("chord", "words"), [
    ("Bbm7", "part of B♭m7, a dominant lent to the next chord."),
    ("C", "taken for part of a dominant lent to the next chord, over C."),
])  # fmt: skip
def test_a_tone_is_never_called_part_of_a_chord_without_it(song: Song, chord: str, words: str) -> None:
    tone = replace(song.reading.borrowed[0], pitch="Ab4", kind="applied", modes=(), pivot="", chord=chord)
    bar = replace(songview.bars_of(song)[0], borrowed=(tone,))
    assert any(line.endswith(words) for line in songview.details(song, bar))


@pytest.mark.parametrize(("interval", "words"), [
    ("m9", "sung B♭4 against A, a semitone and an octave or more; it stays open."),
    ("M14", "sung B♭4 against A, a major seventh and an octave or more; it stays open."),
    ("9-8", "sung B♭4, a 9–8 suspension to A; it stays open."),
])  # fmt: skip
def test_a_rub_is_told_in_words(song: Song, interval: str, words: str) -> None:
    rub = replace(song.reading.rubs[0], beat=2.0, voice="Bb4", against="A", interval=interval)
    bar = replace(songview.bars_of(song)[0], rubs=(rub,))
    assert f"Rub, beat 2: {words}" in songview.details(song, bar)


def test_the_introduction_at_the_end_is_called_a_coda_that_brings_it_back(song: Song) -> None:
    form = song.reading.form
    closing = replace(form.sections[-1], label="i", role="coda")
    ended = replace(song, reading=replace(song.reading, form=replace(form, sections=(*form.sections[:-1], closing))))
    assert songview.section_name(closing) == "coda"
    assert "coda (the introduction again)? 35–36." in songview.overview(ended)[0]
    last = songview.bars_of(ended)[-1]
    assert songview.details(ended, last)[0].startswith("Section coda (the introduction again)?, bars 35–36.")
