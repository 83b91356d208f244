"""Quizzes through the studio: made from songs and drills, drawn, rendered and written."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

from tutor.errors import PackError, plain
from tutor.music import spoken
from tutor.music.phrase import Phrase
from tutor.practice.catalogue import drills
from tutor.practice.drill import Material, Song
from tutor.quiz import make as making
from tutor.quiz import pack as packs
from tutor.quiz.pack import Pack, Reveal

_CLIP_RATE = 24_000
"""Samples a second of the clips in a page: a piano loses nothing that a question asks about."""
_CLIP_PEAK = 0.85
"""MP3 overshoots near full scale."""
_MOST_PACK_BYTES = packs.MOST_BYTES


def make_quiz(
    songs: Sequence[Song],
    *,
    title: str,
    introduction: str = "",
    skills: Sequence[tuple[str, str]] = (),
    count: int = 10,
    mix: Sequence[int] = (5, 3, 2),
    reveal: Reveal = "at once",
    seed: int = 1,
) -> Pack:
    """Make a quiz from songs and fresh material.

    Raises:
        PackError: the songs and skills hold too few questions.
    """
    return making.make(
        drills(), Material(songs=tuple(songs)), title=title, introduction=introduction, skills=skills, count=count,
        mix=mix, reveal=reveal, seed=seed,
    )  # fmt: skip


def replace_item(songs: Sequence[Song], pack: Pack, index: int, seed: int) -> Pack:
    """The quiz with one question replaced by a fresh one of the same skill.

    Raises:
        PackError: there is no other.
    """
    return making.another(drills(), Material(songs=tuple(songs)), pack, index, seed)


def load_quiz(path: Path) -> Pack:
    """Read a quiz file that may come from anybody.

    Raises:
        PackError: it cannot be read, or is no quiz.
    """
    try:
        if path.stat().st_size > _MOST_PACK_BYTES:
            raise PackError("the file is too large to be a quiz", where=path.name)
        return packs.loads(path.read_text(encoding="utf-8"), plain(path.name))
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "not text"
        raise PackError(f"the file cannot be read ({why})", where=str(path), remedy="Check the path") from None


def quiz_page(pack: Pack) -> str:
    """The quiz as one offline page; takes a second or two."""
    from tutor.quiz.page import page
    from tutor.score.engrave import engrave

    return page(pack, engrave=engrave, sound=mp3, describe=describe)


def quiz_sheet(pack: Pack) -> str:
    """The quiz for paper, with a key."""
    from tutor.quiz.page import sheet
    from tutor.score.engrave import engrave

    return sheet(pack, engrave=engrave)


def drawn(phrase: Phrase) -> str:
    """A phrase as a whole SVG file, with the style it needs."""
    from tutor.score.engrave import STYLE, engrave

    svg = engrave(phrase)
    head, _, rest = svg.partition(">")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{head}><style>{STYLE} [data-mark]{{color:#854600}}</style>{rest}'


def mp3(phrase: Phrase) -> bytes:
    """A phrase as an MP3 file.

    Raises:
        PackError: the library that writes it is missing.
    """
    try:
        import soundfile
    except (ImportError, OSError) as error:
        raise PackError("clips cannot be written without soundfile", remedy="Run: pip install soundfile") from error
    from tutor.sound.synth import render

    samples = render(phrase, rate=_CLIP_RATE).samples
    peak = float(abs(samples).max()) if len(samples) else 0.0
    if peak > _CLIP_PEAK:
        samples = samples * (_CLIP_PEAK / peak)
    out = io.BytesIO()
    soundfile.write(out, samples, _CLIP_RATE, format="MP3", bitrate_mode="VARIABLE", compression_level=0.6)
    return out.getvalue()


def describe(phrase: Phrase) -> str:
    """What a staff shows, in one line of words that a screen reader can say."""
    return " ".join(spoken.describe(phrase, signs=False).splitlines())
