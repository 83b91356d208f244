"""Measure the phrase finder on the lines of the Essen folk songs in music21's corpus: `python -m tests.bench.phrases`.

In that collection each line of notes is one phrase as its editors heard it; words are not given, so only rests, long
notes, metre and length can tell. Songs without a metre, and those whose notes cannot be counted line by line, are left
out. Every n-th song is read.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator, Sequence

from tests.bench.likeness import corpus
from tutor.analysis.columns import Line, sung_line, with_voice
from tutor.analysis.phrases import find_phrases
from tutor.errors import TutorError
from tutor.music.table import NoteTable

_SKIPPED = ("test", "han", "variant", "folkHaydn")
"""Files of tests, of other notations, and of variants."""


def songs(each: int) -> Iterator[tuple[NoteTable, Line, set[int]]]:
    """Every ``each``-th song: its table, its line, and the first note of each line but the first."""
    from tutor.score.read import read_score

    for file in sorted((corpus() / "essenFolksong").glob("*.abc")):
        if file.stem.startswith(_SKIPPED):
            continue
        parts = re.split(r"(?m)^(?=X:)", file.read_text(encoding="utf-8", errors="replace"))
        for part in [p for p in parts if p.startswith("X:")][::each]:
            lines = [x for x in part.splitlines() if x and not re.match(r"[A-Za-z]:", x)]
            counts = [len(re.findall(r"[A-Ga-g]", re.sub(r'"[^"]*"', "", x))) for x in lines]
            if len(lines) < 2 or re.search(r"M: *none", part):
                continue
            try:
                table = with_voice(read_score(part.encode(), "song.abc"), None)
            except TutorError:
                continue
            line = sung_line(table)
            if len(line) == sum(counts):
                yield table, line, {sum(counts[: k + 1]) for k in range(len(counts) - 1)}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=20)
    options = parser.parse_args(arguments)
    hit = found = true = count = 0
    for table, line, wanted in songs(options.each):
        mine = {line.inside(p.start, p.end).start for p in find_phrases(table, line)} - {0}
        hit, found, true, count = hit + len(mine & wanted), found + len(mine), true + len(wanted), count + 1
    print(
        f"{count} songs: phrase boundaries on the exact note, precision {hit / max(1, found):.2f}, "
        f"recall {hit / max(1, true):.2f}, F {2 * hit / max(1, found + true):.2f}"
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
