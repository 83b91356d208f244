"""Gathers answer sheets into figures: one pass, memory that does not grow with the answers but for their marks."""

from __future__ import annotations

import csv
import io
import json
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from tutor.errors import PackError, plain
from tutor.practice.catalogue import drills
from tutor.quiz.pack import Pack
from tutor.quiz.sheet import MOST_SHEET_BYTES, Sheet, from_code, from_file
from tutor.quiz.statistics import QuizFigures, Tally

MOST_TOLD = 50
"""Refusals told one by one; the rest is counted."""
_HEARD = 0.85
"""A skill known to this share needs no explanation (a choice of ours)."""
_FEW = 10
"""Answer sheets below which figures are a hint: with ten, a share of one half may be a quarter or three (Wilson)."""
_NEAR = 0.1
"""Two skills this near are told together (a choice of ours)."""
_ODD_Z = 1.645
"""A question is suspect when its correlation with the rest is below zero by more than chance gives one time in twenty;
the standard error of a correlation near zero is 1 / sqrt(n) (Fisher 1915)."""


def said(drill: str, skill: str) -> str:
    """A skill in words, 'Inversions: triads in close position, by ear'; its bare names where it is not known here."""
    found = next((d for d in drills() if d.name == drill), None)
    if found is None:
        return f"{drill}: {skill}"
    words = getattr(found, "words", None)
    return f"{found.title}: {words(skill) if words is not None and skill in found.skills else skill}"


@dataclass(frozen=True, slots=True)
class SkillFigures:
    """What viewers could hear of one skill."""

    drill: str
    skill: str
    asked: int
    right: int
    taken_for: tuple[tuple[str, str, int], ...]
    """(right answer, answer given, how often), most often first."""
    guessing: float = 0.0
    """Share right that guessing alone would give, 0 to 1."""
    hardest: int = 0
    """Number of the question of this skill that the fewest had right, from 1."""

    @property
    def share(self) -> float:
        """Share right, 0 to 1."""
        return self.right / self.asked if self.asked else 0.0

    @property
    def known(self) -> float:
        """Share right beyond guessing: 0 where nobody did better, 1 where all was right.

        The classical correction for guessing, right less wrong / (choices - 1), as a share (Diamond and Evans, The
        Correction for Guessing, Review of Educational Research 43, 1973). Without it a question of two choices would
        seem easier than one of five that as many viewers could hear.
        """
        return max(0.0, (self.share - self.guessing) / (1 - self.guessing))


@dataclass(frozen=True, slots=True)
class Gathered:
    """All sheets of one quiz."""

    pack: Pack
    figures: QuizFigures
    skills: tuple[SkillFigures, ...]
    """Hardest first."""
    refused: tuple[str, ...]
    """A line each, the first fifty."""
    refused_count: int

    @property
    def next_video(self) -> str:
        """Which explanation would help most, in a few sentences; empty before any sheet."""
        asked = [s for s in self.skills if s.asked]
        if not asked:
            return ""
        worst = asked[0]
        if worst.known > _HEARD:
            few = self.figures.sheets < _FEW
            return "Nearly everybody heard everything: make the next quiz harder." + (self._doubt(asked) if few else "")
        line = (
            f"Explain “{said(worst.drill, worst.skill)}” next: {worst.share:.0%} of the answers were right, and "
            f"guessing alone gives {worst.guessing:.0%}."
        )
        if worst.taken_for:
            right, given, count = worst.taken_for[0]
            taken = f"left “{right}” open" if not given else f"took “{right}” for “{given}”"
            line += f" The commonest slip: viewers {taken} ({count} {'time' if count == 1 else 'times'})."
        if worst.hardest:
            line += f" Question {worst.hardest} shows it."
        return line + self._doubt(asked)

    def _doubt(self, asked: Sequence[SkillFigures]) -> str:
        """What to bear in mind before a video is made."""
        if self.figures.sheets < _FEW:
            sheets = "one answer sheet" if self.figures.sheets == 1 else f"{self.figures.sheets} answer sheets"
            return f" That rests on {sheets}: take it as a hint."
        line = ""
        if len(asked) > 1 and asked[1].known - asked[0].known < _NEAR and asked[1].known <= _HEARD:
            line = f" “{said(asked[1].drill, asked[1].skill)}” is as hard, as far as these answers tell."
        low = -_ODD_Z / math.sqrt(self.figures.sheets)
        odd = [str(n) for n, f in enumerate(self.figures.items, start=1) if (f.corrected or 0.0) < low]
        if odd:
            line += (
                f" Look question{'s' if len(odd) > 1 else ''} {', '.join(odd)} over: viewers who did well elsewhere "
                f"had {'them' if len(odd) > 1 else 'it'} wrong more often than the others."
            )
        return line


def gather(pack: Pack, paths: Iterable[Path]) -> Gathered:
    """Read every sheet in the files given.

    A file may hold one answer file, or any number of codes and answer files, one a line; a word before a code counts
    as a nickname. A sheet handed in twice counts once.
    """
    return gather_sheets(pack, read_sheets(paths))


def gather_sheets(pack: Pack, sheets: Iterable[tuple[str, Sheet | PackError]]) -> Gathered:
    """Gather sheets that were read already; each comes with the place it was found in."""
    tally, quiz = Tally([i.right for i in pack.items]), pack.id
    known: set[int] = set()
    told: list[str] = []
    refused = 0
    for where, sheet in sheets:
        try:
            if isinstance(sheet, PackError):
                raise sheet
            labels = sheet.labels(pack, quiz)
            mark = int(sheet.mark, 16)
            if mark in known:
                raise PackError("this sheet was handed in before and counts once")
            known.add(mark)
            tally.add(labels)
        except PackError as error:
            refused += 1
            if len(told) < MOST_TOLD:
                told.append(f"{plain(where)}: {error.line}")
    figures = tally.figures()
    return Gathered(pack, figures, _skills(pack, figures), tuple(told), refused)


def to_json(gathered: Gathered) -> dict[str, Any]:
    """The figures as a plain value."""
    return {
        "quiz": gathered.pack.id,
        "title": gathered.pack.title,
        "figures": asdict(gathered.figures),
        "skills": [asdict(s) | {"share": s.share, "known": s.known} for s in gathered.skills],
        "refused": gathered.refused_count,
        "next": gathered.next_video,
    }


def to_csv(gathered: Gathered) -> str:
    """One row a question; cells that a spreadsheet would run as a formula are quoted with an apostrophe."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(
        ["question", "drill", "skill", "asked", "facility", "low95", "high95", "r", "r_corrected", "right", "answers"]
    )
    for number, (item, found) in enumerate(zip(gathered.pack.items, gathered.figures.items, strict=True), start=1):
        row: list[object] = [
            number, item.drill, item.skill, found.asked, _number(found.facility), _number(found.interval[0]),
            _number(found.interval[1]), _number(found.point_biserial), _number(found.corrected), item.right,
            json.dumps(found.chosen, ensure_ascii=False, sort_keys=True),
        ]  # fmt: skip
        rows.writerow([_cell(c) for c in row])
    return out.getvalue()


def read_sheets(paths: Iterable[Path]) -> Iterator[tuple[str, Sheet | PackError]]:
    """Every sheet in the files given, with the place it was found in, or why it is refused."""
    for path in paths:
        try:
            with path.open(encoding="utf-8", errors="replace") as file:
                yield from _lines(file, path.name)
        except OSError as error:
            yield path.name, PackError(f"the file cannot be read ({error.strerror})")


def _lines(file: io.TextIOBase, name: str) -> Iterator[tuple[str, Sheet | PackError]]:
    number = 0
    while line := file.readline(MOST_SHEET_BYTES):
        number += 1
        where = f"{name}, line {number}"
        if len(line) == MOST_SHEET_BYTES and not line.endswith("\n"):
            yield where, PackError("the line is too long to be an answer sheet")
            while (rest := file.readline(MOST_SHEET_BYTES)) and not rest.endswith("\n"):
                pass
            continue
        text = line.strip()
        if not text:
            continue
        if text.startswith("{") and not text.endswith("}"):
            # One value over several lines: a file that was saved anew by another program, or no answers at all.
            text, where = line + file.read(MOST_SHEET_BYTES), name
            while file.read(MOST_SHEET_BYTES):
                pass
        try:
            yield where, from_file(text) if text.lstrip().startswith("{") else read_code(text)
        except PackError as error:
            yield where, error


def read_code(text: str) -> Sheet:
    """A sheet from a code with words before it, which count as a nickname.

    Raises:
        PackError: it is no code, or was changed.
    """
    *nickname, code = text.split()
    sheet = from_code(code)
    return Sheet(sheet.quiz, sheet.answers, sheet.mark, plain(" ".join(nickname))[:40])


def _skills(pack: Pack, figures: QuizFigures) -> tuple[SkillFigures, ...]:
    numbers: dict[tuple[str, str], list[int]] = {}
    for n, item in enumerate(pack.items):
        numbers.setdefault((item.drill, item.skill), []).append(n)
    rows = [_skill(pack, figures, drill, skill, at) for (drill, skill), at in numbers.items()]
    return tuple(sorted(rows, key=lambda s: (s.known, s.share, s.drill, s.skill)))


def _skill(pack: Pack, figures: QuizFigures, drill: str, skill: str, numbers: Sequence[int]) -> SkillFigures:
    slips: Counter[tuple[str, str]] = Counter()
    for n in numbers:
        item, texts = pack.items[n], {c.label: c.text for c in pack.items[n].choices}
        for label, count in figures.items[n].chosen.items():
            if label != item.right:
                slips[item.right_text, texts.get(label, "")] += count
    return SkillFigures(
        drill, skill, asked=sum(figures.items[n].asked for n in numbers),
        right=sum(figures.items[n].chosen.get(pack.items[n].right, 0) for n in numbers),
        taken_for=tuple((a, b, count) for (a, b), count in slips.most_common(5)),
        guessing=sum(1 / len(pack.items[n].choices) for n in numbers) / len(numbers),
        hardest=min(numbers, key=lambda n: figures.items[n].facility) + 1,
    )  # fmt: skip


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.4f}"


def _cell(value: object) -> object:
    return (
        f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@") and not _is_number(value) else value
    )


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
