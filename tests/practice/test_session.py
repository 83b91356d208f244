"""The session as a state machine."""

from __future__ import annotations

import itertools
import json
import random
from datetime import UTC, datetime, timedelta

import pytest

from tests.practice.songs import lanterns
from tutor.practice import mix
from tutor.practice.catalogue import drills
from tutor.practice.drill import Answer, Mark, Material
from tutor.practice.schedule import Card, review
from tutor.practice.session import Session, again, start

T0 = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)
MATERIAL = Material(songs=(lanterns(),))


def known(*names: tuple[str, str, float, int]) -> list[Card]:
    """Cards answered once: drill, skill, credit, days ago."""
    out = []
    for drill, skill, credit, days in names:
        mark = Mark(credit, "", "")
        out.append(review(Card("Ines", drill, skill), mark, 8.0, T0 - timedelta(days=days))[0])
    return out


CARDS = known(
    ("inversions", "triads-close", 1.0, 1), ("degrees", "restful", 1.0, 30), ("cadences", "two", 0.0, 5),
    ("intervals", "wider", 1.0, 20), ("form", "relation", 0.5, 3),
)  # fmt: skip


def open_(**more: object) -> Session:
    options: dict[str, object] = {"rng": random.Random(3), "now": T0, "count": 12, **more}
    return start(drills(), CARDS, MATERIAL, **options)  # type: ignore[arg-type]


def answer_all(session: Session, *, right: bool = True, seconds: float = 6.0) -> Session:
    now = session.now
    while (asked := session.current) is not None:
        now += timedelta(seconds=seconds)
        session, _, _ = session.answer(asked.drill.right(asked.item) if right else Answer(), seconds, now)
    return session


def test_asks_as_many_as_were_wanted() -> None:
    session = answer_all(open_())
    assert len(session.reviews) == 12
    assert session.over
    assert all(r.credit == 1 for r in session.reviews)
    assert all(r.singer == "Ines" for r in session.reviews)


def test_opens_with_something_known_that_goes_well() -> None:
    first = open_().current
    assert first is not None
    assert (first.item.drill, first.item.skill) == ("inversions", "triads-close")
    assert first.item.level <= CARDS[0].level


def test_holds_what_is_due_and_exactly_one_new_thing() -> None:
    met, waiting = {c.key for c in CARDS}, {("degrees", "restful"), ("intervals", "wider"), ("cadences", "two")}
    for material, new in ((Material(), 1), (MATERIAL, mix.FIRST_SONGS)):
        plan = start(drills(), CARDS, material, rng=random.Random(3), now=T0, count=12).plan
        assert waiting <= set(plan)
        assert len(set(plan) - met) == new, "where no song was asked about yet, the first kinds of question are"


def test_due_skills_come_before_the_share_of_the_song() -> None:
    cards = known(*[(d.name, s, 1.0, 60) for d in drills()[8:10] for s in d.skills[:4]])
    plan = start(drills(), cards, MATERIAL, rng=random.Random(3), now=T0, count=12).plan
    assert {c.key for c in cards} <= set(plan)


def test_a_failed_skill_comes_back_without_following_its_drill() -> None:
    plan = (
        ("degrees", "major"),
        ("intervals", "tonic"),
        ("degrees", "minor"),
        ("cadences", "two"),
        ("form", "withheld"),
    )
    moved = again(plan, 1, ("degrees", "major"))
    assert len(moved) == len(plan)
    assert moved.count(("degrees", "major")) == 2
    assert all(a[0] != b[0] for a, b in itertools.pairwise(moved))


def test_half_of_a_session_with_a_song_is_cut_from_it() -> None:
    for cards in (CARDS, []):
        session = start(drills(), cards, MATERIAL, rng=random.Random(3), now=T0, count=10)
        done = answer_all(session).done
        cut = [d.ready.item for d in done if d.ready.item.song_id]
        assert len(done) == 10
        assert len(cut) >= 4
        assert {"inversions", "borrowed", "form"} <= {i.drill for i in cut}


def test_little_known_does_not_make_a_narrow_session() -> None:
    session = start(drills(), CARDS[:1], Material(), rng=random.Random(3), now=T0, count=10)
    assert len(set(session.plan)) >= 4


def test_one_drill_never_follows_itself_where_it_can_be_helped() -> None:
    for seed in range(20):
        plan = open_(rng=random.Random(seed)).plan
        new = {p for p in plan if p not in {c.key for c in CARDS}}
        pairs = [(a, b) for a, b in itertools.pairwise(plan) if a[0] == b[0] and not {a, b} & new]
        assert not pairs


def test_chosen_skills_alone() -> None:
    skills = [("degrees", "major"), ("cadences", "two")]
    assert set(open_(skills=skills).plan) == set(skills)


def test_a_first_session_offers_the_easiest_skills() -> None:
    session = start(drills(), [], Material(), rng=random.Random(1), now=T0, count=8, singer="Ines")
    assert set(session.plan) == {(d.name, d.skills[0]) for d in drills()[: mix.FIRST_DRILLS]}
    assert answer_all(session).reviews[0].singer == "Ines"


def test_timed_session_ends_by_the_clock() -> None:
    session = open_(count=None, minutes=5.0)
    session = answer_all(session, seconds=21.0)
    assert 14 <= len(session.reviews) <= 16
    assert session.over


def test_stops_at_any_time_and_keeps_what_was_answered() -> None:
    session = open_()
    asked = session.current
    assert asked is not None
    session, _, _ = session.answer(asked.drill.right(asked.item), 5, T0 + timedelta(seconds=5))
    stopped = session.stop()
    assert stopped.over
    assert stopped.current is None
    assert len(stopped.reviews) == 1
    with pytest.raises(ValueError, match="over"):
        stopped.answer(Answer(), 1, T0)


def test_undo_restores_question_and_card() -> None:
    session = open_()
    asked = session.current
    assert asked is not None
    after, _, _ = session.answer(Answer(), 5, T0 + timedelta(seconds=5))
    back = after.undo()
    assert back.current is not None
    assert back.current.item == asked.item
    assert back.cards == session.cards
    assert back.reviews == ()
    with pytest.raises(ValueError, match="take back"):
        back.undo()


def test_withdraw_restores_the_card_and_marks_the_review() -> None:
    session = open_()
    after, _, kept = session.answer(Answer(), 5, T0 + timedelta(seconds=5))
    out, withdrawn = after.withdraw()
    assert withdrawn.withdrawn
    assert not kept.withdrawn
    assert out.cards == {**session.cards, **{withdrawn_key(kept): session.cards[withdrawn_key(kept)]}}
    assert out.current == after.current


def withdrawn_key(kept: object) -> tuple[str, str]:
    return kept.drill, kept.skill  # type: ignore[attr-defined]


def test_resumes_from_json_exactly_where_it_was() -> None:
    session = open_()
    for _ in range(4):
        asked = session.current
        assert asked is not None
        session, _, _ = session.answer(asked.drill.right(asked.item), 5, session.now + timedelta(seconds=5))
    text = json.dumps(session.to_json())
    again = Session.from_json(json.loads(text), drills(), MATERIAL)
    assert again.current == session.current
    assert again.reviews == session.reviews
    assert answer_all(again).reviews == answer_all(session).reviews


def test_a_strange_value_is_no_session() -> None:
    with pytest.raises(ValueError, match="session"):
        Session.from_json({"schema": 99}, drills(), MATERIAL)
    with pytest.raises(ValueError, match="session"):
        Session.from_json({}, drills(), MATERIAL)


def test_same_dice_same_session() -> None:
    a, b = open_(), open_()
    assert a.plan == b.plan
    assert a.current == b.current


def test_questions_are_prepared_ahead() -> None:
    session = open_().prepare()
    assert len(session.queue) == 3
    assert session.prepare() is session


def test_a_failed_skill_comes_back_soon() -> None:
    session = open_()
    asked = session.current
    assert asked is not None
    after, _, _ = session.answer(Answer(), 5, T0 + timedelta(seconds=5))
    assert len(after.plan) == len(session.plan)
    assert (asked.item.drill, asked.item.skill) in after.plan[1:6]


def test_without_a_song_song_skills_give_way() -> None:
    skills = [("form", "song-marks"), ("degrees", "major")]
    session = start(drills(), [], Material(), rng=random.Random(1), now=T0, count=4, skills=skills)
    done = answer_all(session)
    assert {r.skill for r in done.reviews} == {"major"}


def test_nothing_to_ask_is_said() -> None:
    with pytest.raises(ValueError, match="nothing can be asked"):
        start(drills(), [], Material(), rng=random.Random(1), now=T0, count=4, skills=[("form", "song-marks")])


def test_levels_rise_with_right_answers() -> None:
    session = open_(skills=[("degrees", "major")], count=30)
    done = answer_all(session)
    levels = [r.level for r in done.reviews]
    assert levels[-1] > levels[1] + 0.3


def test_a_stored_session_stays_small_and_can_still_take_five_answers_back() -> None:
    session = answer_all(open_(count=30))
    text = json.dumps(session.to_json())
    assert len(text) < 120_000
    back = Session.from_json(json.loads(text), drills(), MATERIAL)
    for _ in range(5):
        back = back.undo()
        assert back.current is not None
    with pytest.raises(ValueError, match="let go"):
        back.undo()


def test_a_mixed_session_spares_the_voice() -> None:
    cards = known(
        *[("high-note", s, 0.0, 3) for s in ("scale", "arpeggio", "leap", "hear-leap")], ("degrees", "restful", 1.0, 1)
    )
    plan = start(drills(), cards, Material(), rng=random.Random(1), now=T0, count=40).plan
    assert sum(d == "high-note" for d, _ in plan) <= mix.SPARED["high-note"] + 1
    only = known(("high-note", "scale", 0.0, 3))
    assert 1 <= len(start(drills(), only, Material(), rng=random.Random(1), now=T0, count=40).plan) <= 40


def test_a_question_of_another_version_is_dropped() -> None:
    raw = json.loads(json.dumps(open_().prepare().to_json()))
    raw["queue"][0]["item"]["payload"] = {"prompt": "?"}
    raw["queue"][1]["item"]["drill"] = "gone"
    back = Session.from_json(raw, drills(), MATERIAL)
    assert back.current is not None
    assert len(answer_all(back).reviews) == 10


def test_a_quick_singer_fills_a_timed_session() -> None:
    session = answer_all(open_(count=None, minutes=2.0), seconds=3.0)
    assert len(session.reviews) == 40
    assert session.now - session.started_at == timedelta(minutes=2)
    pairs = [(a, b) for a, b in zip(session.reviews, session.reviews[1:], strict=False) if a.drill == b.drill]
    assert len(pairs) <= 8
