"""``python -m tests.bench.accuracy``: how right the engine reads keys, chords and borrowed tones.

On the bundled analyses (music21's corpus) the shipped model is measured. On the folder named by LARKSTAIR_DATA the
parameters are fitted anew for each of five folds, cycles kept whole (``--by-song``: single songs), so that no song is
read by a model that saw it; ``--quick`` measures the shipped model there too, on songs it was fitted on.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence

from tests.bench import crossval
from tests.bench.borrowed import Claim, Read, fit, sample, told
from tests.bench.borrowed import report as reliability
from tests.bench.corpus import Piece, bundled, chorales, data_folder, songs
from tests.bench.crossval import Trial
from tests.bench.measures import COVERAGE, ELEMENTS, Score, add, merged, spread
from tests.bench.modal import in_mode
from tests.bench.readable import WHY, readable, shares
from tests.bench.stages import Seen
from tutor.analysis.borrowed import find_borrowed
from tutor.analysis.decode import DEFAULTS
from tutor.analysis.harmony import read_harmony, tell

GOALS = {"key": 0.84, "root": 0.90, "bass": 0.88, "inversion": 0.87, "quality": 0.85, "full": 0.64}


_BUNDLED = (
    ("chorales (most are in its fit too)", "riemenschneider*.rntxt"),
    ("madrigals (older music, in none of the fits)", "madrigal*.rntxt"),
)


def shipped(pieces: Sequence[Piece]) -> Score:
    """The shipped model on pieces."""
    score = Score()
    for piece in pieces:
        keys, chords = read_harmony(piece.table)
        add(score, piece, chords, find_borrowed(piece.table, keys, chords) if piece.notes else ())
    return score


def tried(
    pieces: Sequence[Piece], choirs: Sequence[Piece], *, by_cycle: bool, nested: bool = False
) -> tuple[list[Trial], float]:
    """Every song decoded by models fitted on the other folds.

    Returns:
        The songs with what was read, and the share of time in the right key on the same songs told in a mode.
    """
    weights = dict(DEFAULTS)
    seen = [Seen.of(p) for p in pieces]
    folds = crossval.folds_of(pieces, by_cycle=by_cycle)
    tag = "full" if by_cycle else "songs"
    modal = [Seen.of(in_mode(p)) for p in pieces]
    tables = crossval.hear(seen, modal, [Seen.of(p) for p in choirs], folds, weights, tag=tag, nested=nested)
    return crossval.read_all(seen, folds, tables, weights), crossval.modal_keys(modal, folds, tables, weights)


def readings(trials: Sequence[Trial]) -> list[Read]:
    """The songs as the engine tells them; how sure the keys are is straightened on the other folds."""
    reads = []
    for fold in range(crossval.FOLDS):
        knots = crossval.straight_keys([t for t in trials if t.fold != fold])
        for t in trials:
            if t.fold == fold:
                table = t.seen.piece.table
                keys, chords = tell(table, t.seen.piece.frames, t.path, t.spans, t.sure, knots)
                reads.append(Read(t.seen.piece, fold, keys, chords))
    return reads


def crossvalidated(reads: Sequence[Read]) -> tuple[list[Score], Score, list[Claim]]:
    """How right each is, all of them on readable labels, and what the model of borrowed tones claims.

    That model is fitted anew for each fold as well.
    """
    samples = [sample(r) for r in reads]
    scores: list[Score] = []
    part, claims = Score(), []
    for fold in range(crossval.FOLDS):
        weights = fit([s for s in samples if s.fold != fold])
        for r, s in zip(reads, samples, strict=True):
            if r.fold == fold:
                scores.append(Score())
                add(scores[-1], r.piece, r.chords, find_borrowed(r.piece.table, r.keys, r.chords, weights))
                add(part, readable(r.piece), r.chords)
                claims += told(s, weights)
    return scores, part, claims


def report(title: str, score: Score, apart: Mapping[str, float] | None = None) -> str:
    """The figures as text; ``apart`` from `spread` says how far they would move with other songs."""

    def give(name: str) -> str:
        return f" +- {apart[name]:.3f}" if apart else ""

    lines = [title, f"  pieces {len(score.each)}, {score.time:.0f} quarters analysed", "  share of time right:"]
    for name in ELEMENTS:
        goal = f"  (to reach {GOALS[name]:.2f})" if name in GOALS else ""
        lines.append(f"    {name:10s} {score.share(name):.3f}{give(name)}{goal}")
    lines.append("  root, quality and inversion right on the surest part of the time:")
    lines += [f"    {c:4.0%}       {score.precision(c):.3f}{give(str(c))}" for c in COVERAGE]
    covered, right = score.sure(0.9)
    lines.append(f"  given 0.9 or more: {covered:.1%} of the time, {right:.3f} right")
    lines.append(f"  expected calibration error {score.calibration_error:.3f}")
    lines += ["", "  | confidence up to | share of time | mean confidence | right |", "  |---|---|---|---|"]
    lines += [f"  | {top:.1f} | {share:.3f} | {mean:.3f} | {ok:.3f} |" for top, share, mean, ok in score.reliability()]
    lines.append("")
    for name in ("mixture", "applied"):
        lines.append("  {} chords: precision {:.3f} recall {:.3f} F {:.3f}".format(name, *score.f("kinds", name)))
    for name in ("modal", "applied", "chromatic"):
        if name in score.tones:
            lines.append("  {} tones: precision {:.3f} recall {:.3f} F {:.3f}".format(name, *score.f("tones", name)))
    lines.append("  the ten furthest from their analysis:")
    lines += [f"    {share:.3f} {name}" for share, name in sorted(score.each)[:10]]
    return "\n".join(lines) + "\n"


def brief(title: str, score: Score) -> str:
    """The shares and the precision in two lines."""
    shares = " ".join(f"{name} {score.share(name):.3f}" for name in ELEMENTS)
    sure = " ".join(f"{score.precision(c):.3f}" for c in COVERAGE)
    parts = ", ".join(f"{c:.0%}" for c in COVERAGE)
    return f"  {title} ({score.time:.0f} quarters): {shares}\n    on the surest {parts}: {sure}\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Measure the engine against human analyses.")
    parser.add_argument("--quick", action="store_true", help="the shipped parameters, without fitting")
    parser.add_argument("--by-song", action="store_true", help="folds of single songs, cycles apart")
    parser.add_argument("--nested", action="store_true", help="models that feed others refitted for each fold too")
    parser.add_argument("--no-bundled", action="store_true", help="leave the bundled corpus out")
    asked = parser.parse_args(arguments)
    if not asked.no_bundled:
        for title, only in _BUNDLED:
            sys.stdout.write(report(f"music21's corpus, {title}, shipped model", shipped(bundled(only))))
    folder = data_folder()
    if folder is None:
        sys.stdout.write("LARKSTAIR_DATA names no folder: only the bundled analyses were measured.\n")
        return 0
    pieces = songs(folder)
    if asked.quick:
        sys.stdout.write(report("songs, shipped model (fitted on them)", shipped(pieces)))
        return 0
    how = "songs" if asked.by_song else "cycles"
    trials, modal = tried(pieces, chorales(folder), by_cycle=not asked.by_song, nested=asked.nested)
    scores, part, claims = crossvalidated(readings(trials))
    title = f"songs, cross-validation in {crossval.FOLDS} folds by {how}"
    sys.stdout.write(report(title, merged(scores), spread(scores)))
    sys.stdout.write("  labels that the notes contradict:\n")
    for why, share in shares(pieces).items():
        sys.stdout.write(f"    {share:6.2%}  {WHY[why]}\n")
    sys.stdout.write(brief("on the other labels", part))
    sys.stdout.write(f"  the same songs told in a mode: key {modal:.3f}\n")
    sys.stdout.write(reliability(claims))
    return 0


if __name__ == "__main__":
    sys.exit(main())
