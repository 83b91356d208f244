"""Measure the likeness of melodies on tune families of music21's corpus: `python -m tests.bench.likeness`.

A family is a title that stands in two collections (Ryan's Mammoth Collection, O'Neill's, Aird's Airs and others). Each
tune of the first collection should find its sibling above every other tune of the second. A shared title does not
always mean a shared tune, so the figures are lower bounds.
"""

from __future__ import annotations

import argparse
import re
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from importlib.util import find_spec
from multiprocessing import Pool
from pathlib import Path

import numpy as np

from tutor.analysis.likeness import Likeness, compare
from tutor.music.table import NoteTable

FOLDERS = ("ryansMammoth", "oneills1850", "airdsAirs", "miscFolk", "essenFolksong")
_KIND = re.compile(r",? ?the$|^the |hornpipe|reel|jig|strathspey| - ")


@dataclass(frozen=True)
class Tune:
    """One tune of a collection, in ABC."""

    title: str
    folder: str
    abc: str

    def table(self) -> NoteTable:
        """Read it."""
        from tutor.score.read import read_score

        return read_score(self.abc.encode(), f"{self.title}.abc")


def corpus() -> Path:
    """Folder of music21's corpus."""
    spec = find_spec("music21")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "corpus"


def families() -> list[tuple[Tune, Tune]]:
    """Pairs of tunes with one title in two collections, sorted by title."""
    found: dict[str, dict[str, Tune]] = {}
    for folder in FOLDERS:
        for file in sorted((corpus() / folder).glob("*.abc")):
            for part in re.split(r"(?m)^(?=X:)", file.read_text(encoding="utf-8", errors="replace")):
                title = re.search(r"(?m)^T: *(.*)$", part)
                if title and part.startswith("X:"):
                    key = re.sub(r"[^a-z]", "", _KIND.sub("", title[1].lower()))
                    found.setdefault(key, {}).setdefault(folder, Tune(title[1].strip(), folder, part))
    pairs = [tuple(v.values())[:2] for k, v in sorted(found.items()) if k and len(v) > 1]
    return [(a, b) for a, b in pairs]


def siblings(pairs: Sequence[tuple[NoteTable, NoteTable]], first: int) -> list[tuple[float, float]]:
    """Likeness of one tune to every tune of the other side: in order, and in any order."""
    one = pairs[first][0]
    found: list[Likeness] = [compare(one, other) for _, other in pairs]
    return [(x.similarity, x.similarity_any_order) for x in found]


def ranks(values: Sequence[Sequence[float]]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Rank of the sibling (the diagonal) in each row, from 1."""
    table = np.array(values)
    own = table.diagonal()[:, None]
    return np.asarray((table > own).sum(axis=1) + 1)


def readable(limit: int) -> list[tuple[NoteTable, NoteTable]]:
    """Families of which both tunes can be read."""
    from tutor.errors import TutorError

    pairs = []
    for one, two in families():
        try:
            pairs.append((one.table(), two.table()))
        except TutorError:
            continue
        if len(pairs) == limit:
            break
    return pairs


def main(arguments: Sequence[str] | None = None) -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--limit", type=int, default=60)
    options = parser.parse_args(arguments)
    pairs = readable(options.limit)
    began = time.perf_counter()
    with Pool() as pool:
        rows = pool.map(partial(siblings, pairs), range(len(pairs)), chunksize=1)
    spent = (time.perf_counter() - began) / len(pairs) ** 2
    for name, k in (("in order", 0), ("any order", 1)):
        place = ranks([[x[k] for x in row] for row in rows])
        table = np.array([[x[k] for x in row] for row in rows])
        own, other = table.diagonal(), table[~np.eye(len(table), dtype=bool)]
        print(
            f"{name:10} {len(pairs)} families: sibling first {np.mean(place == 1):.2f}, in the first five "
            f"{np.mean(place <= 5):.2f}, mean reciprocal rank {np.mean(1 / place):.2f}; siblings {own.mean():.2f}, "
            f"strangers {other.mean():.2f}"
        )
    print(f"{1000 * spent:.0f} ms a comparison (all cores)")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
