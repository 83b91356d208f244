"""A hundred thousand answer sheets gathered: seconds and memory, against a plain numpy route that holds everything.

Run it as ``python -m tests.bench.gather [SHEETS] [QUESTIONS]``. The sheets are generated codes, one a line of one file,
a tenth of them in answer files; a few are foreign, damaged or handed in twice. Both routes read the same file; the
plain one keeps every answer in a table and lets numpy find the same figures. Each route runs in a process of its own,
so that its peak memory is its own; the figures of both must agree.
"""

from __future__ import annotations

import json
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.quiz.packs import item
from tutor.quiz.gather import gather, read_sheets
from tutor.quiz.pack import Pack
from tutor.quiz.sheet import Sheet, to_code, to_file

SHEETS, QUESTIONS = 100_000, 20
LIMIT_S = 30.0
"""Most seconds on a machine with two busy cores."""
LIMIT_MB = 60.0
"""Most memory above what a gathering of one sheet needs: the marks by which a sheet handed in twice is known."""
ODD_EVERY = 500
"""One in so many sheets is foreign, damaged or there twice."""


def pack(questions: int) -> Pack:
    """A quiz of so many questions."""
    rights = ("first", "root", "second")
    return Pack("Bench", "", "at once", 1, tuple(item(n, rights[n % 3]) for n in range(questions)))


def write_sheets(path: Path, made: Pack, sheets: int, seed: int = 1) -> None:
    """Write a file of sheets, one a line: people of differing skill, now and then something odd."""
    rng = random.Random(seed)
    quiz = made.id
    key = [[c.label for c in i.choices].index(i.right) + 1 for i in made.items]
    hardness = [0.2 + 0.6 * n / len(key) for n in range(len(key))]
    with path.open("w", encoding="utf-8") as file:
        for number in range(sheets):
            skill = rng.random()
            answers = tuple(k if rng.random() < 0.4 + 0.6 * skill - 0.4 * h else rng.randint(0, 3)
                            for k, h in zip(key, hardness, strict=True))  # fmt: skip
            sheet = Sheet(quiz, answers, f"{number:08x}")
            line = to_file(sheet) if number % 10 == 0 else f"Wren {to_code(sheet)}"
            file.write(f"{line}\n")
            if number % ODD_EVERY == 0:
                file.write(
                    rng.choice((f"{line}\n", f"{line[:-2]}\n", f"{to_code(Sheet('0' * 10, answers, '00000000'))}\n"))
                )


def running(path: Path, made: Pack) -> dict[str, float]:
    """Our route: figures as running sums."""
    found = gather(made, [path])
    one = found.figures
    return {
        "sheets": one.sheets, "refused": found.refused_count, "kr20": one.kr20 or 0.0, "mean": one.mean,
        "corrected": one.items[-1].corrected or 0.0,
    }  # fmt: skip


def holding(path: Path, made: Pack) -> dict[str, float]:
    """The plain route: every answer in a table."""
    rows: dict[str, tuple[str, ...]] = {}
    refused, quiz = 0, made.id
    for _, sheet in read_sheets([path]):
        if not isinstance(sheet, Sheet) or sheet.quiz != quiz or sheet.mark in rows:
            refused += 1
        else:
            rows[sheet.mark] = sheet.labels(made, quiz)
    right = np.array([i.right for i in made.items])
    table = (np.array(list(rows.values())) == right).astype(float)
    total, p, k = table.sum(axis=1), table.mean(axis=0), len(right)
    corrected = float(np.corrcoef(table[:, -1], total - table[:, -1])[0, 1])
    kr20 = float(k / (k - 1) * (1 - (p * (1 - p)).sum() / total.var()))
    return {"sheets": len(rows), "refused": refused, "kr20": kr20, "mean": float(total.mean()), "corrected": corrected}


def child(route: str, path: str, questions: int) -> None:
    """Run one route and print its figures."""
    made = pack(questions)
    start = time.perf_counter()
    found = (running if route == "running" else holding)(Path(path), made)
    found["seconds"] = time.perf_counter() - start
    found["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps(found))


def measured(route: str, path: Path, questions: int) -> dict[str, float]:
    """One route in a process of its own."""
    line = [sys.executable, "-m", "tests.bench.gather", "--route", route, str(path), str(questions)]
    done = subprocess.run(line, check=True, capture_output=True, text=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def main(sheets: int = SHEETS, questions: int = QUESTIONS) -> int:
    """Print the measures; 1 where a limit is broken or the routes disagree."""
    with tempfile.TemporaryDirectory() as folder:
        path, single = Path(folder) / "sheets.txt", Path(folder) / "one.txt"
        write_sheets(path, pack(questions), sheets)
        write_sheets(single, pack(questions), 2)
        base = measured("running", single, questions)["peak_mb"]
        ours, plain = measured("running", path, questions), measured("holding", path, questions)
    print(f"{sheets} sheets of {questions} questions")
    for name, one in (("running sums", ours), ("held in numpy", plain)):
        print(f"{name:14} {one['seconds']:6.1f} s, {one['peak_mb'] - base:6.1f} MB above {base:.0f} MB at rest, "
              f"{one['sheets']:.0f} counted, {one['refused']:.0f} refused, KR-20 {one['kr20']:.4f}")  # fmt: skip
    grown = max(0.1, ours["peak_mb"] - base)
    print(
        f"ratio to numpy: time {ours['seconds'] / plain['seconds']:.2f}, memory {grown / (plain['peak_mb'] - base):.2f}"
    )
    same = all(abs(ours[k] - plain[k]) < 1e-6 for k in ("sheets", "refused", "kr20", "mean", "corrected"))
    print("the figures agree" if same else "THE FIGURES DIFFER")
    return 0 if same and ours["seconds"] <= LIMIT_S and grown <= LIMIT_MB * sheets / SHEETS + 5 else 1


if __name__ == "__main__":
    if sys.argv[1:2] == ["--route"]:
        child(sys.argv[2], sys.argv[3], int(sys.argv[4]))
    else:
        sys.exit(main(*map(int, sys.argv[1:3])))
