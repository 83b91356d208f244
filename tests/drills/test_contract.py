"""What every drill promises, over the whole catalogue."""

from __future__ import annotations

import json
import random
from functools import lru_cache
from importlib import resources

import pytest

from tests.practice.songs import lanterns
from tutor.music.take import Take
from tutor.practice.catalogue import ORDER, drills
from tutor.practice.drill import Answer, Drill, Item, Mark, Material, NoMaterial, Question

SEEDS = range(12)
MATERIAL = Material(songs=(lanterns(),))
EVERY = [pytest.param(d, s, id=f"{d.name}: {s}") for d in drills() for s in d.skills]
KINDS = {"choice", "notes", "marks", "take"}


@lru_cache(maxsize=4096)
def make(drill_name: str, skill: str, seed: int, low: int = 55, high: int = 72) -> Item:
    drill = next(d for d in drills() if d.name == drill_name)
    material = Material(songs=MATERIAL.songs, low_midi=low, high_midi=high)
    return drill.item(skill, material, random.Random(seed), level=(seed % 11) / 10)


def items(drill: Drill, skill: str) -> list[Item]:
    return [make(drill.name, skill, seed) for seed in SEEDS]


def wrong(question: Question, right: Answer) -> Answer:
    """An answer of the right kind that is wrong."""
    if question.ask == "choice":
        return Answer(choice=next(c.label for c in question.choices if c.label != right.choice))
    if question.ask == "marks":
        return Answer(marks=tuple(m + 7 for m in right.marks))
    if question.ask == "notes":
        return Answer(notes=tuple(n + 1 if i % 2 == 0 else n for i, n in enumerate(right.notes)))
    assert right.take is not None
    return Answer(take=Take(notes=right.take.notes[: len(right.take.notes) // 2]))


def test_all_thirteen_are_there_in_order() -> None:
    assert tuple(d.name for d in drills()) == ORDER
    assert len(ORDER) == 13


@pytest.mark.parametrize("drill", drills(), ids=lambda d: d.name)
def test_names_are_told(drill: Drill) -> None:
    assert isinstance(drill, Drill)
    assert len(drill.skills) == len(set(drill.skills)) >= 5
    assert drill.title
    assert drill.about.endswith(".")
    assert drill.lesson
    for skill in drill.skills:
        assert drill.words(skill)  # type: ignore[attr-defined]


@pytest.mark.parametrize("drill", drills(), ids=lambda d: d.name)
def test_a_skill_that_is_not_there_is_refused(drill: Drill) -> None:
    with pytest.raises(ValueError, match="no skill"):
        drill.item("nothing", MATERIAL, random.Random(1))


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_any_seed_gives_an_item(drill: Drill, skill: str) -> None:
    for item in items(drill, skill):
        assert (item.drill, item.skill) == (drill.name, skill)
        assert drill.question(item).ask == drill.ask_of(skill)  # type: ignore[attr-defined]
        assert 0 <= item.level <= 1


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_fresh_skills_need_no_song_and_song_skills_say_so(drill: Drill, skill: str) -> None:
    needs = skill in drill.from_songs  # type: ignore[attr-defined]
    if needs:
        with pytest.raises(NoMaterial):
            drill.item(skill, Material(), random.Random(1))
        assert all(i.song_id == MATERIAL.songs[0].id for i in items(drill, skill))
    else:
        assert drill.item(skill, Material(), random.Random(1)).song_id == ""


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_right_earns_all_and_wrong_earns_less(drill: Drill, skill: str) -> None:
    for item in items(drill, skill):
        question, right = drill.question(item), drill.right(item)
        full = drill.mark(item, right)
        assert full.credit == pytest.approx(1.0)
        assert full.correct
        assert full.answered == full.expected != ""
        less = drill.mark(item, wrong(question, right))
        assert less.credit < 1
        assert not less.correct
        assert less.answered != less.expected


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_an_empty_answer_earns_nothing_and_is_explained(drill: Drill, skill: str) -> None:
    for item in items(drill, skill):
        mark = drill.mark(item, Answer())
        assert mark.credit == 0
        assert mark.answered == ""
        explained(mark)


def explained(mark: Mark) -> None:
    assert mark.right
    assert len(mark.explanation) > 15
    assert mark.explanation.endswith(".")
    assert mark.evidence
    assert all(e.phrase.tones and e.caption for e in mark.evidence)


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_a_wrong_choice_shows_the_contrast(drill: Drill, skill: str) -> None:
    shown = missing = 0
    for item in items(drill, skill):
        question = drill.question(item)
        for choice in question.choices:
            mark = drill.mark(item, Answer(choice=choice.label))
            explained(mark)
            if not mark.correct:
                shown += len(mark.evidence) > 1
                missing += len(mark.evidence) == 1
    assert missing <= shown * 0.75


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_items_survive_storing(drill: Drill, skill: str) -> None:
    for item in items(drill, skill)[:4]:
        stored = json.loads(json.dumps(item.payload))
        back = Item(item.drill, item.skill, item.level, item.song_id, stored)
        assert drill.question(back) == drill.question(item)
        assert drill.mark(back, drill.right(back)) == drill.mark(item, drill.right(item))


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_same_seed_same_item(drill: Drill, skill: str) -> None:
    for seed in (0, 5):
        again = drill.item(skill, MATERIAL, random.Random(seed), level=(seed % 11) / 10)
        assert again == make(drill.name, skill, seed)
        assert drill.question(again) == drill.question(again)


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_questions_are_whole(drill: Drill, skill: str) -> None:
    for item in items(drill, skill):
        question, right = drill.question(item), drill.right(item)
        assert question.ask in KINDS
        assert question.prompt[-1] in ".?"
        assert question.hint
        assert question.source
        assert question.heard or question.seen
        for shown in (*question.heard, *question.seen):
            assert shown.phrase.tones
            assert shown.caption
            assert all(not t.mark for t in shown.phrase.tones) or item.song_id
        if question.ask == "choice":
            labels = [c.label for c in question.choices]
            assert 2 <= len(labels) <= 8
            assert len(set(labels)) == len(labels)
            assert len({c.text for c in question.choices}) == len(labels)
            assert right.choice in labels
        if question.ask == "take":
            assert "notes" in question.also
        if question.ask == "notes":
            assert question.notes_wanted == len(right.notes)


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_by_ear_nothing_is_seen_and_no_figure_tells(drill: Drill, skill: str) -> None:
    by_ear = "by ear" in drill.words(skill)  # type: ignore[attr-defined]
    for item in items(drill, skill):
        question = drill.question(item)
        if by_ear:
            assert question.seen == ()
            assert question.heard
        for shown in question.heard:
            assert shown.phrase.figures == ()


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_prompts_hold_no_answer(drill: Drill, skill: str) -> None:
    for item in items(drill, skill):
        question = drill.question(item)
        if question.ask != "choice":
            continue
        right = next(c.text for c in question.choices if c.label == drill.right(item).choice)
        told = " ".join([question.prompt, question.hint, *(e.caption for e in (*question.heard, *question.seen))])
        others = [c.text for c in question.choices if c.text != right]
        # A prompt may name every choice ("higher or lower?"), never the right one alone.
        assert right not in told or all(o in told for o in others), told


@pytest.mark.parametrize(("drill", "skill"), EVERY)
@pytest.mark.parametrize(("low", "high"), [(55, 72), (60, 79), (43, 62)])
def test_sung_notes_stay_in_range(drill: Drill, skill: str, low: int, high: int) -> None:
    for seed in SEEDS:
        try:
            item = make(drill.name, skill, seed, low, high)
        except NoMaterial:
            assert skill in drill.from_songs  # type: ignore[attr-defined]
            continue
        if drill.question(item).ask == "take":
            take = drill.right(item).take
            assert take is not None
            assert all(low <= n.midi <= high for n in take.notes)


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_a_keyboard_may_stand_in_for_the_voice(drill: Drill, skill: str) -> None:
    for item in items(drill, skill):
        question = drill.question(item)
        if question.ask == "take":
            take = drill.right(item).take
            assert take is not None
            keys = tuple(round(n.midi) for n in take.notes)
            assert drill.mark(item, Answer(notes=keys)).correct
            assert drill.mark(item, Answer(notes=tuple(k + 1 for k in keys))).credit < 1


@pytest.mark.parametrize(("drill", "skill"), EVERY)
def test_distractors_follow_what_this_singer_confuses(drill: Drill, skill: str) -> None:
    """Where more could be offered than is, the confused label is among the choices."""
    for seed in SEEDS:
        item = make(drill.name, skill, seed)
        question = drill.question(item)
        labels = [c.label for c in question.choices]
        right = drill.right(item).choice
        if question.ask != "choice" or right is None:
            continue
        wanted = next(x for x in labels if x != right)
        material = Material(songs=MATERIAL.songs, confusions={right: (wanted,)})
        again = drill.item(skill, material, random.Random(seed), level=(seed % 11) / 10)
        if drill.right(again).choice == right:
            assert wanted in [c.label for c in drill.question(again).choices]


def test_songs_are_told_with_bars() -> None:
    for drill in drills():
        for skill in drill.from_songs:  # type: ignore[attr-defined]
            question = drill.question(make(drill.name, skill, 1))
            assert "Paper Lanterns" in question.source


@pytest.mark.parametrize("drill", drills(), ids=lambda d: d.name)
def test_labels_are_told_in_words(drill: Drill) -> None:
    for skill in drill.skills:
        for item in items(drill, skill)[:6]:
            for choice in drill.question(item).choices:
                said = drill.said(choice.label)  # type: ignore[attr-defined]
                assert said
                assert len(said) <= 60
                assert said not in ("TT", "m2", "M3", "half-diminished-seventh", "b7", "#4")


def test_a_single_wrong_note_is_named_in_the_confusion_table() -> None:
    drill = next(d for d in drills() if d.name == "degrees")
    item = make("degrees", "sing", 4)
    right = drill.right(item).take
    assert right is not None
    midi = round(right.notes[0].midi)
    mark = drill.mark(item, Answer(notes=(midi + 2,)))
    assert mark.expected
    assert mark.answered
    assert mark.answered != mark.expected
    assert mark.answered[0] in "ABCDEFG"


@pytest.mark.parametrize("skill", ["scale", "arpeggio", "leap", "song-sing"])
@pytest.mark.parametrize("high", [67, 72, 79])
def test_the_top_of_the_voice_is_not_drilled(skill: str, high: int) -> None:
    drill = next(d for d in drills() if d.name == "high-note")
    material = Material(songs=MATERIAL.songs, low_midi=high - 19, high_midi=high)
    for seed in range(40):
        take = drill.right(drill.item(skill, material, random.Random(seed), level=seed / 39)).take
        assert take is not None
        assert max(n.midi for n in take.notes) <= high - 2


@pytest.mark.parametrize("drill", drills(), ids=lambda d: d.name)
def test_lessons_are_there(drill: Drill) -> None:
    names = {p.name.partition("-")[2].removesuffix(".md") for p in (resources.files("lessons")).iterdir()}
    for skill in drill.skills:
        assert drill.lesson_of(skill) in names  # type: ignore[attr-defined]
