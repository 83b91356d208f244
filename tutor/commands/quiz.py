"""Commands on quizzes: make one, write its page, gather what came back."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from tutor import commands
from tutor.errors import PackError
from tutor.store.folder import path_of

if TYPE_CHECKING:
    from tutor.quiz.gather import Gathered
    from tutor.quiz.pack import Pack


def make_quiz(options: argparse.Namespace) -> None:
    """Make a quiz and write everything there is of it into a folder."""
    from tutor.studio import quizzes

    skills = _skills(options.skills)
    with commands.studio() as studio:
        songs = [commands.corrected(studio, studio.open_song(s)) for s in options.songs]
    pack = quizzes.make_quiz(
        songs, title=options.title, introduction=options.intro, skills=skills, count=options.number, mix=options.mix,
        reveal="at the end" if options.at_the_end else "at once", seed=options.seed,
    )  # fmt: skip
    _write_all(pack, path_of(options.out))


def write_page(options: argparse.Namespace) -> None:
    """Write the page, the sheet and the school package of a quiz that was made or edited before."""
    from tutor.studio import quizzes

    _write_all(quizzes.load_quiz(path_of(options.quiz)), path_of(options.out), itself=False)


def gather_answers(options: argparse.Namespace) -> None:
    """Print the figures of the answers that came back."""
    from tutor.quiz import gather
    from tutor.studio import quizgather, quizzes

    pack = quizzes.load_quiz(path_of(options.quiz))
    found = quizgather.gather(pack, options.answers, lenient=True)
    if options.json:
        print(json.dumps(gather.to_json(found), ensure_ascii=False, indent=1))
    elif options.csv:
        print(gather.to_csv(found), end="")
    else:
        _print_figures(found)


def _write_all(pack: Pack, folder: Path, *, itself: bool = True) -> None:
    from tutor.studio import quizzes

    kinds = [kind for kind in quizzes.TOLD if itself or kind != ".quiz.json"]
    for kind, path in zip(kinds, quizzes.write_quiz(pack, folder, kinds=kinds), strict=True):
        print(f"{path}: {quizzes.TOLD[kind]}")


def _skills(texts: list[str]) -> list[tuple[str, str]]:
    """(drill, skill) pairs from words such as 'inversions' or 'inversions:triads-close'.

    Raises:
        PackError: there is no such drill or skill.
    """
    from tutor.practice.catalogue import drills
    from tutor.studio.quizzes import choosable

    by_choice = [(drill, skill) for _, skills in choosable() for drill, skill, _ in skills]
    found: list[tuple[str, str]] = []
    for text in texts:
        name, _, skill = text.partition(":")
        drill = next((d for d in drills() if d.name == name), None)
        if drill is None:
            raise PackError(f"there is no drill {name!r}", remedy="Drills: " + ", ".join(d.name for d in drills()))
        if skill and skill not in drill.skills:
            raise PackError(f"{name} has no skill {skill!r}", remedy="Skills: " + ", ".join(drill.skills))
        asked = [s for s in ([skill] if skill else drill.skills) if (name, s) in by_choice]
        if not asked:
            raise PackError(
                f"{text} is answered with notes, taps or the voice, and a quiz asks for a choice",
                remedy="Drills that ask for one: " + ", ".join(dict.fromkeys(d for d, _ in by_choice)),
            )
        found += [(name, s) for s in asked]
    return found


def _print_figures(found: Gathered) -> None:
    from tutor.errors import plain
    from tutor.quiz import gather

    figures = found.figures
    print(f"{plain(found.pack.title)}: {figures.sheets} answer sheets, {len(found.pack.items)} questions")
    if figures.sheets:
        reliability = "not to be told" if figures.kr20 is None else f"{figures.kr20:.2f}"
        print(f"Mean {figures.mean:.1f} right, spread {figures.deviation:.1f}; reliability (KR-20) {reliability}")
        print("\n  no  right   95 % interval   r*     skill")
        for n, (item, f) in enumerate(zip(found.pack.items, figures.items, strict=True), start=1):
            r = "   –" if f.corrected is None else f"{f.corrected:5.2f}"
            low, high = f.interval
            said = gather.said(item.drill, item.skill)
            print(f"  {n:>2}  {f.facility:>5.0%}  {low:>5.0%} to {high:>4.0%}  {r}    {said}")
            texts = {c.label: c.text for c in item.choices}
            for label, count in sorted(f.chosen.items(), key=lambda c: -c[1]):
                if label != item.right:
                    print(
                        f"        {count} took it for: {texts[label]}" if label else f"        {count} gave no answer"
                    )
        print("\n  r*: correlation of the question with the rest of the quiz (point-biserial, the question left out)")
        print("  KR-20: how reliable the whole is, up to 1; short quizzes for a lesson seldom pass 0.7")
        print(f"\n{found.next_video}")
    for line in found.refused:
        print(f"refused: {line}")
    if found.refused_count > len(found.refused):
        print(f"refused: and {found.refused_count - len(found.refused)} more")
