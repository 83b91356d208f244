"""Quiz figures against worked examples; sources beside each check."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.quiz.statistics import QuizFigures, Tally, luck, wilson


def figures(rows: list[str]) -> QuizFigures:
    tally = Tally(["1"] * len(rows[0]))
    for row in rows:
        tally.add(list(row))
    return tally.figures()


def test_perfect_ladder() -> None:
    """Computed by hand from the definition: five questions, six people."""
    found = figures(["11111", "11110", "11100", "11000", "10000", "00000"])
    assert [i.facility for i in found.items] == pytest.approx([5 / 6, 2 / 3, 1 / 2, 1 / 3, 1 / 6])
    assert found.deviation**2 == pytest.approx(35 / 12)
    assert found.kr20 == pytest.approx(5 / 6)
    assert [i.point_biserial for i in found.items] == pytest.approx([0.6547, 0.8281, 0.8783, 0.8281, 0.6547], abs=5e-5)
    assert [i.corrected for i in found.items] == pytest.approx([0.5, 0.7016, 0.7746, 0.7016, 0.5], abs=5e-5)


def test_ten_people() -> None:
    """Computed by hand from the definition: KR-20 = 8/13."""
    found = figures(["1111", "1111", "1110", "1101", "1010", "1100", "0100", "1000", "0010", "0000"])
    assert [i.facility for i in found.items] == pytest.approx([0.7, 0.6, 0.5, 0.3])
    assert found.mean == pytest.approx(2.1)
    assert found.kr20 == pytest.approx(8 / 13)
    assert [i.corrected for i in found.items] == pytest.approx([0.4708, 0.3984, 0.1796, 0.5791], abs=5e-5)


def test_law_school_section_six() -> None:
    """Bock and Lieberman (1970), 1000 people, five items; counts recalled, they add to 1000; results computed."""
    counts = [
        3,
        6,
        2,
        11,
        1,
        1,
        3,
        4,
        1,
        8,
        0,
        16,
        0,
        3,
        2,
        15,
        10,
        29,
        14,
        81,
        3,
        28,
        15,
        80,
        16,
        56,
        21,
        173,
        11,
        61,
        28,
        298,
    ]
    assert sum(counts) == 1000
    found = figures([f"{pattern:05b}" for pattern, count in enumerate(counts) for _ in range(count)])
    assert [i.facility for i in found.items] == pytest.approx([0.924, 0.709, 0.553, 0.763, 0.870])
    assert found.kr20 == pytest.approx(0.2950, abs=5e-5)
    assert [i.point_biserial for i in found.items] == pytest.approx([0.3620, 0.5668, 0.6184, 0.5344, 0.4354], abs=5e-5)
    assert [i.corrected for i in found.items] == pytest.approx([0.1128, 0.1532, 0.1728, 0.1444, 0.1216], abs=5e-5)


def test_wilson() -> None:
    """Wilson (1927): 8 of 10 and 0 of 10."""
    assert wilson(8, 10) == pytest.approx((0.4902, 0.9433), abs=5e-5)
    assert wilson(0, 10) == pytest.approx((0.0, 0.2775), abs=5e-5)
    assert wilson(0, 0) == (0.0, 1.0)


def test_luck() -> None:
    """Binomial: eight or more of ten by guessing."""
    assert [luck(8, 10, c) for c in (4, 3, 2)] == pytest.approx([0.000416, 0.003404, 0.0547], abs=5e-5)


@given(st.lists(st.lists(st.booleans(), min_size=4, max_size=4), min_size=3, max_size=40))
def test_running_sums_agree_with_numpy(rows: list[list[bool]]) -> None:
    found = figures(["".join("1" if x else "0" for x in row) for row in rows])
    table = np.array(rows, float)
    total = table.sum(axis=1)
    for i, item in enumerate(found.items):
        rest = total - table[:, i]
        if item.corrected is not None:
            assert item.corrected == pytest.approx(float(np.corrcoef(table[:, i], rest)[0, 1]), abs=1e-6)
        else:
            assert np.ptp(table[:, i]) == 0 or np.ptp(rest) == 0


def test_nothing_varies() -> None:
    found = figures(["11", "11"])
    assert found.kr20 is None
    assert found.items[0].point_biserial is None


def test_wrong_length_is_refused() -> None:
    with pytest.raises(ValueError, match="1 answers for 2"):
        Tally(["a", "b"]).add(["a"])


def test_distractors_are_counted() -> None:
    tally = Tally(["a"])
    for answer in ("a", "b", "b", ""):
        tally.add([answer])
    assert tally.figures().items[0].chosen == {"a": 1, "b": 2, "": 1}
