"""``python -m tests.bench.audit``: what the engine's surest mistakes are, told apart by rules and not by a person.

Each stretch of the surest music in which root, quality or inversion differ from the analysis is asked what sounds in
it: the tones of both chords or of one, and whether the analyst's bass is ever the lowest. Needs LARKSTAIR_DATA; reads
every song by models that did not see its cycle, as `tests.bench.accuracy` does.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tests.bench.accuracy import tried
from tests.bench.corpus import chorales, data_folder, members_of, songs
from tests.bench.crossval import Trial
from tutor.analysis.confidence import runs
from tutor.analysis.slices import Floats
from tutor.analysis.vocabulary import BASS, SIZE

COVERAGE = (0.2, 0.4)
HEARD = 1e-3
"""Share of the time above which a tone sounds."""
LOWEST = 0.05
"""Share of the time above which a tone has been the lowest."""
MORE = 0.15
"""Share of the sound by which one chord holds much more of it than the other."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Music in which neither the reading nor the analysis changes."""

    sure: float
    quarters: float
    read: int
    """root * SIZE + class."""
    meant: int
    """The same by the analysis; -1 outside the vocabulary."""
    sound: Floats
    """Share of the time for which each chroma sounds, shape (12,)."""
    low: Floats
    """Share of the time for which each is the lowest, shape (12,)."""


def stretches(trial: Trial) -> Iterator[Stretch]:
    """The stretches of one song that the analysis covers."""
    piece = trial.seen.piece
    frames, meant, weight = piece.frames, piece.labels[0], piece.weight
    time = (frames.end - frames.start)[:, None]
    for (a, b), sure in zip(trial.spans, trial.sure.tolist(), strict=True):
        for first, last in runs(meant[a:b]):
            here = slice(a + first, a + last)
            quarters = float(weight[here].sum())
            if quarters > 0:
                length = float(time[here].sum())
                sound, low = ((x[here] * time[here]).sum(axis=0) / length for x in (piece.chroma, frames.bass))
                yield Stretch(sure, quarters, int(trial.path.chord[a]), int(meant[here.start]), sound, low)


def reason(s: Stretch) -> str:
    """What speaks for the reading and what for the analysis, in one of six words."""
    if s.meant < 0:
        return "the analysed chord is outside the vocabulary"
    ours, theirs = _tones(s.read), _tones(s.meant)
    if ours == theirs:
        bass = (s.meant // SIZE + BASS[s.meant % SIZE]) % 12
        return "same tones, the analysed bass is never lowest" if s.low[bass] < LOWEST else "same tones, another bass"
    sounding = set(np.flatnonzero(s.sound > HEARD).tolist())
    if sounding and sounding <= ours and not (theirs - ours) & sounding:
        return "every sounding tone belongs to the reading and the analysis names none beside"
    total = max(float(s.sound.sum()), 1e-6)
    lead = float(s.sound[sorted(ours)].sum() - s.sound[sorted(theirs)].sum()) / total
    if abs(lead) <= MORE:
        return "both hold about as much of the sound"
    return f"the {'reading' if lead > 0 else 'analysis'} holds much more of the sound"


def _tones(chord: int) -> set[int]:
    return set(np.flatnonzero(members_of(np.array([chord]))[0]).tolist())


def report(trials: Sequence[Trial]) -> str:
    """The figures as text."""
    told = sorted((s for t in trials for s in stretches(t)), key=lambda s: -s.sure)
    total = sum(s.quarters for s in told)
    lines: list[str] = []
    for coverage in COVERAGE:
        got = wrong = 0.0
        why: dict[str, float] = {}
        for s in told:
            if got >= coverage * total:
                break
            got += s.quarters
            if s.read != s.meant:
                wrong += s.quarters
                why[reason(s)] = why.get(reason(s), 0.0) + s.quarters
        lines.append(f"surest {coverage:.0%}: {wrong / got:.1%} of the time differs from the analysis; of that")
        lines += [f"  {time / wrong:5.1%}  {name}" for name, time in sorted(why.items(), key=lambda x: -x[1])]
    return "\n".join(lines) + "\n"


def main() -> int:
    """Measure and print."""
    folder = data_folder()
    if folder is None:
        sys.stderr.write("Name the folder of analyses in LARKSTAIR_DATA.\n")
        return 2
    trials, _ = tried(songs(folder), chorales(folder), by_cycle=True)
    sys.stdout.write(report(trials))
    return 0


if __name__ == "__main__":
    sys.exit(main())
