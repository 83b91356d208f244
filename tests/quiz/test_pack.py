"""Packs: what goes in comes out, and nothing of another shape comes in."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.quiz.packs import pack
from tutor.errors import PackError
from tutor.quiz.pack import MOST_BYTES, MOST_ITEMS, dumps, loads


def test_round_trip() -> None:
    made = pack()
    assert loads(dumps(made)) == made
    assert loads(dumps(made)).id == made.id


def test_another_content_has_another_id() -> None:
    made = pack()
    assert len({made.id, made.without(0).id, made.moved(0, 2).id}) == 3
    assert made.moved(0, 2).moved(2, 0) == made


def broken(change: str, value: Any) -> str:
    raw = json.loads(dumps(pack()))
    *path, last = change.split(".")
    place: Any = raw
    for step in path:
        place = place[int(step) if step.isdigit() else step]
    place[int(last) if last.isdigit() else last] = value
    return json.dumps(raw)


@pytest.mark.parametrize(
    ("change", "value"),
    [
        ("kind", "something"),
        ("schema", 99),
        ("items", []),
        ("items", "many"),
        ("items", [{}] * (MOST_ITEMS + 1)),
        ("title", 5),
        ("title", "x" * 5000),
        ("items.0.right", "no such choice"),
        ("items.0.choices", [{"label": "a", "text": "a"}]),
        ("items.0.choices.1.label", "root"),
        ("items.0.heard.0.phrase.bpm", 1e9),
        ("items.0.heard.0.phrase.metre", [4, 0]),
        ("items.0.heard.0.phrase.fifths", 99),
        ("items.0.heard.0.phrase.tones", [["x"]]),
        ("items.0.heard.0.phrase.tones.0.0", 1e12),
        ("items.0.heard.0.phrase.tones.0.2", "C99"),
        ("items.0.heard.0.phrase.tones.0.3", "drum"),
        ("items.0.heard.0.phrase", None),
    ],
)
def test_another_shape_is_refused_in_one_line(change: str, value: Any) -> None:
    with pytest.raises(PackError) as caught:
        loads(broken(change, value), "quiz.json")
    assert caught.value.line.startswith("quiz.json")
    assert "\n" not in caught.value.line


@pytest.mark.parametrize("text", ["", "{", "[]", "null", "[" * 100_000, '{"kind": NaN}', "x" * (MOST_BYTES + 1)])
def test_no_quiz_at_all(text: str) -> None:
    with pytest.raises(PackError):
        loads(text)


def test_an_excerpt_of_half_an_hour_is_refused() -> None:
    """512 quarters at 20 a minute would be 26 minutes of sound."""
    raw = json.loads(dumps(pack()))
    phrase = raw["items"][0]["heard"][0]["phrase"]
    phrase["bpm"] = 20.0
    phrase["tones"] = [[511.0, 1.0, "C4", "voice", 0.7, "", ""]]
    with pytest.raises(PackError, match="music cannot be read"):
        loads(json.dumps(raw))
    phrase["tones"] = [[199.0, 1.0, "C4", "voice", 0.7, "", ""]]
    assert loads(json.dumps(raw)).items[0].heard[0].phrase.length_s == 600


def test_control_characters_do_not_survive() -> None:
    made = loads(broken("items.0.prompt", "a\x1b[31mb\u202ec\nd"))
    assert made.items[0].prompt == "a [31mbc d"


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    with pytest.raises(PackError):
        loads(text)
