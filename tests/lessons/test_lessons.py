"""The lesson files: they are read, they are whole, and they lead to drills that exist."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from tutor.errors import LessonError
from tutor.lessons import (
    Music,
    Prose,
    bundled_songs,
    lesson,
    lessons,
    parse_lesson,
    parse_music,
    parse_songs,
    parse_sources,
    sources,
)
from tutor.practice.catalogue import drill_named, drills
from tutor.warmup import limits

NAMES = tuple(one.name for one in lessons())
WHOLE = '+++\ntitle = "One"\nneeds = []\ndrills = ["inversions"]\nsources = []\n+++\nText.\n'


def prose(name: str) -> str:
    return "\n".join(b.text for b in lesson(name).blocks if isinstance(b, Prose))


def test_a_readable_path_of_lessons() -> None:
    assert 12 <= len(NAMES) <= 20
    assert len(set(NAMES)) == len(NAMES)
    numbers = sorted(f.name[:2] for f in files("lessons").iterdir() if f.name.endswith(".md"))
    assert numbers == [f"{n:02d}" for n in range(1, len(NAMES) + 1)]


@pytest.mark.parametrize("name", NAMES)
def test_a_lesson_is_short_and_has_music(name: str) -> None:
    assert 120 <= len(prose(name).split()) <= 420
    assert any(isinstance(b, Music) for b in lesson(name).blocks)
    assert lesson(name).title
    for block in lesson(name).blocks:
        if isinstance(block, Music):
            assert block.caption
            assert 2 <= block.phrase.length_s <= 30
            bar = block.phrase.numerator * 4 / block.phrase.denominator
            assert block.phrase.length_quarters % bar == 0, f"{block.caption}: the last bar is not full"
            for tone in block.phrase.tones:
                left = bar - tone.onset_quarters % bar
                assert tone.duration_quarters <= left, f"{block.caption}: {tone.pitch} crosses a bar line"


def test_needs_come_earlier_so_they_form_no_circle() -> None:
    for i, one in enumerate(lessons()):
        assert set(one.needs) <= set(NAMES[:i]), one.name


@pytest.mark.parametrize("name", NAMES)
def test_sources_are_listed_and_each_is_used(name: str) -> None:
    keys = lesson(name).sources
    assert set(keys) <= set(sources())
    cited = {int(n) for n in re.findall(r"\[(\d+)\]", prose(name))}
    assert cited == set(range(1, len(keys) + 1))
    assert not re.findall(r"\[[a-z][a-z0-9-]*\](?!\()", prose(name))


def test_no_source_is_listed_in_vain() -> None:
    assert {key for one in lessons() for key in one.sources} == set(sources())


@pytest.mark.parametrize("name", NAMES)
def test_drills_and_skills_exist(name: str) -> None:
    assert lesson(name).drills
    for drill, skill in lesson(name).drill_skills():
        found = drill_named(drill)
        assert found is not None, f"{name}: no drill {drill}"
        assert not skill or skill in found.skills, f"{name}: {drill} has no {skill}"


def test_every_drill_is_taught_and_names_a_lesson() -> None:
    taught = {drill for one in lessons() for drill, _ in one.drill_skills()}
    for drill in drills():
        assert drill.name in taught, drill.name
        assert drill.lesson in NAMES, f"{drill.name} names the lesson {drill.lesson}"
        assert drill.name in {d for d, _ in lesson(drill.lesson).drill_skills()}, drill.name


def test_songs_named_in_lessons_are_bundled() -> None:
    titles = {s.title for s in bundled_songs()} | {"The Tide Mill"}
    for name in NAMES:
        for title in re.findall(r"(?<!\*)\*([A-Z][A-Za-z ]+)\*(?!\*)", prose(name)):
            if sum(word[0].isupper() for word in title.split()) > 1:
                assert title in titles, f"{name}: {title}"


def test_bars_named_in_lessons_are_within_the_song() -> None:
    bars = {s.title: s.file.read_text(encoding="utf-8").count("<measure ") // 2 for s in bundled_songs()}
    for name in NAMES:
        for paragraph in prose(name).split("\n\n"):
            named = [bars[title] for title in bars if f"*{title}*" in paragraph]
            runs = re.findall(r"\bbars? (\d+(?:(?: to | and |, )\d+)*)", paragraph)
            told = [int(n) for run in runs for n in re.findall(r"\d+", run)]
            assert not told or (named and max(told) <= max(named)), f"{name}: {paragraph}"


@pytest.mark.parametrize("name", NAMES)
def test_typography(name: str) -> None:
    text = prose(name)
    assert "  " not in text.replace("\n", "¶")
    assert not re.search(r" [,.;:!?]", text)
    assert not re.search(r"\b(\w\w+) \1\b", text), "a doubled word"
    assert not re.search(r"\b(color|behavior|center|favorite)\b", text), "one spelling throughout"


@pytest.mark.parametrize(
    ("text", "name", "says"),
    [
        (WHOLE, "inversions.md", "named like"),
        ("Text only.\n", "01-a.md", "front matter"),
        (WHOLE.replace('title = "One"\n', ""), "01-a.md", "no title"),
        (WHOLE.replace('"One"', "One"), "01-a.md", "not TOML"),
        (WHOLE.replace("needs = []", 'needs = "one"'), "01-a.md", "needs"),
        (WHOLE + "```music\nC4:1 H4:1\n```\n", "01-a.md", "H4:1"),
        (WHOLE + "```music speed=3\nC4:1\n```\n", "01-a.md", "speed=3"),
        (WHOLE + "```music bpm=fast\nC4:1\n```\n", "01-a.md", "fast"),
        (WHOLE + "```music time=3/5\nC4:1\n```\n", "01-a.md", "out of range"),
        (WHOLE + '```music caption="open\nC4:1\n```\n', "01-a.md", "quotation"),
        (WHOLE + "```music\nfigures: I:1\n```\n", "01-a.md", "no notes"),
        (WHOLE + "```music\nC4:1 D4:1\nwords: la\n```\n", "01-a.md", "1 syllables for 2"),
        (WHOLE + "```music\nC4:1\nfigures: I\n```\n", "01-a.md", "figure:quarters"),
        (WHOLE + "```music\nC4:1\n", "01-a.md", "not closed"),
    ],
)
def test_a_wrong_lesson_says_so_in_one_line(text: str, name: str, says: str) -> None:
    with pytest.raises(LessonError) as caught:
        parse_lesson(text, name)
    assert says in str(caught.value)
    assert name in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_unknown_lesson() -> None:
    with pytest.raises(LessonError, match="no such lesson"):
        lesson("juggling")


def test_music_with_two_staves_words_and_figures() -> None:
    block = parse_music(
        "voice: C5:1 r:1 D5:2\nwords: Sing out\nupper: E4+G4:4\nlower: C3:4\nfigures: I:2 -:1 V6:1",
        'bpm=60 fifths=-2 time=2/2 caption="Two bars"',
    )
    phrase = block.phrase
    assert block.caption == "Two bars"
    assert (phrase.bpm, phrase.fifths, phrase.numerator, phrase.denominator) == (60, -2, 2, 2)
    assert [(t.pitch.name, t.onset_quarters, t.syllable) for t in phrase.only("voice").tones] == [
        ("C5", 0.0, "Sing"),
        ("D5", 2.0, "out"),
    ]
    assert {t.pitch.name for t in phrase.only("upper").tones} == {"E4", "G4"}
    assert phrase.figures == ((0.0, "I"), (3.0, "V6"))


def test_sources_become_numbers() -> None:
    text = WHOLE.replace("sources = []", 'sources = ["one", "two"]').replace("Text.", "A. [two] B. [one] [three]")
    (block,) = parse_lesson(text, "01-a.md").blocks
    assert isinstance(block, Prose)
    assert block.text == "A. [2] B. [1] [three]"


def test_limits_told_are_the_limits_kept() -> None:
    warming_up, high_notes = prose("warming-up"), prose("high-notes")
    assert limits.SEMI_OCCLUDED_S.value == 180
    assert limits.SEMI_OCCLUDED_MOST_S.value == 300
    assert "plans three minutes and never more than five" in warming_up
    assert (limits.MINUTES_DEFAULT.value, limits.MINUTES_LEAST.value, limits.MINUTES_MOST.value) == (10, 5, 30)
    assert "offers ten and lets you choose from five to thirty" in warming_up
    assert limits.FULL_TRIES.value == 3
    assert "stops at three in one session" in high_notes


SONG = '[[song]]\ntitle = "One"\nname = "ebb-counting"\nvoice = "tenor"\nblurb = "Two."\n'


def test_a_list_of_songs() -> None:
    folder = files("lessons") / "songs"
    (found,) = parse_songs(SONG, folder)
    assert (found.title, found.name, found.voice, found.blurb) == ("One", "ebb-counting", "tenor", "Two.")
    assert found.file.is_file()
    with pytest.raises(LessonError, match="a song has no voice"):
        parse_songs(SONG.replace('voice = "tenor"\n', ""), folder)
    with pytest.raises(LessonError, match="no nowhere"):
        parse_songs(SONG.replace("ebb-counting", "nowhere"), folder)


@pytest.mark.parametrize("text", ['[a]\ncitation = "x"', '[a]\ncitation = "x"\nstatus = "sure"', 'a = "x"'])
def test_a_source_needs_a_citation_and_a_status(text: str) -> None:
    with pytest.raises(LessonError, match="needs a citation and a status"):
        parse_sources(text)
