"""How sure a chord is: a small model of when the reading is right, fitted on songs it had not seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tutor.analysis.decode import Doubles, Path
from tutor.analysis.listen import Heard
from tutor.analysis.model import Perceptron, judge, softmax
from tutor.analysis.slices import LOF, LOF_ZERO, Floats, Frames, Ints
from tutor.analysis.vocabulary import BASS, CLASSES, GROUP_OF, GROUPS, MEMBERS, SIZE

_CHROMA: Ints = ((np.arange(LOF) - LOF_ZERO) * 7) % 12


def runs(*columns: Ints) -> list[tuple[int, int]]:
    """First and last-plus-one frame of each stretch in which no column changes."""
    changed = np.zeros(len(columns[0]), dtype=bool)
    changed[0] = True
    for column in columns:
        changed[1:] |= column[1:] != column[:-1]
    edges = [*np.flatnonzero(changed).tolist(), len(changed)]
    return [(edges[i], edges[i + 1]) for i in range(len(edges) - 1)]


def evidence(frames: Frames, heard: Heard, path: Path, spans: Sequence[tuple[int, int]]) -> Floats:
    """What speaks for and against each chord, shape (spans, features).

    Args:
        frames: The n frames.
        heard: What the models heard.
        path: The reading.
        spans: Stretches of one chord in one key, from `runs`.
    """
    n = frames.count
    rows = np.arange(n)
    root, kind = path.chord // SIZE, path.chord % SIZE
    mixed = heard.chord[rows, path.chord]
    rest = heard.chord.copy()
    rest[rows, path.chord] = 0
    member = MEMBERS[kind][rows[:, None], (np.arange(12)[None, :] - root[:, None]) % 12]
    sound = np.zeros((n, 12), dtype=np.float32)
    for i in range(LOF):
        sound[:, _CHROMA[i]] += frames.sound[:, i]
    likely = heard.heads.member
    per_frame = np.stack(
        [
            path.chord_share,
            mixed,
            rest.max(axis=1),
            heard.heads.chord[rows, path.chord],
            heard.heads.bass[rows, (root + BASS[kind]) % 12],
            np.where(member > 0, likely, 1).min(axis=1),
            np.where(member > 0, 0, likely).max(axis=1),
            path.key_share,
            heard.turn,
            (sound * (1 - member)).sum(axis=1) / np.maximum(sound.sum(axis=1), 1e-6),
        ],
        axis=1,
    )
    out = []
    time = frames.end - frames.start
    for a, b in spans:
        share = time[a:b] / time[a:b].sum()
        mean = share @ per_frame[a:b]
        heard_members = share @ sound[a:b]
        missing = float(((heard_members < 1e-3) & (member[a] > 0)).sum())
        inner = float(heard.turn[a + 1 : b].max()) if b > a + 1 else 0.0
        after = float(heard.turn[b]) if b < n else 1.0
        fixed = np.zeros(GROUPS + 4 + 1)
        fixed[GROUP_OF[kind[a]]] = 1
        fixed[GROUPS + CLASSES[kind[a]][1]] = 1
        fixed[-1] = member[a].sum() - 3
        more = [
            float(per_frame[a:b, 0].min()), float(per_frame[a:b, 1].max()), float(heard.turn[a]), inner, after, missing,
            float(np.log(time[a:b].sum())),
        ]  # fmt: skip
        out.append(np.concatenate([mean, _odds(mean[:8]), more, fixed]))
    return np.array(out, dtype=np.float32)


def _odds(share: Doubles) -> Doubles:
    """Logarithms of odds: near certainty they still tell sure from surer."""
    held = np.clip(share, 0.0, 1.0)
    odds: Doubles = np.log((held + 1e-4) / (1.0001 - held)) / 3
    return odds


def confidence(nets: tuple[Perceptron, ...], seen: Floats, knots: Doubles) -> Doubles:
    """Probability that root, quality and inversion are right, shape (spans,).

    Args:
        nets: The model of being right.
        seen: From `evidence`.
        knots: Shape (2, k): what the model says and how often it was then right, for straightening.
    """
    said = softmax(judge(nets[:1], seen[:, None, :])[0])[:, 1].astype(np.float64)
    straight: Doubles = np.clip(np.interp(said, knots[0], knots[1]), 0.0, 0.995)
    return straight
