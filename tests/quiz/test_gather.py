"""Gathering: every sheet counts once, what is refused is told, figures name what to explain."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from tests.quiz.packs import item, pack
from tutor.errors import PackError
from tutor.practice.drill import Choice
from tutor.quiz import gather as gathering
from tutor.quiz.gather import gather, gather_sheets
from tutor.quiz.pack import Pack, dumps
from tutor.quiz.sheet import Sheet, to_code, to_file
from tutor.studio import quizgather

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


def test_a_line_too_long_is_refused_once(tmp_path: Path) -> None:
    (tmp_path / "big.txt").write_text("x" * 70_000 + f"\n{to_code(sheet(1))}\n" + "y" * 50_000)
    found = gather(PACK, [tmp_path / "big.txt"])
    assert (found.figures.sheets, found.refused_count) == (1, 2)
    assert found.refused[0] == "big.txt, line 1: the line is too long to be an answer sheet."


def test_a_value_over_several_lines_is_one_sheet_or_one_refusal(tmp_path: Path) -> None:
    (tmp_path / "saved-anew.json").write_text(json.dumps(json.loads(to_file(sheet(1))), indent=2))
    (tmp_path / "quiz.json").write_text(dumps(PACK) * 40)
    found = gather(PACK, sorted(tmp_path.iterdir()))
    assert found.figures.sheets == 1
    assert found.refused == ("quiz.json: the file is too large to be an answer sheet.",)


def test_folders_codes_and_lost_paths_go_together(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "one.json").write_text(to_file(sheet(1)))
    sources = [str(tmp_path / "in"), to_code(sheet(2)), str(tmp_path / "nowhere")]
    found = quizgather.gather(PACK, sources, lenient=True)
    assert found.figures.sheets == 2
    assert found.refused == ("nowhere: there is no such file or folder, and it is no answer code.",)
    with pytest.raises(PackError, match="nowhere"):
        quizgather.gather(PACK, sources)


def test_next_video_names_the_commonest_slip() -> None:
    found = gather_sheets(PACK, (("x", sheet(n, (1, 1, 3, 2))) for n in range(4)))
    assert "75%" in found.next_video
    assert "took “the third” for “the root” (4 times)" in found.next_video


def several(skills: Sequence[tuple[str, int]]) -> Pack:
    """A quiz with a question for each (skill, number of choices); the first choice is right."""
    items = [
        replace(item(n), skill=skill, choices=tuple(Choice(f"c{k}", f"answer {k}") for k in range(many)), right="c0")
        for n, (skill, many) in enumerate(skills)
    ]
    return Pack("Two and five", "", "at once", 1, tuple(items))


def asked(pack: Pack, rows: Sequence[tuple[int, ...]]) -> gathering.Gathered:
    return gather_sheets(pack, (("x", Sheet(pack.id, row, f"{n:08x}")) for n, row in enumerate(rows)))


def test_guessing_is_taken_off_before_skills_are_compared() -> None:
    """Of 20, 11 right of two choices is hardly more than guessing; 8 right of five is: (.55-.5)/.5 and (.4-.2)/.8."""
    found = asked(several([("two", 2), ("five", 5)]), [(1 + (n >= 11), 1 + (n >= 8)) for n in range(20)])
    assert [(s.skill, s.share, s.hardest) for s in found.skills] == [("two", 0.55, 1), ("five", 0.4, 2)]
    assert [s.known for s in found.skills] == pytest.approx([0.1, 0.25])
    assert "55% of the answers were right, and guessing alone gives 50%" in found.next_video
    assert "Question 1 shows it." in found.next_video


def test_few_answers_are_a_hint_and_near_skills_are_told_together() -> None:
    quiz = several([("one", 4), ("other", 4)])
    assert "rests on 4 answer sheets" in asked(quiz, [(2, 1), (1, 2), (2, 2), (1, 1)]).next_video
    assert "“Inversions: other” is as hard" in asked(quiz, [(1 + n % 2, 1 + n // 6) for n in range(12)]).next_video


def test_a_question_that_good_viewers_miss_is_told() -> None:
    quiz = several([("a", 2)] * 3 + [("b", 2)])
    rows = [(1, 1, 1, 2) if n % 2 else (2, 2, 2, 1) for n in range(20)]
    assert "Look question 4 over" in asked(quiz, rows).next_video
    assert "Look question" not in asked(quiz, [(1 + n % 2,) * 4 for n in range(20)]).next_video


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
