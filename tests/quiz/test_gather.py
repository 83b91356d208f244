"""Gathering: every sheet counts once, what is refused is told, figures name what to explain."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from tests.quiz.packs import pack
from tutor.quiz import gather as gathering
from tutor.quiz.gather import gather, gather_sheets
from tutor.quiz.sheet import Sheet, to_code, to_file

PACK = pack()
RIGHT = (2, 1, 3, 2)


def sheet(number: int, answers: tuple[int, ...] = RIGHT) -> Sheet:
    return Sheet(PACK.id, answers, f"{number:08x}", "Wren")


def test_files_codes_and_refusals(tmp_path: Path) -> None:
    (tmp_path / "one.json").write_text(to_file(sheet(1)))
    (tmp_path / "chat.txt").write_text(
        f"Wren {to_code(sheet(2, (1, 1, 3, 2)))}\n{to_code(sheet(3))}\n\n"
        f"{to_code(sheet(3))}\nnonsense\n{to_code(Sheet('0' * 10, RIGHT, '00000009'))}\n"
    )
    found = gather(PACK, [tmp_path / "one.json", tmp_path / "chat.txt", tmp_path / "missing"])
    assert found.figures.sheets == 3
    assert found.refused_count == 4
    assert [line.split(":")[0] for line in found.refused] == [
        "chat.txt, line 4", "chat.txt, line 5", "chat.txt, line 6", "missing",
    ]  # fmt: skip
    assert "handed in before" in found.refused[0]
    assert found.figures.items[0].chosen == {"first": 2, "root": 1}


def test_next_video_names_the_commonest_slip() -> None:
    found = gather_sheets(PACK, (("x", sheet(n, (1, 1, 3, 2))) for n in range(4)))
    assert "75%" in found.next_video
    assert "took “the third” for “the root” (4 times)" in found.next_video


def test_skills_are_told_in_words() -> None:
    assert gathering.said("inversions", "triads-close") == "Inversions: triads in close position, by ear"
    assert gathering.said("inversions", "no-such-skill") == "Inversions: no-such-skill"
    assert gathering.said("no-such-drill", "x") == "no-such-drill: x"


def test_nobody_answered() -> None:
    assert gather_sheets(PACK, ()).next_video == ""


def test_refusals_are_counted_beyond_the_first_fifty() -> None:
    found = gather_sheets(PACK, (("x", Sheet("0" * 10, RIGHT, f"{n:08x}")) for n in range(80)))
    assert (len(found.refused), found.refused_count) == (gathering.MOST_TOLD, 80)


def test_csv_is_safe_in_a_spreadsheet() -> None:
    found = gather_sheets(PACK, [("x", sheet(1)), ("y", sheet(2, (0, 0, 0, 0)))])
    rows = list(csv.reader(io.StringIO(gathering.to_csv(found))))
    assert len(rows) == 1 + len(PACK.items)
    assert rows[1][4] == "0.5000"
    assert gathering._cell("=1+1") == "'=1+1"
    assert gathering._cell("-0.25") == "-0.25"
