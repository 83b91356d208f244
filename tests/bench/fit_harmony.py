"""``python -m tests.bench.fit_harmony``: fit the harmony model and write it into the package.

Needs LARKSTAIR_DATA; with LARKSTAIR_CACHE an interrupted fit goes on where it stopped. ``--rough`` makes a poor model
in a minute or two, to try a change of the features.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.bench import crossval, stages
from tests.bench.corpus import chorales, data_folder, songs
from tests.bench.modal import in_mode
from tests.bench.stages import Seen
from tutor.analysis import model as model_module
from tutor.analysis.decode import DEFAULTS
from tutor.analysis.model import Model

ABOUT = {
    "made by": "python -m tests.bench.fit_harmony",
    "analyses": "When in Rome collection (human RomanText analyses), CC BY-SA 4.0",
    "scores": "songs: OpenScore Lieder, CC0; chorales: music21's corpus",
    "holds": "weights of small networks, trees and smoothed counts; no score and no analysis can be read back from it",
}


def fit(folder: Path, tag: str) -> Model:
    """Fit everything on every piece; the calibration comes from cross-validation."""
    weights = dict(DEFAULTS)
    seen = [Seen.of(p) for p in songs(folder)]
    modal = [Seen.of(in_mode(s.piece)) for s in seen]
    choirs = [Seen.of(p) for p in chorales(folder)]
    folds = crossval.folds_of([s.piece for s in seen])
    tables = crossval.hear(seen, modal, choirs, folds, weights, tag=tag)
    trials = crossval.read_all(seen, folds, tables, weights)
    strands = crossval.chord_models(f"{tag}-all", seen, choirs)
    values, told = ([stages.key_values(s, weights) for s in group] for group in (seen, modal))
    key, modes = crossval.key_nets(values, seen, told, modal, f"{tag}-all")
    change = stages.turn_net([stages.turn_values(s, weights) for s in seen], seen, 0)
    everything = stages.tables(seen, modal)
    everything["sure"] = crossval.straight(trials)
    everything["key_sure"] = crossval.straight_keys(trials)
    sure, trees = crossval.sure_of(trials)
    nets = {
        "key": key, "modal": modes, "gate": (stages.gate(seen, modal),), "turn": (change,), "sure": sure,
    }  # fmt: skip
    right, wrong = (
        sum(float(time.sum()) for time in part)
        for part in zip(*((t.outcome.right, t.outcome.wrong) for t in trials), strict=True)
    )
    result = {
        "songs": len(seen),
        "chorales": len(choirs),
        "root, quality and inversion right": round(right / (right + wrong), 4),
    }
    return Model(nets, everything, weights, {**ABOUT, "cross-validated": result}, strands, trees)


def main() -> int:
    """Fit and write."""
    parser = argparse.ArgumentParser(description="Fit the harmony model.")
    parser.add_argument("--rough", action="store_true", help="a poor model, quickly")
    parser.add_argument("--out", type=Path, default=Path(model_module.__file__).with_name(model_module.FILE))
    asked = parser.parse_args()
    folder = data_folder()
    if folder is None:
        sys.stderr.write("Name the folder of analyses in LARKSTAIR_DATA.\n")
        return 2
    if asked.rough:
        stages.CHORDS = replace(stages.CHORDS, hidden=(32, 32), epochs=2)
        stages.STRANDS = stages.TAUGHT = replace(stages.STRANDS, hidden=16, epochs=2)
        stages.KEYS = replace(stages.KEYS, hidden=(32,), epochs=2)
        stages.MODES = replace(stages.MODES, hidden=(32,), epochs=2)
    made = fit(folder, "rough" if asked.rough else "full")
    asked.out.write_bytes(made.dumps())
    size = np.round(asked.out.stat().st_size / 1000)
    sys.stdout.write(f"{asked.out.name}: {size:.0f} kB; {made.about['cross-validated']}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
