"""``python -m tests.bench.speed``: what the engine costs beside the score reader and beside the library's own route.

Processor time of one core, in one run on the same files. The library's route is music21's ``chordify`` and
``romanNumeralFromChord`` in the key its own analysis finds. Files: scores named on the command line; else the folder
named by LARKSTAIR_DATA; else chorales of music21's corpus.
"""

from __future__ import annotations

import argparse
import gc
import resource
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import tutor  # noqa: F401 -- first, for it tells numpy how many threads to use
from tests.bench.corpus import data_folder
from tutor.analysis.borrowed import find_borrowed
from tutor.analysis.harmony import read_harmony
from tutor.analysis.reading import read
from tutor.errors import ScoreError
from tutor.music.table import NoteTable
from tutor.score.read import read_score

THIRD = 1 / 3
"""What the reading may cost beside the score reader, on each file."""


def cost(work: Callable[[], object]) -> float:
    """Processor seconds of a call, which does not pay for clearing away what was left before it."""
    gc.collect()
    start = time.process_time()
    work()
    return time.process_time() - start


def library(data: bytes) -> None:
    """Chordify and Roman numerals by music21, from its own stream."""
    from music21 import converter, roman

    score = converter.parseData(data, format="musicxml")
    begun = time.process_time()
    key = score.analyze("key")
    for chord in score.chordify().recurse().getElementsByClass("Chord"):
        roman.romanNumeralFromChord(chord, key)
    library.seconds = time.process_time() - begun  # type: ignore[attr-defined]


def measure(path: Path, *, with_library: bool) -> tuple[float, float, float, float]:
    """Seconds of the reader, of keys, chords and borrowed tones, of the whole reading, and of the library."""
    data = path.read_bytes()
    held: list[NoteTable] = []
    reader = cost(lambda: held.append(read_score(data, path.name)))

    def harmony() -> None:
        keys, chords = read_harmony(held[0])
        find_borrowed(held[0], keys, chords)

    harmony_s = cost(harmony)
    try:
        whole = cost(lambda: read(held[0]))
    except ScoreError:
        whole = harmony_s
    if not with_library:
        return reader, harmony_s, whole, 0.0
    library(_musicxml(data))
    return reader, harmony_s, whole, library.seconds  # type: ignore[attr-defined]


def _musicxml(data: bytes) -> bytes:
    import io
    import zipfile

    if data[:2] != b"PK":
        return data
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        name = next(n for n in archive.namelist() if n.endswith((".xml", ".musicxml")) and not n.startswith("META-INF"))
        return archive.read(name)


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Time the engine.")
    parser.add_argument("scores", nargs="*", type=Path)
    parser.add_argument("--every", type=int, default=8, help="take every n-th song of the folder")
    parser.add_argument("--no-library", action="store_true", help="leave music21's own route out")
    asked = parser.parse_args(arguments)
    folder = data_folder()
    scores: list[Path] = asked.scores or (sorted(folder.glob("songs/*/score.mxl"))[:: asked.every] if folder else [])
    if not scores:
        from music21 import corpus

        scores = [Path(str(corpus.getWork(f"bach/bwv{n}"))) for n in ("269", "347", "267")]
    measure(scores[0], with_library=False)
    sys.stdout.write("reader s  harmony s  all s  library s  harmony/reader  all/reader  library/all\n")
    total = [0.0] * 4
    shares = []
    for path in scores:
        seconds = measure(path, with_library=not asked.no_library)
        total = [a + b for a, b in zip(total, seconds, strict=True)]
        shares.append(seconds[2] / seconds[0])
        sys.stdout.write(_row(seconds) + f"  {path.parent.name[:40]}\n")
    sys.stdout.write(_row(tuple(total)) + "  together\n")
    above = sum(share > THIRD for share in shares)
    sys.stdout.write(f"above a third of the reader's time: {above} of {len(shares)} files, at most {max(shares):.2f}\n")
    sys.stdout.write(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB\n")
    return 0


def _row(seconds: Sequence[float]) -> str:
    reader, harmony, whole, other = seconds
    ratio = f"{other / whole:11.1f}" if other else "          -"
    return (
        f"{reader:8.3f}  {harmony:9.3f}  {whole:5.3f}  {other:9.3f}  {harmony / reader:14.2f}  {whole / reader:10.2f}"
        f"  {ratio}"
    )


if __name__ == "__main__":
    sys.exit(main())
