"""What a theory teacher would object to in questions about a song, each caught once."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import pytest

from drills._again import heads
from drills._returns import _told, _windows
from drills._songs import plain_syllable
from drills.cadences import _ends
from drills.rub_or_rest import _sure_rubs
from tests.practice.songs import lanterns
from tutor.analysis.findings import Change, ChangedNote, KeySpan, Resolution, Return
from tutor.music.pitch import Pitch
from tutor.practice.catalogue import drills
from tutor.practice.drill import Drill, Item, Material, NoMaterial, Song
from tutor.practice.material import beat_words, length_words


def with_reading(**changed: Any) -> Song:
    song = lanterns()
    return replace(song, reading=replace(song.reading, **changed))


def drill_of(name: str) -> Drill:
    return next(d for d in drills() if d.name == name)


def ask(name: str, skill: str, song: Song, seed: int = 1) -> Item:
    return drill_of(name).item(skill, Material(songs=(song,)), random.Random(seed), 0.5)


def returning(at: float, bar: str, more: str, *, last: float = 64.0) -> Song:
    """The song, whose last phrase is said to bring the first one back with notes added."""
    added = tuple(ChangedNote(p, at + i, bar, 1.0 + i, 1.0) for i, p in enumerate(more.split()))
    change = Change(at, bar, 1.0, "", more, "extended", after=added)
    return with_reading(returns=(Return((0.0, last - 48.0), (48.0, last), 0, (change,)),))


def test_a_section_that_goes_on_is_not_asked_about_as_an_extension() -> None:
    assert _windows(returning(52.0, "14", "A4 G4 F4 F4 E4 D4 C4")) == []
    assert _windows(returning(60.0, "16", "C4")) == [], "something is sung there the first time as well"


def test_a_note_added_at_the_end_is_asked_about_where_nothing_follows() -> None:
    song = returning(60.0, "16", "C4")
    table = replace(song.table, notes=tuple(n for n in song.table.notes if n.part or n.onset_quarters != 12.0))
    found = _windows(replace(song, table=table))
    assert found
    assert {w.changes[0].bar for w in found} == {"16"}


def note(pitch: str, bar: str = "16", beat: float = 1.0, quarters: float = 1.0, *, struck: bool = True) -> ChangedNote:
    return ChangedNote(pitch, 4.0 * (int(bar) - 1) + beat - 1, bar, beat, quarters, struck)


def changed(what: str, before: tuple[ChangedNote, ...], after: tuple[ChangedNote, ...], beat: float = 1.0) -> Change:
    return Change(59.0 + beat, "16", beat, "-", "-", what, before, after)  # type: ignore[arg-type]


@pytest.mark.parametrize(("change", "words"), [
    (changed("extended", (), (note("C4"), note("Bb3", beat=2))), "C4 and B♭3 added at the end"),
    (changed("cut short", (note("F#4"),), ()), "F♯4 left out at the end"),
    (changed("pitch", (note("G4"),), (note("Bb4"),)), "G4 became B♭4 (another pitch)"),
    (changed("octave", (note("G4"),), (note("G5"),)), "G4 became G5 (another octave)"),
    (changed("rhythm", (), (note("A4"),)), "A4 is sung where there was a rest (another rhythm)"),
    (changed("rhythm", (note("G4"),), ()), "a rest takes the place of G4 (another rhythm)"),
    (changed("rhythm", (note("A4", "15", 4.0, 2.0, struck=False),), (note("Bb4"),)),
     "B♭4 is sung where A4 was held (another rhythm)"),
    (changed("rhythm", (note("Bb4"),), (note("A4", "15", 4.0, 2.0, struck=False),)),
     "A4 is held where B♭4 was sung (another rhythm)"),
    (changed("rhythm", (note("A4", "15", 4.0, 2.0, struck=False),), (note("A4"),)),
     "A4 is struck anew where it was held on (another rhythm)"),
    (changed("rhythm", (note("A4"),), (note("A4", "15", 4.0, 2.0, struck=False),)),
     "A4 is held on where it was struck anew (another rhythm)"),
    (changed("rhythm", (note("G4"), note("F4", beat=2.0)), (note("A4", "15", 4.0, 4.0, struck=False),)),
     "A4 is held where G4 and F4 were sung (another rhythm)"),
    (changed("rhythm", (note("Eb4", quarters=0.5),), (note("Eb4", quarters=1.5),)),
     "E♭4 for an eighth note became E♭4 for a dotted quarter note (another rhythm)"),
    (changed("rhythm", (note("A4", quarters=2.0),), (note("A4"), note("A4", beat=2.0, quarters=0.5))),
     "A4 for a half note became A4 for a quarter note and an eighth note (another rhythm)"),
    (changed("rhythm", (note("A4"), note("A4", beat=2.0)), (note("A4", quarters=2.0),)),
     "A4 for two quarter notes became A4 for a half note (another rhythm)"),
    (changed("rhythm", (note("A4"),), (note("A4", quarters=1 / 3),) * 3),
     "A4 for a quarter note became A4 for a third of a quarter note, a third of a quarter note and a third of a "
     "quarter note (another rhythm)"),
    (replace(changed("rhythm", (note("A4", quarters=2.0),), (note("A4"), note("A4", beat=2.0))), follows_words=True),
     "A4 for a half note became A4 for two quarter notes (split to fit the words)"),
    (changed("rhythm", (note("G4", beat=1.0),), (note("G4", beat=2.5),), 2.5),
     "G4 on beat 1 became G4 on beat 2 and a half (another rhythm)"),
    (changed("rhythm", (note("G4", "15", 4.0),), (note("G4"),)),
     "G4 on beat 4 of bar 15 became G4 on beat 1 of bar 16 (another rhythm)"),
])  # fmt: skip
def test_a_change_is_told_in_plain_words(change: Change, words: str) -> None:
    assert _told([change]) == f"Bar 16, {beat_words(change.beat)}: {words}."


def test_another_ending_is_told_and_not_asked_about() -> None:
    ending = changed("pitch", (note("A4"), note("F4", beat=2.0)), (note("C5", quarters=2.0),))
    assert "A4 and F4 became C5 (another pitch)" in _told([ending])
    back = Return((0.0, 16.0), (16.0, 32.0), 0, (replace(ending, at=28.0, bar="8"),))
    assert _windows(with_reading(returns=(back,))) == []
    later = changed("rhythm", (note("A4", "15"), note("F4", "15", 2.0)), (note("A4"), note("F4", beat=2.0)))
    assert "A4 and F4 from beat 1 of bar 15 became A4 and F4 from beat 1 of bar 16" in _told([later])


def test_a_note_split_over_the_bar_line_is_not_asked_about() -> None:
    def asked(second: ChangedNote) -> bool:
        change = changed("rhythm", (note("A4", "5", quarters=2.0),), (note("A4", "5"), second))
        back = Return((0.0, 16.0), (16.0, 32.0), 0, (replace(change, at=16.0, bar="5"),))
        return bool(_windows(with_reading(returns=(back,))))

    assert asked(note("A4", "5", 2.0))
    assert not asked(note("A4", "6", 1.0))


def fitted(bar: str = "6", *, over: str = "") -> Change:
    """A half note split for two syllables, the second of them in another bar if so wanted."""
    was, one, two = note("A4", bar, quarters=2.0), note("A4", bar), note("A4", over or bar, 1.0 if over else 2.0)
    return Change(was.at, bar, 1.0, "-", "-", "rhythm", (was,), (one, two), follows_words=True)


def change_in(bar: str, what: str = "pitch") -> Change:
    was, now = note("G4", bar, 3.0), note("B4" if what == "pitch" else "G4", bar, 3.0, 1.0 if what == "pitch" else 0.5)
    return Change(was.at, bar, 3.0, "-", "-", what, (was,), (now,))  # type: ignore[arg-type]


def coming_back(*changes: Change) -> Song:
    return with_reading(returns=(Return((0.0, 16.0), (16.0, 32.0), 0, changes),))


@pytest.mark.parametrize("skill", ["song-bar", "song-kind"])
def test_what_only_follows_the_words_is_never_asked_about(skill: str) -> None:
    with pytest.raises(NoMaterial):
        ask("what-changed", skill, coming_back(fitted()))


def test_no_passage_is_asked_about_in_which_two_bars_sound_changed() -> None:
    found = _windows(coming_back(change_in("6"), fitted("7")))
    assert found
    assert not any("7" in w.bars for w in found)
    over = _windows(coming_back(change_in("7"), fitted("6", over="7")))
    assert over == [], "the split note is struck in bar 7 too"
    assert not any("6" in w.bars for w in _windows(coming_back(change_in("7"), fitted("5", over="6"))))


def test_rhythm_is_not_called_wrong_where_a_note_is_split_for_the_words() -> None:
    beside = coming_back(change_in("6"), fitted("6"))
    item = ask("what-changed", "song-bar", beside)
    assert item.payload["right"] == "6"
    assert "(another pitch)" in item.payload["why"]
    assert item.payload["why"].endswith("(split to fit the words).")
    with pytest.raises(NoMaterial):
        ask("what-changed", "song-kind", beside)
    item = ask("what-changed", "song-kind", coming_back(change_in("6", "rhythm"), fitted("6")))
    assert item.payload["right"] == "rhythm"
    elsewhere = coming_back(change_in("6"), fitted("8"))
    for seed in range(8):
        item = ask("what-changed", "song-kind", elsewhere, seed)
        assert item.payload["right"] == "pitch"
        assert "words" not in item.payload["why"]


def test_a_note_put_off_over_the_bar_line_is_not_asked_about() -> None:
    late = Change(24.0, "7", 1.0, "-", "-", "rhythm", (note("G4", "6", 3.0),), (note("G4", "7"),))
    assert _windows(coming_back(late)) == []


def test_a_rub_is_called_left_open_only_where_that_is_plain() -> None:
    song = lanterns()
    left = tuple(replace(r, resolves=Resolution("none", None)) for r in song.reading.rubs)
    assert [(r.voice, r.start) for r in left] == [("F4", 8.0)]

    def sung(*names: str) -> Song:
        """The song with other notes after the rub."""
        pitches = dict(zip((9.0, 10.0), map(Pitch.parse, names), strict=True))
        notes = tuple(
            replace(n, step=p.step, alter=p.alter, octave=p.octave)
            if not n.part and (p := pitches.get(n.onset_quarters)) else n
            for n in song.table.notes
        )  # fmt: skip
        return replace(song, table=replace(song.table, notes=notes), reading=replace(song.reading, rubs=left))

    assert _sure_rubs(sung("A4", "C5")) == list(left)
    assert _sure_rubs(sung("E4", "C5")) == [], "it goes on by step"
    assert _sure_rubs(sung("C5", "E4")) == [], "it comes round to its goal"
    leaping = sung("A4", "C5")
    chords = tuple(replace(c, root="F", bass="F", quality="major") for c in leaping.reading.chords)
    assert _sure_rubs(replace(leaping, reading=replace(leaping.reading, chords=chords))) == [], "it came too early"


def test_the_tonic_that_is_given_holds_through_the_line_to_be_sung() -> None:
    keys = tuple(
        KeySpan(start, start + 8.0, "GC"[i % 2], "major", 0.98) for i, start in enumerate(range(0, 64, 8))
    )  # fmt: skip
    with pytest.raises(NoMaterial):
        ask("sing-at-sight", "song", with_reading(keys=keys))
    prompt = ask("degrees", "song", with_reading(keys=keys)).payload["prompt"]
    assert prompt.startswith("At the end of the phrase the key is C major.")


def test_an_augmented_sixth_is_named_and_not_called_a_seventh() -> None:
    song = lanterns()
    tone = replace(song.reading.borrowed[0], kind="applied", modes=(), chord="Ab7", start=37.0)
    chords = tuple(
        replace(c, quality="german-sixth", symbol="Ab7", tones=("F#", "Ab", "C", "Eb"), bass="Ab")
        if c.start == 36.0 else c for c in song.reading.chords
    )  # fmt: skip
    item = ask("borrowed", "song-kind", with_reading(borrowed=(tone,), chords=chords))
    assert "over the German augmented sixth A♭ C E♭ F♯ (on a lead sheet A♭7)" in item.payload["why"]


def test_in_minor_the_raised_degrees_are_not_foreign() -> None:
    tones = tuple(replace(b, key="C minor") for b in lanterns().reading.borrowed)
    item = ask("borrowed", "song-bar", with_reading(borrowed=tones))
    assert "The key is C minor, its raised sixth and seventh degrees included." in item.payload["prompt"]


def test_another_idea_has_no_changes_marked() -> None:
    song = lanterns()
    halves = [replace(p, id=2 * p.id + n, start=p.start + 8 * n, end=p.start + 8 * n + 8)
              for p in song.reading.phrases for n in (0, 1)]  # fmt: skip
    asked = [ask("form", "song-relation", with_reading(phrases=tuple(halves)), seed) for seed in range(20)]
    new = [i for i in asked if i.payload["right"] == "new"]
    assert new
    for item in new:
        assert "marked" not in item.payload["shown"][0]
        assert '"changed"' not in str(item.payload["shown"])


def test_a_line_sets_off_again_only_where_all_of_its_first_notes_agree() -> None:
    sung = [n for n in lanterns().table.notes if not n.part]
    assert heads(sung, 3) == ([16.0, 48.0], False)
    assert heads(sung, 4) == ([48.0], True), "the second time the fourth note is another"
    raised = [replace(n, octave=n.octave + 1) if n.onset_quarters == 48.0 else n for n in sung]
    assert heads(raised, 3) == ([16.0], True), "two of three: that could be argued, and is not asked"
    late = [replace(n, onset_quarters=n.onset_quarters + 0.5) if n.onset_quarters == 50.0 else n for n in sung]
    assert heads(late, 3) == ([16.0], True)


def test_taps_are_wanted_where_the_line_sets_off_and_the_places_are_told() -> None:
    asked = [ask("form", "song-again", lanterns(), seed) for seed in range(20)]
    told = {tuple(o for _, o, _ in i.payload["wanted"]): i.payload["words"] for i in asked}
    assert told[16.0, 48.0] == "in bars 5 and 13"
    assert told[32.0,] == "in bar 13"
    for item in asked:
        assert "There the line sets off as in bar " in item.payload["why"]
        assert not any(t.syllable for e in drill_of("form").question(item).heard for t in e.phrase.tones)


def test_the_places_of_bass_notes_are_told_once() -> None:
    prompts = {ask("bass-line", "song", lanterns(), seed).payload["prompt"] for seed in range(20)}
    assert any("bass notes on beat 1 of bars " in p for p in prompts)
    assert not any(p.count("of bar ") > 1 and p.count("beat 1 of bar ") > 1 for p in prompts)


def test_a_syllable_is_named_with_its_hyphen_and_without_its_comma() -> None:
    note = lanterns().table.notes[-1]
    assert plain_syllable(replace(note, syllable="Frie", syllabic="begin")) == "Frie-"
    assert plain_syllable(replace(note, syllable="den,", syllabic="end")) == "den"


@pytest.mark.parametrize(("quarters", "words"), [
    (2.5, "5 eighth notes"), (1.25, "5 sixteenth notes"), (5.0, "5 quarter notes"), (0.2, "0.2 quarter notes"),
    (1.5, "a dotted quarter note"),
])  # fmt: skip
def test_lengths_are_told_in_note_values(quarters: float, words: str) -> None:
    assert length_words(quarters) == words


def test_no_cadence_is_asked_where_the_last_chord_follows_its_own_dominant() -> None:
    song = lanterns()
    asked = _ends(song)
    assert asked
    before = asked[0][0]

    def with_before(figure: str) -> Song:
        chords = tuple(replace(c, figure=figure) if c == before else c for c in song.reading.chords)
        last = tuple(replace(c, figure="V") if c == asked[0][1] else c for c in chords)
        return with_reading(chords=last)

    assert (before.start, "half") in [(a.start, kind) for a, _, kind, *_ in _ends(with_before("ii"))]
    assert before.start not in [a.start for a, *_ in _ends(with_before("V7/V"))]
