"""Scores with human analyses: the folder named by LARKSTAIR_DATA, and what music21's corpus carries.

The folder holds ``songs/ID/score.mxl`` with ``truth.json`` (OpenScore Lieder, CC0; analyses of the When in Rome
collection, CC BY-SA 4.0) and ``chorales/ID/truth.json`` whose scores are music21's own. A folder named by
LARKSTAIR_CACHE keeps the note tables, so that a second run starts at once.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tutor.analysis.slices import LOF, LOF_ZERO, Floats, Frames, Ints, frames_of
from tutor.analysis.vocabulary import INDEX, MEMBERS, SIZE
from tutor.music.pitch import PitchClass
from tutor.music.roman import parse_roman
from tutor.music.scale import Key
from tutor.music.table import NoteTable
from tutor.score.read import read_score

SHORT = {
    "maj": "major", "min": "minor", "dim": "diminished", "aug": "augmented", "dom7": "dominant-seventh",
    "maj7": "major-seventh", "min7": "minor-seventh", "hdim7": "half-diminished-seventh", "dim7": "diminished-seventh",
    "minmaj7": "minor-major-seventh", "aug7": "augmented-seventh", "augmaj7": "augmented-major-seventh",
    "dom7b5": "dominant-seventh-flat-five", "it6": "italian-sixth", "ger65": "german-sixth", "fr43": "french-sixth",
}  # fmt: skip
"""Qualities of the truth files and their names in the contract."""
LONG = {long: short for short, long in SHORT.items()}
_HOME = {"major": {"1", "2", "3", "4", "5", "6", "7"}, "minor": {"1", "2", "b3", "4", "5", "b6", "b7", "7"}}
_PARALLEL = {"major": {"b3", "b6", "b7"}, "minor": {"3", "6"}}
_NUMBER: dict[tuple[str, int], int] = {(quality, inversion): i for (quality, inversion), i in INDEX.items()}
_NEAREST = {"augmented-major-seventh": "augmented", "minor-major-seventh": "minor"}
FITS = 0.8
"""Least share of sounding time inside the analysed chords; below it a score and its analysis do not belong together."""
TOGETHER = 0.75
"""The same for the eight bars around a bar: in some songs the analysis slips by a bar, or is another version's."""
AROUND_BARS = 8
_CYCLES = ("Schubert", "Schumann", "Brahms", "Reichardt")


@dataclass
class Piece:
    """A score with its analysis."""

    id: str
    table: NoteTable
    spans: list[dict[str, Any]]
    """offset_ql, end_ql, key ('F', 'd', 'B-'), roman, root_pc, bass_pc, inversion, quality, class, alt_root_pc."""
    notes: list[dict[str, Any]] = field(default_factory=list)
    """Notes foreign to the key, labelled."""

    @property
    def group(self) -> str:
        """The cycle, or the composer where there is none: pieces of one group stay in one fold."""
        words = self.id.split("_")
        if words[0] == "chorale":
            return "_".join(words[2:])
        return "_".join(words[:4]) if words[0] in _CYCLES else words[0]

    @cached_property
    def frames(self) -> Frames:
        """The score cut into frames."""
        return frames_of(self.table)

    @cached_property
    def weight(self) -> Floats:
        """Length of each frame in quarters; 0 where nothing was analysed."""
        length = (self.frames.end - self.frames.start).astype(np.float32)
        return np.where(self.labels[1] >= 0, length, np.float32(0))

    @cached_property
    def chroma(self) -> NDArray[np.float64]:
        """What sounds in each frame by chroma instead of by spelling, shape (n, 12)."""
        sound = np.zeros((self.frames.count, 12))
        np.add.at(sound.T, (np.arange(LOF) - LOF_ZERO) * 7 % 12, self.frames.sound.T)
        return sound

    @cached_property
    def together(self) -> NDArray[np.bool_]:
        """Whether score and analysis belong together around each frame; only notes and analysis are asked."""
        frames, chord = self.frames, self.labels[0]
        sound = self.chroma * ((frames.end - frames.start) * (chord >= 0))[:, None]
        bar = np.cumsum(frames.inside < 1e-4)
        inside, total = (
            np.convolve(np.bincount(bar, part.sum(axis=1), bar[-1] + 1), np.ones(AROUND_BARS), "same")
            for part in (sound * members_of(chord), sound)
        )
        kept: NDArray[np.bool_] = (inside >= TOGETHER * total)[bar]
        return kept

    @cached_property
    def labels(self) -> tuple[Ints, Ints]:
        """Chord (root * SIZE + class) and key of each frame by the analysis; -1 where it has none that is known."""
        middle = (self.frames.start + self.frames.end) / 2
        spans = sorted(self.spans, key=lambda s: s["offset_ql"])
        at = np.searchsorted([s["offset_ql"] for s in spans], middle, side="right") - 1
        chord = np.full(len(middle), -1, dtype=np.int64)
        key = np.full(len(middle), -1, dtype=np.int64)
        for i, k in enumerate(at):
            if k >= 0 and spans[k]["end_ql"] > middle[i]:
                key[i] = key_number(spans[k]["key"])
                chord[i] = chord_number(spans[k])
        return chord, key


def members_of(chord: Ints) -> Floats:
    """Whether each chroma belongs to each chord, root * SIZE + class, shape (n, 12)."""
    own: Floats = MEMBERS[chord % SIZE][np.arange(len(chord))[:, None], (np.arange(12) - chord[:, None] // SIZE) % 12]
    return own


def key_number(name: str) -> int:
    """'F' → 10, 'd' → 5: twice the chroma of the tonic, plus one for minor."""
    tonic = PitchClass.parse(name[0].upper() + name[1:].replace("-", "b"))
    return 2 * tonic.chroma + int(name[0].islower())


def chord_number(span: dict[str, Any]) -> int:
    """Root * SIZE + class of a span, -1 where the model has no such class."""
    quality = SHORT.get(span["quality"], "")
    quality = _NEAREST.get(quality, quality)
    if quality in ("italian-sixth", "german-sixth", "french-sixth"):
        return int(span["alt_root_pc"]) * SIZE + _NUMBER[quality, 0]
    index = _NUMBER.get((quality, int(span["inversion"])), -1)
    return int(span["root_pc"]) * SIZE + index if index >= 0 else -1


def kind_of(figure: str, key: str, tones: Iterable[PitchClass]) -> str:
    """diatonic, mixture, applied, aug6, neapolitan or chromatic, by a figure and the tones it stands for."""
    home = Key.parse(key)
    altered = {home.degree_of(t) for t in tones} - _HOME[home.mode]
    if not altered:
        return "diatonic"
    if re.match(r"It|Ger|Fr", figure):
        return "aug6"
    if "/" in figure:
        return "applied"
    if re.match(r"(bII(?!I))|N", figure):
        return "neapolitan"
    return "mixture" if altered <= _PARALLEL[home.mode] else "chromatic"


def data_folder() -> Path | None:
    """The folder of analyses outside the repository, if one is named and there."""
    name = os.environ.get("LARKSTAIR_DATA", "")
    return Path(name) if name and Path(name).is_dir() else None


def songs(folder: Path) -> list[Piece]:
    """Songs for voice and piano whose analysis fits the score."""
    return [
        Piece(path.parent.name, _table(path.parent / "score.mxl"), truth["spans"], truth.get("chromatic_notes", []))
        for path, truth in _truths(folder / "songs")
    ]


def chorales(folder: Path) -> list[Piece]:
    """Chorales analysed in the folder; their scores are music21's."""
    return [
        Piece(path.parent.name, _table(_corpus(truth["source"]["music21"])), truth["spans"])
        for path, truth in _truths(folder / "chorales")
    ]


def bundled(only: str = "*") -> list[Piece]:
    """Scores with RomanText analyses in music21's corpus: chorales and madrigals.

    Args:
        only: Pattern that the analysis's file name must match.
    """
    from music21 import corpus

    pieces = []
    paths = (Path(str(p)) for p in corpus.corpora.CoreCorpus().getPaths([".rntxt"]))
    for path in sorted(p for p in paths if p.match(only)):
        score = _score_of(path)
        if score is not None:
            table = _table(score)
            piece = Piece(f"{path.parent.name}-{path.stem}", table, list(_roman_spans(path, table)))
            if _fit(piece) >= FITS:
                pieces.append(piece)
    return pieces


def _fit(piece: Piece) -> float:
    """Share of the sounding time that lies inside the analysed chords: low where score and analysis do not match."""
    inside = total = 0.0
    frames = piece.frames
    places = (np.arange(LOF) - LOF_ZERO) * 7 % 12
    for span in piece.spans:
        part = (frames.start >= span["offset_ql"] - 1e-6) & (frames.end <= span["end_ql"] + 1e-6)
        sound = frames.sound[part].sum(axis=0)
        inside += float(sound[np.isin(places, span["tones"])].sum())
        total += float(sound.sum())
    return inside / total if total else 0.0


def _truths(folder: Path) -> Iterator[tuple[Path, dict[str, Any]]]:
    for path in sorted(folder.glob("*/truth.json")):
        truth = json.loads(path.read_text())
        if truth.get("aligned") is not False and truth.get("spans"):
            yield path, truth


def _corpus(name: str) -> Path:
    from music21 import corpus

    found = corpus.getWork(name)
    works = [Path(str(w)) for w in (found if isinstance(found, list) else [found])]
    return next((w for w in works if w.suffix in (".mxl", ".xml")), works[0])


def _score_of(path: Path) -> Path | None:
    """The score that a RomanText file of music21's corpus analyses."""
    if path.parent.name == "monteverdi":
        found = [path.with_suffix(s) for s in (".mxl", ".xml") if path.with_suffix(s).exists()]
        return found[0] if found else None
    number = re.search(r"BWV:?\s*([\d.]+)", path.read_text(errors="replace"))
    if number is None:
        return None
    try:
        return _corpus(f"bach/bwv{number[1].rstrip('.')}")
    except Exception:  # music21 raises its own errors for a work it does not carry
        return None


def _roman_spans(path: Path, table: NoteTable) -> Iterator[dict[str, Any]]:
    from music21 import converter, roman

    numerals = list(
        converter.parse(path, format="romanText", forceSource=True).flatten().getElementsByClass(roman.RomanNumeral)
    )
    for i, numeral in enumerate(numerals):
        start = float(numeral.offset)
        end = float(numerals[i + 1].offset) if i + 1 < len(numerals) else table.length_quarters
        key = numeral.key.tonicPitchNameWithCase
        tonic = PitchClass.parse(key[0].upper() + key[1:].replace("-", "b"))
        mode = "minor" if key[0].islower() else "major"
        try:
            chord = parse_roman(numeral.figure, tonic, mode)
        except ValueError:
            continue
        sixth = chord.quality in ("italian-sixth", "german-sixth", "french-sixth")
        if end > start:
            yield {
                "offset_ql": start, "end_ql": end, "key": key, "roman": chord.figure, "root_pc": chord.root.chroma,
                "bass_pc": chord.bass.chroma, "inversion": chord.inversion,
                "quality": LONG.get(chord.quality, chord.quality),
                "class": kind_of(chord.figure, f"{tonic.name} {mode}", chord.tones),
                "tones": [t.chroma for t in chord.tones],
                "alt_root_pc": chord.bass.chroma if sixth else None,
            }  # fmt: skip


def _table(path: Path) -> NoteTable:
    cache = os.environ.get("LARKSTAIR_CACHE", "")
    stored = Path(cache) / f"{'-'.join(path.with_suffix('').parts[-2:])}.table.json" if cache else None
    if stored is not None and stored.exists():
        return NoteTable.loads(stored.read_text())
    table = read_score(path.read_bytes(), path.name)
    if stored is not None:
        stored.write_text(table.dumps())
    return table
