"""Answer sheets: codes and files come back equal, slips are found, foreign sheets are refused."""

from __future__ import annotations

import base64
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.quiz.packs import pack
from tutor.errors import PackError
from tutor.quiz.sheet import Sheet, _base32, from_code, from_file, to_code, to_file

SHEETS = st.builds(
    Sheet,
    quiz=st.binary(min_size=5, max_size=5).map(bytes.hex),
    answers=st.lists(st.integers(0, 8), max_size=100).map(tuple),
    mark=st.binary(min_size=4, max_size=4).map(bytes.hex),
)


@given(SHEETS)
def test_codes_come_back_equal(sheet: Sheet) -> None:
    assert from_code(to_code(sheet)) == sheet
    assert from_code(to_code(sheet).lower().replace("-", " ")) == sheet


@given(SHEETS, st.data())
def test_a_slip_is_found(sheet: Sheet, data: st.DataObject) -> None:
    code = to_code(sheet)
    place = data.draw(st.integers(0, len(code) - 1))
    sign = data.draw(st.sampled_from("0123456789ABCDEFGHJKMNPQRSTVWXYZ"))
    if code[place] in ("-", sign):
        return
    with pytest.raises(PackError):
        from_code(code[:place] + sign + code[place + 1 :])


@given(st.binary(min_size=1, max_size=40))
def test_base_32_agrees_with_the_standard_library(data: bytes) -> None:
    """RFC 4648 groups the same bits; only the signs differ (Crockford's)."""
    table = str.maketrans("ABCDEFGHIJKLMNOPQRSTUVWXYZ234567", "0123456789ABCDEFGHJKMNPQRSTVWXYZ")
    assert _base32(data) == base64.b32encode(data).decode().rstrip("=").translate(table)


def test_file_round_trip_with_nickname() -> None:
    sheet = Sheet(pack().id, (1, 2, 0, 3), "00ff00ff", "Wren")
    assert from_file(to_file(sheet)) == sheet


def test_nickname_is_cleaned() -> None:
    raw = json.loads(to_file(Sheet(pack().id, (1, 2, 0, 3), "00ff00ff", "W")))
    raw["nickname"] = "\x1b[2J" + "x" * 99
    assert from_file(json.dumps(raw)).nickname == "[2J" + "x" * 37


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"kind": "larkstair answers"}', "x" * 30_000, "{" * 9000])
def test_no_answer_file(text: str) -> None:
    with pytest.raises(PackError):
        from_file(text)


@given(st.text(max_size=60))
def test_any_text_is_no_code(text: str) -> None:
    with pytest.raises(PackError):
        from_code(text)


def test_labels_and_foreign_sheets() -> None:
    made = pack()
    assert Sheet(made.id, (1, 2, 0, 3), "00000000").labels(made) == ("root", "first", "", "second")
    for foreign in (Sheet("0" * 10, (1, 2, 0, 3), "00000000"), Sheet(made.id, (1,), "00000000"),
                    Sheet(made.id, (1, 2, 0, 8), "00000000")):  # fmt: skip
        with pytest.raises(PackError):
            foreign.labels(made)
