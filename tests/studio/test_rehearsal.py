"""Practice through the studio: every answer is kept, a session is found where it was left."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tutor.errors import StoreError
from tutor.lessons import bundled_songs
from tutor.practice.drill import Answer
from tutor.studio import Studio

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


def studio(folder: Path) -> Studio:
    return Studio.open(folder, silent_ports=True, clock=lambda: NOW, seed=5)


def answer_right(here: Studio) -> None:
    asked = here.rehearsal.current
    assert asked is not None
    mark = here.rehearsal.answer(asked.drill.right(asked.item), 3.0)
    assert mark.correct


def test_a_session_is_found_where_it_was_left(tmp_path: Path) -> None:
    here = studio(tmp_path)
    song = here.open_song(bundled_songs()[0].name)
    here.rehearsal.begin(here.singer, songs=[song.id], count=10)
    for _ in range(4):
        answer_right(here)
    asked = here.rehearsal.current
    assert asked is not None
    here.close()
    again = studio(tmp_path)
    assert again.rehearsal.left_in_the_middle(again.singer) == (4, 10)
    session = again.rehearsal.resume(again.singer)
    assert session is not None
    now = again.rehearsal.current
    assert now is not None
    assert (now.item, now.question) == (asked.item, asked.question)
    while again.rehearsal.current:
        answer_right(again)
    assert len(again.reviews()) == 10
    assert again.rehearsal.left_in_the_middle(again.singer) is None
    again.close()


def test_undo_takes_the_answer_out_of_the_store(tmp_path: Path) -> None:
    here = studio(tmp_path)
    here.rehearsal.begin(here.singer, count=3)
    asked = here.rehearsal.current
    assert asked is not None
    here.rehearsal.answer(Answer(), 1.0)
    assert len(here.reviews()) == len(here.cards()) == 1
    here.rehearsal.undo()
    assert here.reviews() == ()
    assert here.cards() == ()
    assert here.rehearsal.current == asked
    with pytest.raises(ValueError, match="nothing to take back"):
        here.rehearsal.undo()
    here.close()


def test_a_disputed_answer_counts_nowhere(tmp_path: Path) -> None:
    here = studio(tmp_path)
    here.rehearsal.begin(here.singer, count=3)
    here.rehearsal.answer(Answer(), 1.0)
    here.rehearsal.dispute()
    assert here.reviews() == ()
    assert [r.withdrawn for r in here.store.reviews(here.singer.name)] == [True]
    here.close()


def test_an_answer_that_cannot_be_kept_does_not_move_the_session(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = studio(tmp_path)
    here.rehearsal.begin(here.singer, count=3)
    asked = here.rehearsal.current

    def full(*_: object, **__: object) -> None:
        raise StoreError("the disk is full")

    monkeypatch.setattr(here.store, "keep_answer", full)
    with pytest.raises(StoreError):
        here.rehearsal.answer(Answer(), 1.0)
    assert here.rehearsal.current == asked
    here.close()


def test_confusions_reach_the_next_session(tmp_path: Path) -> None:
    here = studio(tmp_path)
    session = here.rehearsal.begin(here.singer, count=2)
    asked = session.current
    assert asked is not None
    wrong = next(c.label for c in asked.question.choices if c.label != asked.drill.right(asked.item).choice)
    mark = here.rehearsal.answer(Answer(choice=wrong), 1.0)
    material = here.rehearsal._material(here.singer)
    assert list(material.confusions[mark.expected]) == [mark.answered]
    here.close()


def test_a_renamed_singer_answers_known_skills_and_keeps_every_answer(tmp_path: Path) -> None:
    here = studio(tmp_path)
    here.rehearsal.begin(here.singer, count=4)
    for _ in range(2):
        answer_right(here)
    here.rename_singer("Ida")
    for skills in (None, [c.key for c in here.cards()]):
        here.rehearsal.begin(here.singer, count=2, skills=skills)
        for _ in range(2):
            answer_right(here)
    assert {r.singer for r in here.reviews()} == {"Ida"}
    assert len(here.reviews()) == 6
    here.close()


def test_a_timed_session_goes_on_after_a_pause(tmp_path: Path) -> None:
    now = NOW
    here = Studio.open(tmp_path, silent_ports=True, clock=lambda: now, seed=5)
    here.rehearsal.begin(here.singer, minutes=5)
    for _ in range(3):
        now += timedelta(minutes=1)
        answer_right(here)
    here.close()
    now += timedelta(days=1)
    again = Studio.open(tmp_path, silent_ports=True, clock=lambda: now, seed=5)
    assert again.rehearsal.left_in_the_middle(again.singer) == (3, 0), "it plans no number of questions"
    session = again.rehearsal.resume(again.singer)
    assert session is not None
    assert session.ends_at == now + timedelta(minutes=2)
    now += timedelta(minutes=1)
    answer_right(again)
    assert again.rehearsal.current is not None
    now += timedelta(minutes=1)
    answer_right(again)
    assert again.rehearsal.current is None
    again.close()
